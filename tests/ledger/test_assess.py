"""The plan: clocks, windows, doubt. On the United States protocol, and on a small one of our own."""

import shutil
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from types import SimpleNamespace
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ledger.builders import NIGHT, SITE, ZONE, after, learned, reported, us, write
from thimble import actions
from thimble.actions import depart, give_dose, report
from thimble.clinical.library import SHIPPED
from thimble.clinical.vocabulary import vocabulary
from thimble.ledger.assess import assess, moment_of, situation_of
from thimble.ledger.compare import fingerprint
from thimble.ledger.entries import Kind
from thimble.ledger.fold import Done, fold
from thimble.ledger.plan import State
from thimble.ledger.series import after_exposure
from thimble.ledger.situation import Departure, SignedPlan
from thimble.ledger.store import MemoryStore
from thimble.protocol import load_protocol

NEEDLE = {
    "route": "percutaneous",
    "fluid": "blood",
    "worker_hiv": "negative",
    "worker_on_prep": "no",
}
DETECTABLE = {
    **NEEDLE,
    "source_hiv": "positive",
    "source_hiv_load": "detectable",
    "source_hiv_acute_illness": "no",
}
HBIG_DUE = {
    **NEEDLE,
    "source_hbsag": "positive",
    "worker_hbv_infection": "none_known",
    "worker_hbv_series": "one_complete",
    "worker_hbv_response": "non_responder",
}


def situation(facts, **more):
    base = situation_of(facts, occurred_at=NIGHT, now=NIGHT)
    return replace(base, **more)


def plan(facts, now, **more):
    return assess(situation(facts, **more), us(), now, SITE)


def done(**actions):
    return {name: Done(9, at, Kind.DOSE_GIVEN) for name, at in actions.items()}


def action(found, id_):
    return next((a for a in found.actions if a.id == id_), None)


def value(found, decision):
    return found.findings[decision].value


# -- hours ----------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("now", "advice"),
    [
        (after(71, 59), "recommended"),
        (after(72), "recommended"),
        (after(72) + timedelta(seconds=1), "expert_decides"),
    ],
)
def test_72_hours_count_from_the_instant_of_the_exposure_and_are_included(now, advice):
    """2025 US guideline: prophylaxis starts within 72 hours; later, an expert decides."""
    assert value(plan(DETECTABLE, now), "hiv_pep") == advice


def test_hours_are_elapsed_time_over_the_change_to_summer_time():
    """29 March 2026, 02:00 becomes 03:00 in Zurich: three days on the wall are 71 hours."""
    friday = datetime(2026, 3, 27, 12, tzinfo=ZONE)
    monday = datetime(2026, 3, 30, 13, tzinfo=ZONE)
    found = assess(situation(DETECTABLE, occurred_at=friday), us(), monday, SITE)
    assert value(found, "hiv_pep") == "recommended"
    found = assess(
        situation(DETECTABLE, occurred_at=friday), us(), monday + timedelta(minutes=1), SITE
    )
    assert value(found, "hiv_pep") == "expert_decides"


def test_while_the_time_is_not_known_the_hours_stay_open():
    found = plan(DETECTABLE, after(2), occurred_at=None, occurred_at_precision="unknown")
    assert found.findings["hiv_pep"].value is None
    assert "hours_since_exposure" in found.findings["hiv_pep"].open_facts
    assert "hours_since_exposure" in [q.fact for q in found.questions]
    dose = action(found, "hiv_pep_first_dose")
    assert not dose.certain
    assert (dose.window.earliest, dose.window.latest) == (None, None)


def test_hours_told_in_place_of_an_instant_run_on_from_when_they_were_told():
    told = situation_of({**DETECTABLE, "hours_since_exposure": 70.0}, occurred_at=None, now=NIGHT)
    assert value(assess(told, us(), after(2), SITE), "hiv_pep") == "recommended"
    assert value(assess(told, us(), after(2, 1), SITE), "hiv_pep") == "expert_decides"
    latest = action(assess(told, us(), after(1), SITE), "hiv_pep_first_dose").window.latest
    assert latest == after(2)


