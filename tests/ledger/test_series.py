"""The doses of a vaccine series after an exposure: in the plan, in the visits, and never too early."""

from __future__ import annotations

from datetime import date, datetime, timedelta

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from demo.staging import stage
from ledger.builders import NIGHT, ZONE, learned, reported, us, write
from thimble.clinical.library import protocol as shipped
from thimble.ledger.assess import assess
from thimble.ledger.entries import Kind
from thimble.ledger.fold import fold
from thimble.ledger.follow_up.visiting import visiting
from thimble.ledger.plan import TO_DO
from thimble.ledger.series import after_exposure
from thimble.ledger.store import MemoryStore

SITE = stage().site
CASE = "KRWM-7Q2X"
NEEDLE = {
    "route": "percutaneous", "fluid": "blood", "device": "hollow_bore_needle",
    "source_hbsag": "negative", "worker_hbv_infection": "none_known",
}  # fmt: skip
FIRST, SECOND, LAST = "hbv_vaccine_dose", "hbv_series_dose_2", "hbv_series_last_dose"
TITRE = "anti_hbs_after_vaccine"


class Told:
    """A case with its doses, planned anew at each question."""

    def __init__(self, series: str = "none", protocol=None, **facts: str) -> None:
        self.store = MemoryStore()
        self.protocol = protocol or us()
        write(self.store, CASE, (Kind.REPORTED, reported()), at=NIGHT)
        write(self.store, CASE, learned(**NEEDLE, worker_hbv_series=series, **facts), at=NIGHT)

    def gave(self, action: str, on: str, cvx: str = "") -> Told:
        at = datetime.fromisoformat(f"{on}T10:00").replace(tzinfo=ZONE)
        body = {"action": action, "product": "vaccine", "amount": "", "batch": ""}
        if cvx:
            body["cvx"] = cvx
        write(self.store, CASE, (Kind.DOSE_GIVEN, body), at=at)
        return self

    def before(self, *when: str) -> Told:
        body = {"doses": [{"when": each, "product": ""} for each in when], "text": ""}
        write(self.store, CASE, (Kind.DOSES_ON_RECORD, body), at=NIGHT)
        return self

    def plan(self, on: str):
        now = datetime.fromisoformat(f"{on}T12:00").replace(tzinfo=ZONE)
        self.situation = fold(self.store.entries(CASE), now, self.protocol.vocabulary)
        return assess(self.situation, self.protocol, now, SITE)

    def doses(self, on: str) -> dict[str, tuple[str, str, str]]:
        """Each dose and the titre that is still to come: opens, best, waits for."""
        return {
            a.id: (_day(a.window.earliest), _day(a.window.target), a.window.waits_for)
            for a in self.plan(on).actions
            if a.state in TO_DO and a.id in (FIRST, SECOND, "hbv_series_dose_3", LAST, TITRE)
        }

    def visits(self, on: str) -> dict[str, date]:
        found = visiting(self.plan(on), self.situation, SITE)
        assert not found.planned.unplaceable
        return found.planned.held


def _day(at: datetime | None) -> str:
    return "" if at is None else at.astimezone(SITE.zone).date().isoformat()


def test_a_series_that_starts_asks_for_its_doses_one_after_the_other():
    """Immunize.org: 4 weeks; then 8 weeks after dose 2 and 16 after dose 1, best at 6 months."""
    case = Told()
    assert case.doses("2026-03-02").keys() == {FIRST, SECOND, LAST, TITRE}
    case.gave(FIRST, "2026-03-02")
    assert case.doses("2026-03-03") == {
        SECOND: ("2026-03-30", "2026-03-30", ""),
        LAST: ("", "", SECOND),
        TITRE: ("", "", LAST),
    }
    case.gave(SECOND, "2026-04-08")
    assert case.doses("2026-04-09")[LAST] == ("2026-06-22", "2026-09-02", "")
    case.gave(LAST, "2026-09-03")
    assert case.doses("2026-09-04") == {TITRE: ("2026-10-03", "2026-10-03", "")}


def test_the_whole_series_and_its_titre_are_planned_into_visits():
    held = Told().gave(FIRST, "2026-03-02").visits("2026-03-03")
    assert held[SECOND] >= date(2026, 3, 30)
    assert held[LAST] >= held[SECOND] + timedelta(weeks=8)
    assert date(2026, 6, 22) <= held[LAST]
    assert held[LAST] + timedelta(days=28) <= held[TITRE] <= held[LAST] + timedelta(days=62)


def test_one_dose_before_leaves_two_and_two_before_leave_one():
    one = Told("incomplete").before("2024-05").gave(FIRST, "2026-03-02")
    # Dose 2 was given today, so dose 3 counts from eight weeks on; the six months are long over.
    assert one.doses("2026-03-03") == {
        LAST: ("2026-04-27", "2026-04-27", ""), TITRE: ("", "", LAST),
    }  # fmt: skip
    two = Told("incomplete").before("2024-05", "2024-07").gave(FIRST, "2026-03-02")
    assert two.doses("2026-03-03") == {TITRE: ("2026-04-02", "2026-04-02", "")}


def test_the_first_dose_waits_for_the_interval_since_the_last_on_record():
    """IMM: never use the days of grace to schedule; 4 weeks after 20 Feb is 20 Mar."""
    case = Told("incomplete").before("2026-02-20")
    assert case.doses("2026-03-02")[FIRST] == ("2026-03-20", "2026-03-20", "")
    # Long enough ago: from the exposure on, which was the evening before at the site.
    assert Told("incomplete").before("2026-01-02").doses("2026-03-02")[FIRST][0] == "2026-03-01"


