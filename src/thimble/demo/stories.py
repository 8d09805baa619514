"""The cases of the invented hospital. Each shows one thing; `demo/README.md` lists them.

A story says how long ago the exposure was and what happened how long after it. Nobody in it exists.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import timedelta

from thimble import actions
from thimble.actions import SourceIdentity
from thimble.clinical.serology import Analyte, Quantity, Word
from thimble.demo.scene import Scene
from thimble.protocol import Value

Step = Callable[[Scene], None]

MINUTE, HOUR, DAY, WEEK = (
    timedelta(minutes=1), timedelta(hours=1), timedelta(days=1), timedelta(weeks=1),
)  # fmt: skip

WELL: dict[str, Value] = {
    "worker_hiv": "negative",
    "worker_on_prep": "no",
    "worker_hbv_infection": "none_known",
    "worker_anti_hcv": "negative",
    "worker_pregnancy": "no",
    "worker_breastfeeding": "no",
    "worker_kidney_disease": "no",
    "worker_creatinine_clearance": 96.0,
    "worker_medicines": frozenset(),
    "worker_tetanus_doses": "three_or_more",
    "worker_years_since_tetanus_dose": 3.0,
    "wound_contaminated": "no",
}
"""A worker in good health who knows it: what is left open is said in each story."""

RESPONDER: dict[str, Value] = {
    "worker_hbv_series": "one_complete",
    "worker_hbv_response": "responder",
}

SOURCE_NEGATIVE: dict[str, Value] = {
    "source_hiv": "negative",
    "source_hiv_acute_illness": "no",
    "source_hbsag": "negative",
    "source_hcv_rna": "negative",
}

SOURCE_UNTESTED: dict[str, Value] = {
    "source_hiv": "unknown",
    "source_hbsag": "unknown",
    "source_hcv_rna": "not_tested",
    "source_anti_hcv": "not_tested",
    "source_hcv_recent_risk": "unknown",
    "source_hiv_acute_illness": "unknown",
    "source_hiv_resistance": "unknown",
}

NEEDLE: dict[str, Value] = {
    "route": "percutaneous",
    "fluid": "blood",
    "device": "hollow_bore_needle",
    "depth": "moderate",
    "gloves": "single",
}


@dataclass(frozen=True, slots=True)
class Story:
    """One case. `ago` is how long before now the exposure was; each step is at a time after it."""

    id: str
    title: str
    shows: str
    ago: timedelta
    steps: Sequence[tuple[timedelta, Step]]


def as_(who: str, *steps: Step) -> Step:
    """The steps, done by one member of staff."""

    def tell(scene: Scene) -> None:
        scene.who = who
        for step in steps:
            step(scene)

    return tell


def _patient(name: str, number: str, ward: str) -> SourceIdentity:
    return SourceIdentity(name=name, hospital_number=number, ward=ward, attending="ward physician")


def _washed(scene: Scene) -> None:
    scene.first_aid("washed with soap and water", minutes=5)


STORIES: tuple[Story, ...] = (
    Story(
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
    ),
    Story(
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
                    source=_patient("A. Nonesuch", "H-20417", "Ward 2 South"),
                    facts=NEEDLE,
                ),
            ),
            (
                30 * MINUTE,
                as_(
                    "night",
                    lambda s: s.see(),
                    _washed,
                    lambda s: s.learn(
                        **{**WELL, "worker_tetanus_doses": "unknown"},
                        worker_hbv_series="none",
                        worker_hbv_response="not_known",
                        worker_weight=72.0,
                    ),
                    lambda s: s.learn(
                        "record",
                        source_access="testable",
                        source_hbsag="positive",
                        source_hiv="negative",
                        source_hiv_acute_illness="no",
                        source_hcv_rna="negative",
                    ),
                ),
            ),
            (50 * MINUTE, as_("night", lambda s: s.sign())),
            (
                80 * MINUTE,
                as_("night", lambda s: s.do("baseline_hiv", "baseline_hbv", "hbv_vaccine_dose")),
            ),
        ],
    ),
    Story(
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
                    source=_patient("B. Nonesuch", "H-20988", "Emergency department"),
                ),
            ),
            (
                40 * MINUTE,
                as_(
                    "night",
                    lambda s: s.see(),
                    _washed,
                    lambda s: s.learn(**WELL, **RESPONDER),
                    lambda s: s.learn(source_access="testable", **SOURCE_UNTESTED),
                    lambda s: s.do("ask_source"),
                ),
            ),
            (70 * MINUTE, as_("night", lambda s: s.source_refuses())),
            (95 * MINUTE, as_("night", lambda s: s.do("baseline_hiv", "baseline_hcv"))),
        ],
    ),
    Story(
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
                    lambda s: s.learn(
                        "record",
                        source_access="testable",
                        source_hiv="positive",
                        source_hiv_load="detectable",
                        source_hiv_resistance="no",
                        source_hbsag="negative",
                        source_hcv_rna="negative",
                    ),
                ),
            ),
        ],
    ),
    Story(
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
                    source=_patient("C. Nonesuch", "H-19552", "Delivery room 1"),
                ),
            ),
            (
                25 * MINUTE,
                as_(
                    "night",
                    lambda s: s.see(),
                    _washed,
                    lambda s: s.learn(**{**WELL, "worker_pregnancy": "pregnant"}, **RESPONDER),
                    lambda s: s.learn(
                        "record",
                        source_access="testable",
                        source_hiv="positive",
                        source_hiv_load="detectable",
                        source_hiv_resistance="no",
                        source_hbsag="negative",
                        source_hcv_rna="negative",
                    ),
                    lambda s: s.sign(),
                ),
            ),
            (35 * MINUTE, as_("night", lambda s: s.do("hiv_pep_first_dose", "baseline_hiv"))),
            (55 * MINUTE, as_("night", lambda s: s.do("hiv_course_advice"))),
        ],
    ),
    Story(
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
                    source=_patient("D. Nonesuch", "H-18033", "Dialysis"),
                ),
            ),
            (
                40 * MINUTE,
                as_(
                    "physician",
                    lambda s: s.see(),
                    lambda s: s.first_aid("rinsed, lens out, rinsed again", minutes=15),
                    lambda s: s.learn(**WELL, **RESPONDER),
                    lambda s: s.learn(
                        "record",
                        source_access="testable",
                        source_hiv="negative",
                        source_hiv_acute_illness="no",
                        source_hbsag="negative",
                        source_hcv_rna="positive",
                    ),
                    lambda s: s.sign(),
                    lambda s: s.do_what_is_due("review_72h"),
                ),
            ),
        ],
    ),
    Story(
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
                    source=_patient("E. Nonesuch", "H-20771", "Ward 7 East"),
                ),
            ),
            (
                50 * MINUTE,
                as_(
                    "night",
                    lambda s: s.see(),
                    _washed,
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
    ),
    Story(
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
                    _washed,
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
    ),
    Story(
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
                    source=_patient("F. Nonesuch", "H-20990", "Ward 5 West"),
                ),
            ),
            (
                25 * MINUTE,
                as_(
                    "night",
                    lambda s: s.see(),
                    _washed,
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
    ),
    Story(
        "closed-all-clear",
        "Seven months ago, every test negative, closed",
        "a whole course from the needle to the documented all-clear",
        30 * WEEK,
        [
            (
                20 * MINUTE,
                lambda s: s.report(
                    "Benedikta Louw",
                    "nurse",
                    "Intensive care",
                    task="flushing a line",
                    facts=NEEDLE,
                    source=_patient("G. Nonesuch", "H-17204", "Intensive care"),
                ),
            ),
            (
                50 * MINUTE,
                as_(
                    "night",
                    lambda s: s.see(),
                    _washed,
                    lambda s: s.learn(**WELL, **RESPONDER),
                    lambda s: s.learn(
                        "record",
                        source_access="testable",
                        source_hiv="negative",
                        source_hiv_acute_illness="no",
                        source_hbsag="negative",
                        source_hcv_rna="positive",
                    ),
                    lambda s: s.sign(),
                    lambda s: s.do_what_is_due("review_72h"),
                ),
            ),
            (
                2 * DAY,
                as_(
                    "nurse",
                    lambda s: s.do_what_is_due(),
                    lambda s: s.blood(
                        Analyte.HIV_AG_AB,
                        Analyte.HBSAG,
                        Analyte.ANTI_HCV,
                        drawn_for="baseline",
                        taken_ago=2 * DAY - 50 * MINUTE,
                    ),
                ),
            ),
            (
                4 * WEEK,
                as_(
                    "nurse",
                    lambda s: s.do_what_is_due(),
                    lambda s: s.learn(worker_weak_immunity_or_liver_disease="no"),
                    lambda s: s.blood(
                        Analyte.HCV_RNA, drawn_for="follow_up", taken_ago=120 * MINUTE
                    ),
                ),
            ),
            (13 * WEEK, as_("nurse", lambda s: s.do_what_is_due())),
            (
                24 * WEEK,
                as_(
                    "nurse",
                    lambda s: s.do_what_is_due(),
                    lambda s: s.blood(
                        Analyte.ANTI_HCV, drawn_for="follow_up", taken_ago=120 * MINUTE
                    ),
                ),
            ),
            (27 * WEEK, as_("nurse", lambda s: s.do_what_is_due())),
            (
                28 * WEEK,
                as_(
                    "physician",
                    lambda s: s.close("all_clear", "All tests negative; the worker was told."),
                ),
            ),
        ],
    ),
    Story(
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
    ),
    Story(
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
                    source=_patient("H. Nonesuch", "H-20801", "Operating theatre 1"),
                ),
            ),
            (
                40 * MINUTE,
                as_(
                    "night",
                    lambda s: s.see(),
                    _washed,
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
    ),
    Story(
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
                    _washed,
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
    ),
    Story(
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
                    source=_patient("I. Nonesuch", "H-20655", "Ward 6 North"),
                    facts=NEEDLE,
                ),
            ),
            (
                45 * MINUTE,
                as_(
                    "night",
                    lambda s: s.see(),
                    _washed,
                    lambda s: s.learn(**WELL),
                    lambda s: s.learn(
                        "record",
                        source_access="testable",
                        source_hiv="negative",
                        source_hiv_acute_illness="no",
                        source_hcv_rna="negative",
                        source_hbsag="positive",
                    ),
                    lambda s: s.cannot_know(
                        "worker_hbv_series", "The papers are abroad and the agency is closed."
                    ),
                ),
            ),
        ],
    ),
    Story(
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
                    source=_patient("J. Nonesuch", "H-20312", "Ward 1 West"),
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
                    lambda s: s.learn("record", source_access="testable", **SOURCE_NEGATIVE),
                ),
            ),
            (90 * MINUTE, as_("physician", lambda s: s.see(), lambda s: s.sign())),
        ],
    ),
    Story(
        "did-not-come",
        "Source HCV RNA positive; dates agreed, the first visit missed",
        "the next step after a missed visit, on the recall list and the page of the visits; a calendar",
        33 * DAY,
        [
            (
                25 * MINUTE,
                lambda s: s.report(
                    "Benedikt Orrin",
                    "laboratory assistant",
                    "Outpatient laboratory",
                    task="taking blood",
                    source=_patient("K. Nonesuch", "H-20871", "Outpatients"),
                    facts=NEEDLE,
                ),
            ),
            (
                70 * MINUTE,
                as_(
                    "physician",
                    lambda s: s.see(),
                    _washed,
                    lambda s: s.learn(**WELL, **RESPONDER),
                    lambda s: s.learn(
                        "record",
                        **{**SOURCE_NEGATIVE, "source_hcv_rna": "positive"},
                        source_access="testable",
                    ),
                    lambda s: s.sign(),
                    lambda s: s.do_what_is_due(),
                ),
            ),
            (
                2 * DAY,
                as_(
                    "nurse",
                    lambda s: s.do_what_is_due(),
                    lambda s: s.agree_visits(),
                    lambda s: s.agrees("email"),
                ),
            ),
            (
                28 * DAY,
                as_(
                    "nurse", lambda s: s.miss_visit(), lambda s: s.contact("telephone", "no_answer")
                ),
            ),
        ],
    ),
    Story(
        "course-in-progress",
        "Ninth day of prophylaxis: one dose missed, nausea that hampers the day",
        "the page of the course: tablets left, what was missed, a side effect, an answer awaited",
        8 * DAY + 20 * MINUTE,
        [
            (
                5 * MINUTE,
                lambda s: s.report(
                    "Benedikta Oyelaran",
                    "nurse",
                    "Ward 6 East",
                    task="disposing of a cannula",
                    source=_patient("M. Nonesuch", "H-20733", "Ward 6 East"),
                    facts=NEEDLE,
                ),
            ),
            (
                15 * MINUTE,
                as_(
                    "night",
                    lambda s: s.see(),
                    _washed,
                    lambda s: s.learn(**WELL, **RESPONDER),
                    lambda s: s.learn(
                        "record",
                        source_access="testable",
                        source_hiv="positive",
                        source_hiv_load="detectable",
                        source_hiv_acute_illness="no",
                        source_hiv_resistance="no",
                        source_hbsag="negative",
                        source_hcv_rna="negative",
                    ),
                    lambda s: s.from_shelf("emergency", "hiv_starter", "QH-2207"),
                    lambda s: s.sign(),
                    lambda s: s.do("baseline_hiv", "baseline_pep_bloods", "counsel_precautions"),
                ),
            ),
            (
                2 * DAY + 9 * HOUR,
                as_(
                    "nurse",
                    lambda s: s.on_course(
                        actions.review_course,
                        adherence="all_taken",
                        baseline_bloods="normal",
                        source_result="in",
                        decision="go_on",
                        text="Takes the tablet at breakfast.",
                        action="review_72h",
                    ),
                    lambda s: s.from_shelf("occupational", "hiv_starter", "QH-2207", days=5),
                ),
            ),
            (
                7 * DAY + 22 * HOUR,
                as_(
                    "nurse",
                    lambda s: s.on_course(
                        actions.miss_doses,
                        count=1,
                        last_taken=s.now - 2 * DAY,
                        taken_again=s.now - 1 * HOUR,
                        text="Night shift: no breakfast. An alarm on the phone from now on.",
                    ),
                    lambda s: s.on_course(
                        actions.tell_side_effect,
                        words="Sick every morning, could not finish the shift yesterday",
                        severity="moderate",
                        done="tablet with food, something against nausea",
                    ),
                    lambda s: s.on_course(
                        actions.seek_advice,
                        of="HIV physician on call",
                        action="pep_side_effect_advice",
                    ),
                    lambda s: s.learn("worker", worker_medicines=frozenset({"calcium_iron"})),
                ),
            ),
        ],
    ),
    Story(
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
                    _washed,
                    lambda s: s.see(),
                    lambda s: s.learn(**{**WELL, "worker_hbv_infection": "current"}),
                    lambda s: s.learn("record", source_access="testable", **SOURCE_NEGATIVE),
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
    ),
)