@pytest.mark.parametrize(
    ("now", "advice", "possible"),
    [
        # The exposure was between 00:00 and 24:00 on 2 March.
        (datetime(2026, 3, 5, 0, 0, tzinfo=ZONE), "recommended", ("recommended",)),
        (datetime(2026, 3, 5, 0, 1, tzinfo=ZONE), None, ("expert_decides", "recommended")),
        (datetime(2026, 3, 5, 23, 59, tzinfo=ZONE), None, ("expert_decides", "recommended")),
        (datetime(2026, 3, 6, 0, 1, tzinfo=ZONE), "expert_decides", ("expert_decides",)),
    ],
)
def test_of_an_exposure_known_to_the_date_only_what_holds_for_the_whole_day_is_settled(
    now, advice, possible
):
    found = plan(DETECTABLE, now, occurred_at_precision="date")
    assert value(found, "hiv_pep") == advice
    assert set(found.findings["hiv_pep"].possible) == set(possible)
    if advice is None:
        assert found.questions[0].fact == "hours_since_exposure"
        assert "hiv_pep" in found.questions[0].changes
        assert not action(found, "hiv_pep_first_dose").certain
        # The window shown is the one that surely has not closed too late: from the first instant.
        assert action(found, "hiv_pep_first_dose").window.latest == datetime(
            2026, 3, 5, tzinfo=ZONE
        )


def test_an_exposure_was_not_after_its_report():
    """Known to the date, reported at 03:00: it lies between midnight and 03:00."""
    base = situation(
        {}, occurred_at_precision="date", reported_at=datetime(2026, 3, 2, 3, tzinfo=ZONE)
    )
    moment = moment_of(base, ZONE, after(100))
    assert moment.first == datetime(2026, 3, 2, tzinfo=ZONE)
    assert moment.last == datetime(2026, 3, 2, 3, tzinfo=ZONE)
    hour = moment_of(replace(base, occurred_at_precision="hour"), ZONE, after(100))
    assert (hour.first, hour.last) == (NIGHT.replace(minute=0), NIGHT.replace(hour=3, minute=0))


def test_a_date_in_spring_and_autumn_has_its_own_length():
    """29 March 2026 has 23 hours in Zurich, 25 October has 25."""
    for day, hours in (
        (datetime(2026, 3, 29, 12, tzinfo=ZONE), 23),
        (datetime(2026, 10, 25, 12, tzinfo=ZONE), 25),
    ):
        found = situation({}, occurred_at=day, occurred_at_precision="date")
        moment = moment_of(found, ZONE, day + timedelta(days=30))
        assert moment.last.astimezone(UTC) - moment.first.astimezone(UTC) == timedelta(hours=hours)


def test_an_exposure_in_the_future_is_said_and_its_hours_stay_open():
    found = plan(DETECTABLE, after(-1))
    assert "later than now" in found.contradictions[0]
    assert found.findings["hiv_pep"].value is None


# -- clocks that stop -----------------------------------------------------------------------------


def test_prophylaxis_begun_in_time_stays_advised_when_72_hours_have_passed():
    found = plan(DETECTABLE, after(100), done=done(hiv_pep_first_dose=after(2)))
    assert value(found, "hiv_pep") == "recommended"
    dose = action(found, "hiv_pep_first_dose")
    assert (dose.state, dose.done_at, dose.done_by_entry) == (State.DONE, after(2), 9)
    reasons = {
        item.outputs["hiv_pep_expert_advice"]
        for item in found.reasons["hiv_pep_expert_advice"]
        if item.certain
    }
    assert "late_report" not in reasons


def test_prophylaxis_begun_too_late_is_judged_by_when_it_was_begun():
    found = plan(DETECTABLE, after(100), done=done(hiv_pep_first_dose=after(73)))
    assert value(found, "hiv_pep") == "expert_decides"


def test_the_clock_of_one_table_does_not_stop_that_of_another():
    """HIV prophylaxis given at 2 hours; immunoglobulin not: its time runs on."""
    facts = {**DETECTABLE, **HBIG_DUE}
    found = plan(facts, after(30), done=done(hiv_pep_first_dose=after(2)))
    assert value(found, "hbig_timing") == "within_7_days"
    both = plan(facts, after(30), done=done(hiv_pep_first_dose=after(2), hbig_first_dose=after(3)))
    assert value(both, "hbig_timing") == "within_24_hours"


