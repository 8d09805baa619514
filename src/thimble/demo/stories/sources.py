"""The source patient: positive, negative in the morning, refusing, known too late."""

from __future__ import annotations

from thimble.demo.stories.telling import (
    HOUR,
    MINUTE,
    NEEDLE,
    RESPONDER,
    SOURCE_HBV_POSITIVE,
    SOURCE_HIV_POSITIVE,
    SOURCE_UNTESTED,
    WELL,
    Story,
    as_,
    patient,
    source_tested,
    washed,
)

AWAITING_HBIG = Story(
    "awaiting-hbig",
    "At night, source HBsAg positive, worker never vaccinated",
    "plan signed, vaccine given, immunoglobulin still to come: the window on the worklist",
    5 * HOUR,
    [
        (
            10 * MINUTE,
            lambda s: s.report(
                "Joaquim Brandt",
                "porter",
                "Operating theatre 2",
                task="emptying a tray",
                source=patient("A. Nonesuch", "H-20417", "Ward 2 South"),
                facts=NEEDLE,
            ),
        ),
        (
            30 * MINUTE,
            as_(
                "night",
                lambda s: s.see(),
                washed,
                lambda s: s.learn(
                    **{**WELL, "worker_tetanus_doses": "unknown"},
                    worker_hbv_series="none",
                    worker_hbv_response="not_known",
                    worker_weight=72.0,
                ),
                source_tested(SOURCE_HBV_POSITIVE),
            ),
        ),
        (50 * MINUTE, as_("night", lambda s: s.sign())),
        (
            80 * MINUTE,
            as_("night", lambda s: s.do("baseline_hiv", "baseline_hbv", "hbv_vaccine_dose")),
        ),
    ],
)

SOURCE_REFUSES = Story(
    "source-refuses",
    "The source patient refuses the test",
    "refusal is never evidence of infection: managed as unknown, an expert decides",
    9 * HOUR,
    [
        (
            20 * MINUTE,
            lambda s: s.report(
                "Leontine Abara",
                "medical student",
                "Emergency department",
                task="suturing",
                device="solid_needle",
                route="percutaneous",
                fluid="blood",
                source=patient("B. Nonesuch", "H-20988", "Emergency department"),
            ),
        ),
        (
            40 * MINUTE,
            as_(
                "night",
                lambda s: s.see(),
                washed,
                lambda s: s.learn(**WELL, **RESPONDER),
                lambda s: s.learn(source_access="testable", **SOURCE_UNTESTED),
                lambda s: s.do("ask_source"),
            ),
        ),
        (70 * MINUTE, as_("night", lambda s: s.source_refuses())),
        (95 * MINUTE, as_("night", lambda s: s.do("baseline_hiv", "baseline_hcv"))),
    ],
)

LATE = Story(
    "late",
    "Reported on the fourth day, source HIV positive",
    "beyond 72 hours nobody is turned away: an expert decides, with the facts laid out",
    80 * HOUR,
    [
        (
            79 * HOUR,
            lambda s: s.report(
                "Casimir Oduya",
                "cleaner",
                "Laundry",
                task="sorting linen",
                account="Thought nothing of it at first.",
                facts=NEEDLE,
            ),
        ),
        (
            79 * HOUR + 20 * MINUTE,
            as_(
                "nurse",
                lambda s: s.learn(**WELL, **RESPONDER),
                source_tested(SOURCE_HIV_POSITIVE),
            ),
        ),
    ],
)

SOURCE_TURNED_NEGATIVE = Story(
    "source-turned-negative",
    "Prophylaxis begun at night, source negative in the morning",
    "a result changes the plan and says what changed: prophylaxis stops, follow-up falls away",
    34 * HOUR,
    [
        (
            9 * MINUTE,
            lambda s: s.report(
                "Dr. Yevgenia Holt",
                "surgeon",
                "Operating theatre 5",
                task="closing a wound",
                device="solid_needle",
                route="percutaneous",
                fluid="blood",
                gloves="double",
                source=patient("F. Nonesuch", "H-20990", "Ward 5 West"),
            ),
        ),
        (
            25 * MINUTE,
            as_(
                "night",
                lambda s: s.see(),
                washed,
                lambda s: s.learn(**WELL, **RESPONDER),
                lambda s: s.learn(
                    "record",
                    source_access="testable",
                    source_hiv="positive",
                    source_hiv_load="unknown",
                    source_hiv_resistance="unknown",
                    source_hbsag="unknown",
                    source_hcv_rna="not_tested",
                ),
                lambda s: s.note("HIV status of the source as told by the night team."),
                lambda s: s.sign(),
                lambda s: s.do("hiv_pep_first_dose", "baseline_hiv", "ask_source"),
            ),
        ),
        (40 * MINUTE, as_("night", lambda s: s.source_consents(), lambda s: s.sample_source())),
        (
            9 * HOUR,
            as_(
                "nurse",
                lambda s: s.result(
                    "Antigen/antibody test of the source not reactive.",
                    source_hiv="negative",
                    source_hbsag="negative",
                    source_hcv_rna="negative",
                ),
                lambda s: s.learn(source_hiv_acute_illness="no"),
            ),
        ),
        (
            10 * HOUR,
            as_("physician", lambda s: s.sign(), lambda s: s.do("stop_hiv_pep")),
        ),
    ],
)
