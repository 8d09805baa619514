"""What happened: each way in which blood gets where it should not, or seems to."""

from __future__ import annotations

from thimble.demo.stories.telling import (
    DAY,
    HOUR,
    MINUTE,
    NEEDLE,
    RESPONDER,
    SOURCE_HCV_POSITIVE,
    SOURCE_NEGATIVE,
    SOURCE_UNTESTED,
    WELL,
    Story,
    as_,
    patient,
    source_tested,
    washed,
)

JUST_NOW = Story(
    "just-now",
    "Needlestick on the ward, twelve minutes ago",
    "a fresh report from a phone: nothing is answered yet; first question, first aid, clock",
    12 * MINUTE,
    [
        (
            6 * MINUTE,
            lambda s: s.report(
                "Marit Solveig-Dane",
                "nurse",
                "Ward 4 North",
                task="taking blood",
                account="The patient pulled the arm away while the needle came out.",
                route="percutaneous",
                fluid="blood",
                device="hollow_bore_needle",
            ),
        )
    ],
)

SPLASH = Story(
    "splash",
    "Blood in the eye as the catheter was drawn, contact lens worn",
    "first aid for exactly that; source HCV RNA positive: follow-up by RNA and antibody",
    3 * DAY,
    [
        (
            12 * MINUTE,
            lambda s: s.report(
                "Dr. Anselm Roque",
                "physician",
                "Dialysis",
                task="drawing a catheter",
                route="mucous_membrane",
                fluid="blood",
                device="none",
                splash_site="eye",
                contact_lens="yes",
                source=patient("D. Nonesuch", "H-18033", "Dialysis"),
            ),
        ),
        (
            40 * MINUTE,
            as_(
                "physician",
                lambda s: s.see(),
                lambda s: s.first_aid("rinsed, lens out, rinsed again", minutes=15),
                lambda s: s.learn(**WELL, **RESPONDER),
                source_tested(SOURCE_HCV_POSITIVE),
                lambda s: s.sign(),
                lambda s: s.do_what_is_due("review_72h"),
            ),
        ),
    ],
)

BITE = Story(
    "bite",
    "Bitten through the skin by a confused patient with a bleeding lip",
    "both people are judged; a bite is always a contaminated wound for tetanus",
    30 * HOUR,
    [
        (
            25 * MINUTE,
            lambda s: s.report(
                "Ottoline Krey",
                "nursing assistant",
                "Ward 7 East",
                task="helping to wash",
                route="human_bite",
                fluid="bloody_fluid",
                device="none",
                source=patient("E. Nonesuch", "H-20771", "Ward 7 East"),
            ),
        ),
        (
            50 * MINUTE,
            as_(
                "night",
                lambda s: s.see(),
                washed,
                lambda s: s.learn(
                    **{**WELL, "worker_tetanus_doses": "fewer", "wound_contaminated": "yes"},
                    **RESPONDER,
                ),
                lambda s: s.learn(source_access="testable", **SOURCE_UNTESTED),
                lambda s: s.do("ask_source"),
                lambda s: s.do("tetanus_vaccine_dose", "tetanus_immunoglobulin_dose"),
            ),
        ),
        (60 * MINUTE, as_("night", lambda s: s.source_consents())),
        (70 * MINUTE, as_("night", lambda s: s.sample_source("S-4417"))),
    ],
)

NEEDLE_IN_A_BIN = Story(
    "needle-in-a-bin",
    "Porter pricked by a needle that stuck out of a sharps bin",
    "the source cannot be identified: unknown stays unknown, the needle is not tested",
    21 * HOUR,
    [
        (
            8 * MINUTE,
            lambda s: s.report(
                "Idris Malherbe",
                "porter",
                "Corridor, level 1",
                task="changing the bin",
                facts={**NEEDLE, "gloves": "none", "fluid": "unknown"},
            ),
        ),
        (
            30 * MINUTE,
            as_(
                "night",
                lambda s: s.see(),
                washed,
                lambda s: s.learn(
                    **WELL,
                    worker_hbv_series="one_complete",
                    worker_hbv_response="not_known",
                    worker_weight=84.0,
                ),
                lambda s: s.learn(
                    source_access="unidentified",
                    source_hiv_likelihood="unknown",
                    **SOURCE_UNTESTED,
                ),
                lambda s: s.do("anti_hbs_now", "baseline_hiv", "baseline_hcv"),
                lambda s: s.do("hiv_expert_advice"),
            ),
        ),
    ],
)

INTACT_SKIN = Story(
    "intact-skin",
    "Blood on intact skin",
    "no way in, so no exposure: reassured, counselled and closed within the hour",
    2 * DAY,
    [
        (
            10 * MINUTE,
            lambda s: s.report(
                "Gideon Sparre",
                "laboratory technician",
                "Blood bank",
                task="labelling",
                route="intact_skin",
                fluid="blood",
                device="none",
            ),
        ),
        (
            35 * MINUTE,
            as_(
                "nurse",
                lambda s: s.first_aid("washed with soap and water", minutes=1),
                lambda s: s.learn(**WELL, **RESPONDER),
            ),
        ),
        (
            50 * MINUTE,
            as_(
                "physician",
                lambda s: s.sign(),
                lambda s: s.close("not_significant", "Skin looked at: no cut, no eczema."),
            ),
        ),
    ],
)

CORRECTED = Story(
    "corrected",
    "Fluid first recorded as urine, then corrected to blood",
    "a correction is a new entry: the history keeps both, the plan follows the truth",
    45 * HOUR,
    [
        (
            22 * MINUTE,
            lambda s: s.report(
                "Wendeline Ashgrove",
                "student nurse",
                "Ward 1 West",
                task="emptying a bag",
                route="mucous_membrane",
                fluid="urine",
                device="none",
                splash_site="mouth",
                source=patient("J. Nonesuch", "H-20312", "Ward 1 West"),
            ),
        ),
        (
            55 * MINUTE,
            as_(
                "nurse",
                lambda s: s.first_aid("rinsed the mouth, spat out", minutes=10),
                lambda s: s.learn(**WELL, **RESPONDER),
                lambda s: s.correct_report(
                    "Seen again with the worker: the bag held visible blood.",
                    fluid="bloody_fluid",
                ),
                source_tested(SOURCE_NEGATIVE),
            ),
        ),
        (90 * MINUTE, as_("physician", lambda s: s.see(), lambda s: s.sign())),
    ],
)