def test_rows_that_rest_on_a_decision_follow_its_clock():
    """The final HIV test is there because prophylaxis is advised; the action to decide late is not."""
    late = plan(DETECTABLE, after(100))
    assert action(late, "hiv_pep_decision").certain
    begun = plan(DETECTABLE, after(100), done=done(hiv_pep_first_dose=after(2)))
    assert action(begun, "hiv_pep_decision") is None
    assert action(begun, "follow_up_hiv_12w").certain


# -- windows and states -----------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("now", "state"),
    [
        (after(71, 59), State.OPEN),
        (after(72), State.OPEN),
        (after(72) + timedelta(microseconds=1), State.LATE),
    ],
)
def test_an_action_is_late_only_after_its_last_instant(now, state):
    review = action(plan(NEEDLE, now), "review_72h")
    assert (review.state, review.window.latest) == (state, after(72))


def test_days_are_calendar_days_of_the_site():
    """Two weeks over the change to summer time end at the same time on the wall, not 336 hours on."""
    found = plan(NEEDLE, after(2), done=done(assess=datetime(2026, 3, 20, 9, tzinfo=ZONE)))
    latest = action(found, "written_opinion").window.latest
    assert latest == datetime(2026, 4, 4, 9, tzinfo=ZONE)
    elsewhere = SimpleNamespace(zone=ZoneInfo("UTC"))
    assert action(
        assess(
            situation(NEEDLE, done=done(assess=datetime(2026, 3, 20, 9, tzinfo=ZONE))),
            us(),
            after(2),
            elsewhere,
        ),
        "written_opinion",
    ).window.latest == datetime(2026, 4, 4, 8, tzinfo=UTC)


def test_a_window_that_counts_from_an_action_waits_for_it():
    waiting = action(plan(NEEDLE, after(2)), "written_opinion")
    assert (waiting.window.waits_for, waiting.window.latest) == ("assess", None)
    started = action(plan(NEEDLE, after(2), done=done(assess=after(1))), "written_opinion")
    assert (started.window.waits_for, started.window.earliest) == ("", after(1))


def signed(*actions):
    return (SignedPlan(2, "u1", after(1), {}, actions, "ab" * 32),)


def test_what_was_signed_and_no_longer_follows_is_kept_as_no_longer_needed():
    facts = {**DETECTABLE, "source_hiv": "negative"}
    del facts["source_hiv_load"]
    gone = action(plan(facts, after(9), signed=signed("hiv_pep_first_dose")), "hiv_pep_first_dose")
    assert (gone.state, gone.kind, gone.whom) == (State.NO_LONGER_NEEDED, "dose", "worker")
    assert gone.what == "Give the first dose of HIV prophylaxis now"
    unsigned = plan(facts, after(9))
    assert action(unsigned, "hiv_pep_first_dose") is None


def test_what_was_done_and_no_longer_follows_stays_done():
    facts = {**DETECTABLE, "source_hiv": "negative"}
    del facts["source_hiv_load"]
    found = plan(facts, after(9), done=done(hiv_pep_first_dose=after(2)))
    assert action(found, "hiv_pep_first_dose").state is State.DONE
    assert value(found, "stop_hiv_pep") == "yes"
    stop = action(found, "stop_hiv_pep")
    assert (stop.state, stop.window.earliest) == (State.OPEN, after(2))


def test_a_departure_names_its_action_and_no_other():
    departure = Departure(3, "hiv_pep_first_dose", "give", "not given", "declined", "u1", after(1))
    found = plan(DETECTABLE, after(2), departures=(departure,))
    assert action(found, "hiv_pep_first_dose").state is State.DEPARTED
    # Whoever declines the medicine is still tested.
    assert action(found, "follow_up_hiv_12w").state is State.OPEN
    both = plan(
        DETECTABLE, after(2), departures=(departure,), done=done(hiv_pep_first_dose=after(2))
    )
    assert action(both, "hiv_pep_first_dose").state is State.DONE


