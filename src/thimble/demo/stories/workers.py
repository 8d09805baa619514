"""Who is exposed: a pregnancy, a kidney, a vaccine that did not take, an answer nobody has."""

from __future__ import annotations

from thimble.clinical.serology import Analyte, Quantity, Word
from thimble.demo.stories.telling import (
    DAY,
    HOUR,
    MINUTE,
    NEEDLE,
    RESPONDER,
    SOURCE_HBV_POSITIVE,
    SOURCE_HIV_POSITIVE,
    SOURCE_NEGATIVE,
    SOURCE_UNTESTED,
    WEEK,
    WELL,
    Story,
    as_,
    patient,
    source_tested,
    washed,
)

PREGNANT = Story(
    "pregnant",
    "Pregnant midwife, source HIV positive",
    "pregnancy is a reason to call an expert, never one to delay the first dose",
    26 * HOUR,
    [
        (
            15 * MINUTE,
            lambda s: s.report(
                "Philippa Ternes",
                "midwife",
                "Delivery room 1",
                task="cutting the cord",
                route="percutaneous",
                fluid="blood",
                device="blade",
                depth="deep",
                source=patient("C. Nonesuch", "H-19552", "Delivery room 1"),
            ),
        ),
        (
            25 * MINUTE,
            as_(
                "night",
                lambda s: s.see(),
                washed,
                lambda s: s.learn(**{**WELL, "worker_pregnancy": "pregnant"}, **RESPONDER),
                source_tested(SOURCE_HIV_POSITIVE),
                lambda s: s.sign(),
            ),
        ),
        (35 * MINUTE, as_("night", lambda s: s.do("hiv_pep_first_dose", "baseline_hiv"))),
        (55 * MINUTE, as_("night", lambda s: s.do("hiv_course_advice"))),
    ],
)

KIDNEY = Story(
    "kidney",
    "Cut in theatre, worker with reduced kidney function",
    "clearance computed from age, weight and creatinine; the medicines caution that follows",
    7 * HOUR,
    [
        (
            14 * MINUTE,
            lambda s: s.report(
                "Dr. Aurelio Stant",
                "anaesthetist",
                "Operating theatre 1",
                task="opening an ampoule",
                route="percutaneous",
                fluid="blood",
                device="glass",
                source=patient("H. Nonesuch", "H-20801", "Operating theatre 1"),
            ),
        ),
        (
            40 * MINUTE,
            as_(
                "night",
                lambda s: s.see(),
                washed,
                lambda s: s.learn(
                    **{
                        k: v
                        for k, v in WELL.items()
                        if k not in {"worker_creatinine_clearance", "worker_kidney_disease"}
                    },
                    **RESPONDER,
                    worker_kidney_disease="yes",
                    worker_age=62.0,
                    worker_weight=58.0,
                    worker_creatinine=141.4,
                    worker_sex_for_renal_formula="male",
                ),
                lambda s: s.learn(
                    "record",
                    source_access="testable",
                    source_hiv="positive",
                    source_hiv_load="suppressed",
                    source_hiv_resistance="no",
                    source_hbsag="negative",
                    source_hcv_rna="negative",
                ),
                lambda s: s.do("baseline_hiv"),
            ),
        ),
    ],
)

