"""The months after: a course, visits kept and missed, the all-clear."""

from __future__ import annotations

from thimble import actions
from thimble.clinical.serology import Analyte
from thimble.demo.stories.telling import (
    DAY,
    HOUR,
    MINUTE,
    NEEDLE,
    RESPONDER,
    SOURCE_HCV_POSITIVE,
    SOURCE_HIV_POSITIVE,
    WEEK,
    WELL,
    Story,
    as_,
    patient,
    source_tested,
    washed,
)

CLOSED_ALL_CLEAR = Story(
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
                source=patient("G. Nonesuch", "H-17204", "Intensive care"),
            ),
        ),
        (
            50 * MINUTE,
            as_(
                "night",
                lambda s: s.see(),
                washed,
                lambda s: s.learn(**WELL, **RESPONDER),
                source_tested(SOURCE_HCV_POSITIVE),
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
                lambda s: s.blood(Analyte.HCV_RNA, drawn_for="follow_up", taken_ago=120 * MINUTE),
            ),
        ),
        (13 * WEEK, as_("nurse", lambda s: s.do_what_is_due())),
        (
            24 * WEEK,
            as_(
                "nurse",
                lambda s: s.do_what_is_due(),
                lambda s: s.blood(Analyte.ANTI_HCV, drawn_for="follow_up", taken_ago=120 * MINUTE),
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
)

DID_NOT_COME = Story(
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
                source=patient("K. Nonesuch", "H-20871", "Outpatients"),
                facts=NEEDLE,
            ),
        ),
        (
            70 * MINUTE,
            as_(
                "physician",
                lambda s: s.see(),
                washed,
                lambda s: s.learn(**WELL, **RESPONDER),
                source_tested(SOURCE_HCV_POSITIVE),
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
            as_("nurse", lambda s: s.miss_visit(), lambda s: s.contact("telephone", "no_answer")),
        ),
    ],
)

COURSE_IN_PROGRESS = Story(
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
                source=patient("M. Nonesuch", "H-20733", "Ward 6 East"),
                facts=NEEDLE,
            ),
        ),
        (
            15 * MINUTE,
            as_(
                "night",
                lambda s: s.see(),
                washed,
                lambda s: s.learn(**WELL, **RESPONDER),
                source_tested(SOURCE_HIV_POSITIVE, source_hiv_acute_illness="no"),
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
)