def test_deciding_what_the_plan_leaves_to_people_does_the_action_that_asks_for_it():
    """The decision is recorded as a departure; the dose may then follow, and its clock is known."""
    store = MemoryStore()
    unknown = {**NEEDLE, "source_hiv": "unknown", "source_hiv_acute_illness": "unknown"}
    who = {"by": "u2", "role": "emergency_clinician"}
    case = report(
        store, facts=unknown, occurred_at=NIGHT, occurred_at_precision="minute",
        vocabulary=us().vocabulary, now=after(1), reported_by="clinician", **who,
    ).case  # fmt: skip

    def now_(hours):
        known = fold(store.entries(case), after(hours), us().vocabulary)
        return assess(known, us(), after(hours), SITE)

    assert value(now_(1), "hiv_pep") == "expert_decides"
    assert action(now_(1), "hiv_pep_first_dose").window.waits_for == "hiv_pep_decision"
    depart(
        store, case, subject="hiv_pep", advised="an expert decides", decided="give it",
        reason="expert on call", now=after(2), **who,
    )  # fmt: skip
    assert action(now_(2), "hiv_pep_decision").state is State.DONE
    assert action(now_(2), "hiv_pep_first_dose").window.target == after(2)
    give_dose(store, case, "hiv_pep_first_dose", product="starter", now=after(3), **who)
    assert action(now_(100), "hiv_pep_first_dose").state is State.DONE
    assert "late_report" not in {
        item.outputs["hiv_pep_expert_advice"] for item in now_(100).reasons["hiv_pep_expert_advice"]
    }


def test_a_departure_from_what_asks_for_no_decision_adds_no_action():
    store = MemoryStore()
    who = {"by": "u2", "role": "emergency_clinician"}
    case = report(
        store, facts=DETECTABLE, occurred_at=NIGHT, occurred_at_precision="minute",
        vocabulary=us().vocabulary, now=after(1), reported_by="clinician", **who,
    ).case  # fmt: skip

    def ids():
        known = fold(store.entries(case), after(3), us().vocabulary)
        return {a.id for a in assess(known, us(), after(3), SITE).actions}

    before = ids()
    for subject in ("hiv_pep", "tetanus_vaccine", "hbig_doses"):
        depart(
            store, case, subject=subject, advised="as shown", decided="otherwise",
            reason="the worker declines", now=after(2), **who,
        )  # fmt: skip
    assert ids() == before


def test_actions_stand_in_the_order_of_their_limits():
    found = plan({**DETECTABLE, **HBIG_DUE}, after(0, 10))
    order = [a.id for a in found.actions if a.state is State.OPEN]
    assert order[0] == "first_aid"
    assert order.index("hiv_pep_first_dose") < order.index("hbig_first_dose")
    assert order.index("hbig_first_dose") < order.index("follow_up_hiv_12w")


# -- the amount -----------------------------------------------------------------------------------


def test_the_dose_of_immunoglobulin_follows_the_weight():
    """0.06 mL/kg: 70 kg gets 4.2 mL (Immunize.org, Ask the Experts: hepatitis B)."""
    found = plan({**HBIG_DUE, "worker_weight": 70.0}, after(2))
    assert action(found, "hbig_first_dose").amount == "4.2 mL IM"
    assert "worker_weight" not in [q.fact for q in found.questions]


def test_without_a_weight_the_weight_is_asked_for():
    found = plan(HBIG_DUE, after(2))
    assert "enter the weight" in action(found, "hbig_first_dose").amount
    assert ("worker_weight", ("hbig_amount",)) in [(q.fact, q.changes) for q in found.questions]
    given_already = plan(HBIG_DUE, after(2), done=done(hbig_first_dose=after(1)))
    assert "worker_weight" not in [q.fact for q in given_already.questions]


# -- doubt ----------------------------------------------------------------------------------------


def test_what_cannot_be_known_is_not_asked_and_what_rests_on_it_is_a_clinicians():
    facts = {**HBIG_DUE}
    del facts["worker_hbv_series"]
    del facts["worker_hbv_response"]
    before = plan(facts, after(2))
    assert "worker_hbv_series" in [q.fact for q in before.questions]
    found = plan(facts, after(2), cannot_be_known={"worker_hbv_series": "no record"})
    assert "worker_hbv_series" not in [q.fact for q in found.questions]
    assert "worker_hbv_series" in found.undecidable["hbig_doses"]
    assert found.findings["hbig_doses"].possible == before.findings["hbig_doses"].possible