SECOND_HBIG = Story(
    "second-hbig",
    "Non-responder after two series, source unknown, three weeks ago",
    "the second dose of immunoglobulin counts from the first: the date is on the worklist",
    24 * DAY,
    [
        (
            30 * MINUTE,
            lambda s: s.report(
                "Rosalind Etxeberria",
                "nurse",
                "Ward 3 South",
                task="disposing of a needle",
                facts=NEEDLE,
            ),
        ),
        (
            60 * MINUTE,
            as_(
                "physician",
                lambda s: s.see(),
                washed,
                lambda s: s.learn(
                    **WELL,
                    worker_hbv_series="two_complete",
                    worker_hbv_response="non_responder",
                    worker_weight=58.0,
                ),
                lambda s: s.learn(
                    source_access="cannot_be_tested",
                    source_hiv_likelihood="ordinary",
                    **SOURCE_UNTESTED,
                ),
                lambda s: s.do("hiv_expert_advice"),
                lambda s: s.depart(
                    "hiv_pep",
                    "an expert decides",
                    "no prophylaxis",
                    "HIV physician on call: no risk factor known, superficial injury.",
                ),
                lambda s: s.depart(
                    "hiv_pep_first_dose",
                    "a first dose, if it was decided on",
                    "not given",
                    "As decided with the HIV physician on call.",
                ),
                lambda s: s.sign(),
                lambda s: s.do_what_is_due("review_72h"),
            ),
        ),
        (2 * DAY, as_("nurse", lambda s: s.do_what_is_due())),
    ],
)

CANNOT_BE_KNOWN = Story(
    "cannot-be-known",
    "Agency nurse who cannot say whether she ever responded to vaccine",
    "a fact that cannot be known stays open: the clinician decides among what is possible",
    16 * HOUR,
    [
        (
            18 * MINUTE,
            lambda s: s.report(
                "Saskia Umber",
                "agency nurse",
                "Ward 6 North",
                task="giving insulin",
                source=patient("I. Nonesuch", "H-20655", "Ward 6 North"),
                facts=NEEDLE,
            ),
        ),
        (
            45 * MINUTE,
            as_(
                "night",
                lambda s: s.see(),
                washed,
                lambda s: s.learn(**WELL),
                source_tested(SOURCE_HBV_POSITIVE),
                lambda s: s.cannot_know(
                    "worker_hbv_series", "The papers are abroad and the agency is closed."
                ),
            ),
        ),
    ],
)

FIT_FOR_THEATRE = Story(
    "fit-for-theatre",
    "Surgeon who lives with treated hepatitis B, cut in theatre three weeks ago",
    "fitness for exposure-prone procedures by a named rule set, on results on record; a review to come",
    3 * WEEK,
    [
        (
            20 * MINUTE,
            lambda s: s.report(
                "Torvald Ebbesen-Quist",
                "surgeon",
                "Theatre 2",
                task="closing the wound",
                route="percutaneous",
                fluid="blood",
                device="solid_needle",
                depth="superficial",
                gloves="double",
            ),
        ),
        (
            50 * MINUTE,
            as_(
                "night",
                washed,
                lambda s: s.see(),
                lambda s: s.learn(**{**WELL, "worker_hbv_infection": "current"}),
                source_tested(SOURCE_NEGATIVE),
                lambda s: s.sign(),
            ),
        ),
        (
            2 * DAY,
            as_(
                "nurse",
                lambda s: s.laboratory(
                    {
                        Analyte.HBSAG: Word.POSITIVE,
                        Analyte.HBEAG: Word.NEGATIVE,
                        Analyte.HBV_DNA: Quantity(640, "[IU]/mL"),
                        Analyte.ANTI_HCV: Word.NEGATIVE,
                    },
                    drawn_for="baseline",
                    taken_ago=2 * DAY - 2 * HOUR,
                    looked_at="Known and treated before the exposure.",
                ),
            ),
        ),
        (
            3 * DAY,
            as_(
                "physician",
                lambda s: s.decide_fitness(
                    "fit",
                    "none",
                    review_in=26 * WEEK,
                    facts={
                        "rule_set": "us_shea_2020",
                        "occasion": "clearance",
                        "exposure_prone": "yes",
                        "panel": "agreed",
                        "hbsag": "positive",
                        "hbv_dna_reported": "number",
                        "hbv_dna": 640,
                        "hbv_treatment": "on",
                        "anti_hcv": "negative",
                        "hiv": "negative",
                    },
                    sampled={"hbv_sample": 3 * DAY},
                ),
            ),
        ),
    ],
)
