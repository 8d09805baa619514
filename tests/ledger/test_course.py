"""A course of prophylaxis: its days across a change of the clocks, its tablets, its end, what is due."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from types import SimpleNamespace
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from thimble import actions
from thimble.actions import Refused
from thimble.clinical.library import protocol
from thimble.clinical.prophylaxis import course_days, medicine_in
from thimble.clinical.vocabulary import vocabulary
from thimble.ledger.assess import assess
from thimble.ledger.compare import diff
from thimble.ledger.fold import fold
from thimble.ledger.plan import State
from thimble.ledger.prophylaxis.course import course_of
from thimble.ledger.prophylaxis.told import course_told
from thimble.ledger.store import MemoryStore

ZONE = ZoneInfo("Europe/Zurich")
SITE = SimpleNamespace(zone=ZONE)
WHO = {"by": "u-1", "role": "occupational_nurse"}
FACTS = {
    "route": "percutaneous", "fluid": "blood", "worker_hiv": "negative", "worker_on_prep": "no",
    "source_hiv": "positive", "source_hiv_load": "detectable", "source_hiv_acute_illness": "no",
}  # fmt: skip


class Case:
    """A case with a course, and what can happen to it."""

    def __init__(
        self, began: datetime, *, days: int = 5, product: str = "Pack: bictegravir/FTC/TAF"
    ) -> None:
        self.store, self.began = MemoryStore(), began
        self.ref = actions.report(
            self.store, facts=FACTS, occurred_at=began, occurred_at_precision="minute",
            vocabulary=vocabulary(), now=began,
        ).case  # fmt: skip
        actions.give_dose(
            self.store, self.ref, "hiv_pep_first_dose", product=product, days=days, now=began, **WHO
        )

    def do(self, act, at, /, **more):
        return act(self.store, self.ref, now=at, **WHO, **more)

    def after(self, days: float) -> datetime:
        return self.began + timedelta(days=days)

    def situation(self, at):
        return fold(self.store.entries(self.ref), at, vocabulary())

    def course(self, at, rules="us"):
        return course_of(self.situation(at), rules, at, ZONE)

    def plan(self, at, rules="us"):
        return assess(self.situation(at), protocol(rules), at, SITE)

    def action(self, id_, at, rules="us"):
        return next((a for a in self.plan(at, rules).actions if a.id == id_), None)


def local(*parts: int) -> datetime:
    return datetime(*parts, tzinfo=ZONE)


NEW_YEAR = local(2026, 1, 1, 9)


def test_the_dates_are_those_worked_out_beside_the_sources():
    """Reference, date arithmetic: exposure 1 January 2026 at 9:00; day 28 is 29 January, 45 days after
    that is 15 March, day 73."""
    case = Case(NEW_YEAR)
    course = case.course(NEW_YEAR)

    assert course_days("us") == course_days("uk") == 28
    assert course.planned_end.date() == date(2026, 1, 29)
    final = case.action("follow_up_hiv_after_pep", NEW_YEAR, "uk")
    assert final.window.target == local(2026, 3, 15, 9)
    assert (final.window.target.date() - NEW_YEAR.date()).days == 73


@pytest.mark.parametrize(
    ("began", "now", "day"),
    [
        (local(2026, 3, 27, 23, 30), local(2026, 3, 27, 23, 59), 1),
        (local(2026, 3, 27, 23, 30), local(2026, 3, 28, 0, 0), 2),
        (local(2026, 3, 27, 23, 30), local(2026, 3, 29, 4, 0), 3),
        (local(2026, 3, 27, 23, 30), local(2026, 3, 30, 0, 10), 4),
        (local(2026, 10, 24, 0, 30), local(2026, 10, 25, 23, 50), 2),
        (local(2026, 10, 24, 0, 30), local(2026, 10, 26, 0, 0), 3),
    ],
)
def test_days_of_the_course_are_those_of_the_calendar_when_the_clocks_change(began, now, day):
    assert Case(began).course(now).day == day


@pytest.mark.parametrize(
    "began", [local(2026, 3, 27, 8), local(2026, 10, 23, 8), local(2026, 3, 28, 2, 30)]
)
def test_tablets_are_used_up_at_the_hour_of_the_first_one_whatever_the_clocks_do(began):
    until = Case(began, days=5).course(began).covered_until.astimezone(ZONE)

    assert until.date() == began.date() + timedelta(days=5)
    assert (until.hour, until.minute) == (began.hour, began.minute)


@given(st.lists(st.integers(1, 9), min_size=1, max_size=6), st.integers(0, 364))
def test_however_the_tablets_are_split_they_last_as_long_as_in_one(parts, start):
    began = (NEW_YEAR + timedelta(days=start)).astimezone(UTC)
    split, whole = Case(began, days=parts[0]), Case(began, days=sum(parts))
    for days in parts[1:]:
        split.do(actions.hand_out, began, product="Pack", days=days)

    now = began + timedelta(days=60)
    assert split.course(now).covered_until == whole.course(now).covered_until
    assert split.course(now).uncovered == 0


@pytest.mark.parametrize(("more", "due"), [(22, True), (23, False), (24, False)])
def test_the_next_tablets_are_due_until_the_course_is_covered_to_its_end(more, due):
    case = Case(NEW_YEAR, days=5)
    case.do(actions.hand_out, case.after(3), product="Rest", days=more)

    found = case.action("pep_next_supply", case.after(3))
    assert (found is not None) is due
    if found:
        assert found.window.target.astimezone(ZONE) == local(2026, 1, 28, 9)


def test_what_nobody_wrote_down_is_not_taken_as_enough():
    case = Case(NEW_YEAR, days=0)

    assert case.course(NEW_YEAR).covered_until is None
    assert case.course(NEW_YEAR).days_left(NEW_YEAR, ZONE) is None
    assert case.action("pep_next_supply", NEW_YEAR).what.startswith("Write down for how many days")


def test_days_without_tablets_are_counted_and_days_left_end_at_none():
    case = Case(NEW_YEAR, days=5)

    assert case.course(case.after(0)).days_left(case.after(0), ZONE) == 5
    assert case.course(case.after(4)).days_left(case.after(4), ZONE) == 1
    assert case.course(case.after(9)).days_left(case.after(9), ZONE) == 0
    case.do(actions.hand_out, case.after(7), product="Rest", days=21)
    assert case.course(case.after(7)).uncovered == 2
    assert case.course(case.after(7)).covered_until == local(2026, 1, 29, 9)


def test_another_medicine_makes_the_tablets_at_home_count_no_more():
    case = Case(NEW_YEAR, days=28)
    case.do(
        actions.change_course, case.after(6), product="Dolutegravir with two others", reason="rash"
    )

    course = case.course(case.after(6))
    assert course.covered_until == case.after(6)
    assert (course.product, course.facts["medicine"]) == (
        "Dolutegravir with two others",
        "dolutegravir",
    )
    case.do(actions.hand_out, case.after(6), product="Dolutegravir with two others", days=22)
    assert case.action("pep_next_supply", case.after(6)) is None


@pytest.mark.parametrize(
    ("name", "medicine"),
    [
        ("BICTEGRAVIR/emtricitabine", "bictegravir"),
        ("tenofovir + emtricitabine + raltegravir 1200", "raltegravir"),
        ("starter pack", "other"),
        ("dolutegravir, before that raltegravir", "other"),
    ],
)
def test_a_medicine_is_known_only_where_one_is_named(name, medicine):
    assert medicine_in(name) == medicine


# -- its end ----------------------------------------------------------------------------------------


def test_the_follow_up_counts_from_the_end_that_is_on_record():
    case = Case(NEW_YEAR)
    case.do(actions.stop_course, case.after(12), reason="worker_wish", happened_at=case.after(10))

    final = case.action("follow_up_hiv_after_pep", case.after(12), "uk")
    assert final.window.target.astimezone(ZONE) == local(2026, 1, 11, 9) + timedelta(days=45)
    assert case.course(case.after(40)).day == 11


def test_a_course_that_went_on_longer_moves_the_follow_up_too():
    case = Case(NEW_YEAR)
    case.do(actions.stop_course, case.after(31), reason="complete", happened_at=case.after(30))

    final = case.action("follow_up_hiv_after_pep", case.after(31), "uk")
    assert final.window.target.astimezone(ZONE) == local(2026, 1, 31, 9) + timedelta(days=45)


def test_without_a_first_dose_there_is_no_course_and_its_follow_up_waits():
    store = MemoryStore()
    ref = actions.report(
        store, facts=FACTS, occurred_at=NEW_YEAR, occurred_at_precision="minute",
        vocabulary=vocabulary(), now=NEW_YEAR,
    ).case  # fmt: skip
    situation = fold(store.entries(ref), NEW_YEAR, vocabulary())

    assert course_of(situation, "uk", NEW_YEAR, ZONE) is None
    found = {a.id: a for a in assess(situation, protocol("uk"), NEW_YEAR, SITE).actions}
    assert found["follow_up_hiv_after_pep"].window.waits_for == "hiv_pep_first_dose"
    assert not any(id_.startswith("pep_") for id_ in found)
    with pytest.raises(Refused, match="No first dose is on record"):
        actions.hand_out(store, ref, product="Rest", days=3, now=NEW_YEAR, **WHO)


@pytest.mark.parametrize("reason", ["complete", "side_effects", "source_negative"])
def test_an_ended_course_asks_for_nothing_more(reason):
    case = Case(NEW_YEAR, days=0)
    case.do(actions.tell_side_effect, case.after(5), words="rash", severity="severe")
    case.do(actions.miss_doses, case.after(5), count=1, last_taken=None, taken_again=None)
    before = {a.id for a in case.plan(case.after(5)).actions}
    assert {
        "pep_next_supply",
        "pep_bloods_2w",
        "pep_side_effect_advice",
        "pep_missed_advice",
    } <= before
    case.do(actions.stop_course, case.after(6), reason=reason)

    assert not {a.id for a in case.plan(case.after(6)).actions if a.id.startswith("pep_")}


def test_the_end_is_told_and_not_assumed():
    case = Case(NEW_YEAR, days=28)
    due = case.action("pep_course_end", case.after(40))

    assert due.state is State.OPEN
    assert due.window.target.astimezone(ZONE) == local(2026, 1, 29, 9)
    assert case.course(case.after(40)).ended is None


@pytest.mark.parametrize("minutes", [-1, 1])
def test_an_end_before_the_first_dose_is_refused(minutes):
    case = Case(NEW_YEAR)
    at = NEW_YEAR + timedelta(minutes=minutes)

    if minutes < 0:
        with pytest.raises(Refused, match="lies before the first dose"):
            case.do(actions.stop_course, case.after(1), reason="complete", happened_at=at)
    else:
        assert case.do(actions.stop_course, case.after(1), reason="complete", happened_at=at)


# -- what is due while it runs ------------------------------------------------------------------------


def test_the_blood_at_two_weeks_falls_away_only_with_a_normal_baseline_and_nothing_felt():
    case = Case(NEW_YEAR, days=28)
    unknown = case.action("pep_bloods_2w", case.after(1))
    assert "unless the baseline turns out normal" in unknown.what
    assert unknown.window.target.astimezone(ZONE) == local(2026, 1, 15, 9)

    review = {"adherence": "all_taken", "source_result": "awaited", "decision": "go_on"}
    case.do(
        actions.review_course,
        case.after(3),
        baseline_bloods="normal",
        action="review_72h",
        **review,
    )
    assert case.action("pep_bloods_2w", case.after(3)) is None
    assert case.action("review_72h", case.after(3)).state is State.DONE

    # A later review that did not look takes nothing back; a side effect brings the blood again.
    case.do(actions.review_course, case.after(4), baseline_bloods="not_known", **review)
    assert case.action("pep_bloods_2w", case.after(4)) is None
    case.do(actions.tell_side_effect, case.after(5), words="sick in the morning", severity="mild")
    assert case.action("pep_bloods_2w", case.after(5)).what.endswith("at two weeks")
    assert case.action("pep_side_effect_advice", case.after(5)) is None


@pytest.mark.parametrize(("hours", "asks"), [(47.9, False), (48, False), (48.1, True)])
def test_the_british_limit_of_48_hours_asks_an_expert_and_stops_nothing(hours, asks):
    case = Case(NEW_YEAR, days=28)
    last = case.after(4)
    case.do(
        actions.miss_doses, case.after(10), count=1, last_taken=last,
        taken_again=last + timedelta(hours=hours),
    )  # fmt: skip

    assert (case.action("pep_missed_advice", case.after(10), "uk") is not None) is asks
    assert case.course(case.after(10), "uk").ended is None


def test_where_nobody_knows_how_long_the_gap_was_the_expert_may_be_needed():
    case = Case(NEW_YEAR, days=28)
    case.do(actions.miss_doses, case.after(10), count=2, last_taken=None, taken_again=None)

    found = case.action("pep_missed_advice", case.after(10), "uk")
    assert found is not None
    assert found.certain is False


def test_doses_missed_again_are_to_be_asked_about_again():
    case = Case(NEW_YEAR, days=28)
    gap = {"count": 1, "last_taken": None, "taken_again": None}
    case.do(actions.miss_doses, case.after(4), **gap)
    case.do(
        actions.seek_advice,
        case.after(5),
        of="HIV physician",
        advice="go on",
        action="pep_missed_advice",
    )
    assert case.action("pep_missed_advice", case.after(5)).state is State.DONE

    case.do(actions.miss_doses, case.after(6), **gap)
    assert case.action("pep_missed_advice", case.after(6)).state is State.OPEN


def test_a_side_effect_that_is_told_late_is_to_be_asked_about_all_the_same():
    """It happened before the advice, which nobody could give about it: it was not known yet."""
    case = Case(NEW_YEAR, days=28)
    case.do(actions.tell_side_effect, case.after(3), words="nausea", severity="moderate")
    case.do(
        actions.seek_advice, case.after(4), of="HIV physician", advice="with food",
        action="pep_side_effect_advice",
    )  # fmt: skip
    assert case.action("pep_side_effect_advice", case.after(4)).state is State.DONE

    case.do(
        actions.tell_side_effect, case.after(6), words="rash with fever", severity="severe",
        happened_at=case.after(2),
    )  # fmt: skip
    assert case.action("pep_side_effect_advice", case.after(6)).state is State.OPEN


# -- advice asked and given ---------------------------------------------------------------------------


def test_advice_stays_open_until_it_is_given():
    case = Case(NEW_YEAR, days=28)
    case.do(actions.tell_side_effect, case.after(5), words="rash", severity="moderate")
    asked = case.do(
        actions.seek_advice, case.after(5), of="HIV physician", action="pep_side_effect_advice"
    )[0].position

    awaited = case.action(f"expert_answer_{asked}", case.after(6))
    assert awaited.state is State.OPEN
    assert awaited.window.target == case.after(5)
    assert case.action("pep_side_effect_advice", case.after(6)) is None  # one thing, named once

    case.do(
        actions.receive_advice,
        case.after(6),
        asked=asked,
        of="HIV physician",
        advice="go on",
    )
    assert case.action(f"expert_answer_{asked}", case.after(6)) is None
    assert case.action("pep_side_effect_advice", case.after(6)).state is State.DONE
    (sought,) = case.situation(case.after(6)).course.sought
    assert (sought.at, sought.answered_at, sought.open) == (case.after(5), case.after(6), False)


def test_whoever_goes_on_without_the_answer_says_why_and_is_not_asked_again():
    case = Case(NEW_YEAR, days=28)
    asked = case.do(actions.seek_advice, case.after(5), of="HIV physician")[0].position
    case.do(
        actions.depart, case.after(8), subject=f"expert_answer_{asked}", advised="Get the answer",
        decided="Go on without it", reason="the rash is gone",
    )  # fmt: skip

    assert case.action(f"expert_answer_{asked}", case.after(8)).state is State.DEPARTED


def test_what_is_told_on_the_telephone_says_what_is_known_and_what_is_not():
    case = Case(NEW_YEAR, days=5)
    case.do(actions.tell_side_effect, case.after(3), words="rash", severity="moderate")
    case.do(actions.miss_doses, case.after(3), count=2, last_taken=None, taken_again=None)

    told = dict(course_told(case.situation(case.after(3)), "us", case.after(3), ZONE))
    assert told["Day of the course"] == "4 of 28"
    assert told["Tablets"] == "handed out to Tue 6 Jan 2026, 09:00"
    assert told["Doses missed"] == "2; for how long is not known"
    assert told["Side effects"].startswith("moderate: rash")
    before = dict(course_told(Case(NEW_YEAR, days=0).situation(NEW_YEAR), "us", NEW_YEAR, ZONE))
    assert before["Tablets"] == "for how many days they were handed out is not on record"
    assert before["Doses missed"] == "none on record, not asked yet"


def test_an_answer_to_nothing_is_refused():
    case = Case(NEW_YEAR)

    with pytest.raises(Refused, match="Entry 2 asks nobody"):
        case.do(actions.receive_advice, case.after(1), asked=2, of="HIV physician", advice="go on")


# -- the checks run again on every new fact -----------------------------------------------------------


def test_a_medicine_told_in_mid_course_changes_the_plan_and_the_change_is_told():
    case = Case(NEW_YEAR, days=28)
    case.do(
        actions.learn_facts, case.after(1), facts={"worker_medicines": frozenset()},
        said_by="clinician", vocabulary=vocabulary(),
    )  # fmt: skip
    before = case.plan(case.after(9))
    case.do(
        actions.learn_facts, case.after(9), facts={"worker_medicines": frozenset({"metformin"})},
        said_by="worker", vocabulary=vocabulary(),
    )  # fmt: skip
    after = case.plan(case.after(9))

    assert any(c.text.startswith("Metformin") for c in diff(before, after).cautions)
    assert not any(c.text.startswith("Metformin") and c.certain for c in before.cautions)


@pytest.mark.parametrize(
    ("creatinine", "said"),
    [(90, "60 mL/min or more"), (125, "50 to below 60"), (200, "30 to below 50")],
)
def test_a_creatinine_told_in_mid_course_is_weighed_against_the_tablets(creatinine, said):
    case = Case(NEW_YEAR, days=28)
    known = {"worker_age": 55.0, "worker_weight": 62.0, "worker_sex_for_renal_formula": "male"}
    case.do(
        actions.learn_facts, case.after(13), facts={**known, "worker_creatinine": float(creatinine)},
        said_by="laboratory", vocabulary=vocabulary(),
    )  # fmt: skip

    renal = [
        c.text for c in case.plan(case.after(13)).cautions if c.certain and "Clearance" in c.text
    ]
    assert len(renal) == 1
    assert said in renal[0]


@given(st.permutations(range(4)))
def test_the_course_is_the_same_in_whatever_order_its_entries_were_written(order):
    """Tablets, a side effect, missed doses and a review, told late, each with its own time."""
    case = Case(NEW_YEAR, days=5)
    written = [
        lambda at: case.do(actions.hand_out, at, product="Rest", days=23, happened_at=case.after(3)),
        lambda at: case.do(
            actions.tell_side_effect, at, words="rash", severity="moderate", happened_at=case.after(4)
        ),
        lambda at: case.do(
            actions.miss_doses, at, count=1, last_taken=case.after(5), taken_again=case.after(7)
        ),
        lambda at: case.do(
            actions.review_course, at, adherence="some_missed", baseline_bloods="normal",
            source_result="awaited", decision="go_on", happened_at=case.after(3),
        ),
    ]  # fmt: skip
    for step in order:
        written[step](case.after(9))

    course = case.course(case.after(9))
    assert course.covered_until == local(2026, 1, 29, 9)
    assert (course.missed, course.facts["side_effects"]) == (1, "moderate")
    assert course.facts["hours_without_dose"] == 48.0