def test_the_weight_for_a_dose_that_nobody_can_rule_out_is_asked_first():
    known = {"route": "percutaneous", "fluid": "blood", "source_hbsag": "positive"}
    never = (
        "worker_hbv_infection", "worker_hbv_series", "worker_hbv_response", "worker_anti_hbs_now",
    )  # fmt: skip
    store = MemoryStore()
    case = actions.report(
        store, facts=known, occurred_at=NIGHT, occurred_at_precision="minute",
        vocabulary=us().vocabulary, now=NIGHT,
    ).case  # fmt: skip
    for fact in never:
        actions.cannot_be_known(
            store, case, fact, vocabulary=us().vocabulary, now=NIGHT, by="u", role="nurse"
        )
    found = assess(fold(store.entries(case), NIGHT, us().vocabulary), us(), NIGHT, SITE)

    assert next(a for a in found.actions if a.id == "hbig_first_dose").stuck
    assert found.questions[0].fact == "worker_weight"


def test_an_answer_that_makes_sense_only_after_another_gives_way_to_it_and_is_told():
    facts = {**NEEDLE, "worker_hbv_series": "none", "worker_hbv_response": "responder"}
    found = plan(facts, after(2))
    assert len(found.contradictions) == 1
    assert "does not count beside another: Did the worker respond" in found.contradictions[0]
    assert "A response is documented only after a complete series" in found.contradictions[0]
    without = plan({**NEEDLE, "worker_hbv_series": "none"}, after(2))
    assert found.findings == without.findings
    assert found.questions == without.questions


def test_a_negative_source_stops_prophylaxis_though_a_viral_load_was_recorded_before():
    facts = {**DETECTABLE, "source_hiv": "negative", "source_hiv_acute_illness": "no"}
    found = plan(facts, after(9), done=done(hiv_pep_first_dose=after(1)))
    assert value(found, "stop_hiv_pep") == "yes"
    assert "viral load" in found.contradictions[0]


def test_answers_of_which_none_gives_way_are_told_and_both_left_open(tmp_path):
    folder = shutil.copytree(SHIPPED / "us", tmp_path / "us")
    manifest = (folder / "protocol.toml").read_text()
    (folder / "protocol.toml").write_text(
        manifest.replace('gives_way = "worker_hbv_response"\n', "")
    )
    strict = load_protocol(folder, vocabulary())
    facts = {**NEEDLE, "worker_hbv_series": "none", "worker_hbv_response": "responder"}
    found = assess(situation(facts), strict, after(2), SITE)
    assert len(found.contradictions) == 1
    assert "cannot hold together" in found.contradictions[0]
    without = assess(situation(NEEDLE), strict, after(2), SITE)
    assert found.findings == without.findings
    assert found.questions == without.questions


def test_the_weight_is_asked_first_once_immunoglobulin_is_due_for_certain():
    due = plan({k: v for k, v in HBIG_DUE.items() if k != "worker_weight"}, after(2))
    assert due.questions[0].fact == "worker_weight"
    perhaps = plan(NEEDLE, after(2))
    assert perhaps.questions[-1].fact == "worker_weight"


MONTHS_LATER = datetime(2026, 9, 2, 3, 0, tzinfo=SITE.zone)


def test_the_titre_waits_six_months_after_immunoglobulin_where_it_was_given():
    """hbv.md worked example 2: two-dose vaccine, last dose 30 Mar, HBIG 2 Mar: titre from 2 Sep 2026.

    Source: ACIP 2018 as copied by Immunize.org: one to two months after the last dose, and six months
    or more after HBIG.
    """
    last_dose = datetime(2026, 3, 30, 10, 0, tzinfo=SITE.zone)
    hbig = datetime(2026, 3, 2, 3, 0, tzinfo=SITE.zone)
    with_hbig = plan(
        HBIG_DUE, last_dose, done=done(hbig_first_dose=hbig, hbv_series_last_dose=last_dose)
    )
    window = action(with_hbig, "anti_hbs_after_vaccine").window
    assert (window.earliest, window.target, window.latest) == (MONTHS_LATER, MONTHS_LATER, None)

    without = plan(HBIG_DUE, last_dose, done=done(hbv_series_last_dose=last_dose))
    window = action(without, "anti_hbs_after_vaccine").window
    assert window.earliest == datetime(2026, 4, 30, 10, 0, tzinfo=SITE.zone)
    assert window.latest == datetime(2026, 5, 30, 10, 0, tzinfo=SITE.zone)