def test_without_earlier_doses_on_record_no_date_is_made_up():
    case = Told("incomplete").gave(FIRST, "2026-03-02")
    assert case.doses("2026-03-03") == {LAST: ("2026-03-02", "", ""), TITRE: ("", "", LAST)}
    assert LAST not in case.visits("2026-03-03")


def test_while_it_is_open_which_series_it_is_the_doses_between_may_follow_and_none_is_certain():
    plan = Told("one_complete").plan("2026-03-02")
    between = [action for action in plan.actions if action.id in (SECOND, "hbv_series_dose_3")]
    assert len(between) == 2
    assert not any(action.certain for action in between)
    assert all(action.open_facts for action in between)
    assert "hbv_vaccine" in {d for q in plan.questions for d in q.changes}


def test_a_second_series_counts_from_the_exposure_alone():
    case = Told("one_complete", worker_hbv_response="non_responder")
    case.before("2019-01", "2019-03", "2019-09").gave(FIRST, "2026-03-02")
    assert case.doses("2026-03-03").keys() == {SECOND, LAST, TITRE}


def test_a_second_dose_five_days_early_is_asked_for_again_and_one_four_days_early_is_not():
    early = Told().gave(FIRST, "2026-03-02").gave(SECOND, "2026-03-25")
    assert early.doses("2026-03-26")[SECOND] == ("2026-04-22", "2026-04-22", "")
    assert SECOND not in Told().gave(FIRST, "2026-03-02").gave(SECOND, "2026-03-26").doses(
        "2026-03-27"
    )


def test_of_a_two_dose_vaccine_the_second_dose_is_the_last():
    """CDSI: two doses of CVX 189, four weeks apart or more, are the series."""
    told = Told().gave(FIRST, "2026-03-03", "189")
    assert set(told.doses("2026-03-20")) == {LAST, TITRE}
    assert told.doses("2026-03-20")[LAST][0] == "2026-03-31"

    told.gave(LAST, "2026-03-31", "189")
    assert set(told.doses("2026-04-01")) == {TITRE}
    assert told.plan("2026-04-01").contradictions == ()


def test_a_second_dose_recorded_as_a_second_ends_a_two_dose_series_all_the_same():
    told = Told().gave(FIRST, "2026-03-03", "189").gave(SECOND, "2026-03-31", "189")

    assert set(told.doses("2026-04-01")) == {TITRE}


@pytest.mark.parametrize(("first", "second"), [("", ""), ("189", ""), ("", "189"), ("43", "43")])
def test_where_one_product_is_not_known_or_another_a_third_dose_is_asked_for(first, second):
    told = Told().gave(FIRST, "2026-03-03", first).gave(SECOND, "2026-03-31", second)

    assert LAST in told.doses("2026-04-01")


def test_a_last_dose_of_which_the_product_is_not_known_is_told_to_be_too_early():
    told = Told().gave(FIRST, "2026-03-03", "189").gave(LAST, "2026-03-31")

    (said,) = told.plan("2026-04-01").contradictions
    assert "another dose counts from" in said


def test_a_last_dose_that_came_too_early_is_told_and_not_passed_over():
    case = Told().gave(FIRST, "2026-03-02").gave(SECOND, "2026-03-30").gave(LAST, "2026-04-20")
    (told,) = case.plan("2026-04-21").contradictions
    assert "another dose counts from Mon 22 Jun 2026" in told
    whole = Told().gave(FIRST, "2026-03-02").gave(SECOND, "2026-03-30").gave(LAST, "2026-06-22")
    assert whole.plan("2026-06-23").contradictions == ()


def test_the_accelerated_course_of_the_british_protocol():
    case = Told(protocol=shipped("uk"), worker_exposure_continues="yes")
    write(case.store, CASE, learned(source_hbsag="positive"), at=NIGHT)
    case.gave(FIRST, "2026-03-02")
    assert case.doses("2026-03-03")[SECOND] == ("2026-03-30", "2026-03-30", "")
    case.gave(SECOND, "2026-03-31")
    assert case.doses("2026-04-01")[LAST] == ("2026-04-28", "2026-04-28", "")


@settings(deadline=None, max_examples=40)
@given(st.integers(0, 70), st.integers(0, 300), st.integers(0, 40))
def test_no_visit_ever_gives_a_dose_before_its_interval(second: int, look: int, spare: int):
    """Whatever day the second dose came on, and whenever the visits are planned."""
    first = date(2026, 3, 2)
    case = Told().gave(FIRST, first.isoformat())
    on = first + timedelta(days=1 + spare)
    held = case.visits(on.isoformat())
    before = held.get(SECOND, on)
    assert before >= first + timedelta(weeks=4) or SECOND not in held
    assert held[LAST] >= max(before + timedelta(weeks=8), first + timedelta(weeks=16))
    came = first + timedelta(days=28 + second)
    case.gave(SECOND, came.isoformat())
    held = case.visits((came + timedelta(days=look)).isoformat())
    if LAST in held:
        assert held[LAST] >= max(came + timedelta(weeks=8), first + timedelta(weeks=16))
        assert held[TITRE] >= held[LAST] + timedelta(days=28)


@pytest.mark.parametrize("protocol", ["us", "uk"])
def test_the_actions_of_a_series_are_rows_of_the_protocol(protocol: str):
    names = after_exposure(protocol)
    assert names is not None
    found = shipped(protocol)
    assert set(names.doses) == set(found.named_actions["hepatitis_b_vaccine"])
    assert set(names.asks) <= set(found.outputs[names.decision].values)
    rows = {r.outputs["action"] for t in found.tables if t.role == "actions" for r in t.rules}
    assert set(names.doses) <= rows