def test_a_late_last_dose_is_not_moved_by_immunoglobulin_given_long_before():
    """hbv.md worked example 1: last dose 2 Sep, HBIG + 6 months does not bind: 2 Oct to 2 Nov 2026."""
    last_dose = datetime(2026, 9, 2, 10, 0, tzinfo=SITE.zone)
    hbig = datetime(2026, 3, 2, 3, 0, tzinfo=SITE.zone)
    found = plan(
        HBIG_DUE, last_dose, done=done(hbig_first_dose=hbig, hbv_series_last_dose=last_dose)
    )
    window = action(found, "anti_hbs_after_vaccine").window
    assert window.earliest == datetime(2026, 10, 2, 10, 0, tzinfo=SITE.zone)
    assert window.latest == datetime(2026, 11, 2, 10, 0, tzinfo=SITE.zone)


def test_a_clearance_that_is_partly_computable_asks_for_what_is_missing():
    open_ = plan(DETECTABLE, after(2))
    assert "worker_creatinine_clearance" in [q.fact for q in open_.questions]
    partly = plan({**DETECTABLE, "worker_creatinine": 90.0}, after(2))
    asked = [q.fact for q in partly.questions]
    assert "worker_creatinine_clearance" not in asked
    assert {"worker_age", "worker_weight", "worker_sex_for_renal_formula"} <= set(asked)


def test_now_without_offset_is_refused():
    with pytest.raises(ValueError, match="now needs its offset"):
        plan(NEEDLE, NIGHT.replace(tzinfo=None))


# -- properties -----------------------------------------------------------------------------------

CODES = {
    id_: fact.values
    for id_, fact in us().vocabulary.items()
    if fact.kind == "code"
}  # fmt: skip


@st.composite
def some_facts(draw):
    chosen = draw(st.lists(st.sampled_from(sorted(CODES)), unique=True, max_size=18))
    return {id_: draw(st.sampled_from(CODES[id_])) for id_ in chosen}


@given(some_facts(), st.integers(0, 400), st.booleans())
def test_any_answers_whatever_give_a_plan_and_the_same_one_again(facts, hours, begun):
    """Contradictory answers included: at 03:00 there is always a plan."""
    acts = done(hiv_pep_first_dose=after(hours / 2)) if begun else {}
    found = plan(facts, after(hours), done=acts)
    assert found == plan(facts, after(hours), done=acts)
    assert fingerprint(found) == fingerprint(plan(facts, after(hours), done=acts))
    assert set(found.findings) == {d for t in us().tables for d in t.decides}
    for finding in found.findings.values():
        assert (finding.value is None) == (len(finding.possible) > 1)
        assert bool(finding.open_facts) == (finding.value is None)
    assert len({a.id for a in found.actions}) == len(found.actions)


@given(some_facts(), st.integers(0, 200))
def test_without_actions_done_the_plan_is_what_the_protocol_says(facts, hours):
    found = plan(facts, after(hours))
    if found.contradictions:
        return
    expected = us().evaluate({**facts, "hours_since_exposure": float(hours)})
    assert found.findings == expected.findings
    starts = {
        item.outputs["action"]: item.outputs["counted_from"]
        for table in us().tables
        if table.role == "actions"
        for item in expected.items[table.id]
    }

    def can_follow(action):
        start = starts.get(action, "")
        return start == "exposure" or (start != "" and can_follow(start))

    # Which doses lie between the first and the last of a series is not for the tables to say.
    between = set(after_exposure("us").later)
    expected = {action for action in starts if can_follow(action)}
    assert {a.id for a in found.actions} - between == expected - between


@given(some_facts(), st.integers(1, 120))
def test_a_date_never_settles_what_two_moments_of_the_day_answer_differently(facts, hours):
    rough = plan(facts, after(hours), occurred_at_precision="date")
    midnight = NIGHT.replace(hour=0, minute=0)
    for exact in (midnight, NIGHT, midnight + timedelta(hours=2.5)):
        one = assess(replace(situation(facts), occurred_at=exact), us(), after(hours), SITE)
        for name, finding in one.findings.items():
            assert set(finding.possible) <= set(rough.findings[name].possible)


# -- what a clinician decided instead ----------------------------------------------------------------


def decided(subject: str, *words: str, **facts: object):
    """The plan after departures from one decision, the last one standing."""
    store = MemoryStore()
    case = actions.report(
        store, facts={"route": "percutaneous", "fluid": "blood", **facts}, occurred_at=NIGHT,
        occurred_at_precision="minute", vocabulary=us().vocabulary, now=NIGHT,
    ).case  # fmt: skip
    for word in words:
        actions.depart(
            store, case, subject=subject, advised="as the rules say", decided=word, reason="r",
            now=NIGHT, by="u", role="emergency_clinician",
        )  # fmt: skip
    found = assess(fold(store.entries(case), NIGHT, us().vocabulary), us(), NIGHT, SITE)
    return {action.id: action.state for action in found.actions}


HIV_POSITIVE = {"source_hiv": "positive", "source_hiv_load": "detectable", "worker_hiv": "negative"}


def test_a_dose_that_was_decided_against_is_no_longer_asked_for():
    """The worklist must not call for a dose that a clinician has decided not to give."""
    states = decided("hiv_pep", us().outputs["hiv_pep"].words("not_recommended"), **HIV_POSITIVE)

    assert states["hiv_pep_first_dose"] is State.DEPARTED


def test_tests_and_visits_stay_whatever_was_decided_about_the_dose():
    states = decided("hiv_pep", "not_recommended", **HIV_POSITIVE)

    assert states["baseline_hiv"] is State.OPEN
    assert states["follow_up_hiv_12w"] is State.OPEN
    assert states["review_72h"] is State.OPEN


@pytest.mark.parametrize(
    "words", [("Give it",), ("recommended",), ("not_recommended", "recommended"), ("No, not now",)]
)
def test_a_dose_that_was_decided_on_or_about_in_other_words_stays(words: tuple[str, ...]):
    states = decided("hiv_pep", *words, **HIV_POSITIVE)

    assert states["hiv_pep_first_dose"] is State.OPEN


def test_what_was_left_to_a_person_and_decided_on_keeps_its_dose():
    states = decided("hiv_pep", "recommended", source_hiv="unknown", worker_hiv="negative")

    assert states["hiv_pep_first_dose"] is State.OPEN


def test_immunoglobulin_decided_against_closes_both_doses():
    states = decided(
        "hbig_doses", "0", source_hbsag="positive", worker_hbv_infection="none_known",
        worker_hbv_series="two_complete", worker_hbv_response="non_responder",
    )  # fmt: skip

    assert states["hbig_first_dose"] is State.DEPARTED
    assert states.get("hbig_second_dose", State.DEPARTED) is State.DEPARTED


def test_a_titre_that_was_answered_is_not_to_be_drawn_again():
    """Whoever answers with the titre of today drew it; from a file alone nobody did anything yet."""
    facts = {
        "route": "percutaneous", "fluid": "blood", "source_hbsag": "positive",
        "worker_hbv_infection": "none_known", "worker_hbv_series": "one_complete",
        "worker_hbv_response": "not_known",
    }  # fmt: skip
    case = "case"
    store = MemoryStore()
    write(store, case, (Kind.REPORTED, reported(facts)), at=after(1))

    def state_of() -> State:
        now = after(3)
        plan = assess(fold(store.entries(case), now, us().vocabulary), us(), now, SITE)
        (found,) = [action for action in plan.actions if action.id == "anti_hbs_now"]
        return found.state

    assert state_of() is State.OPEN
    write(store, case, learned(worker_anti_hbs_now=12.0), at=after(2))
    assert state_of() is State.DONE
