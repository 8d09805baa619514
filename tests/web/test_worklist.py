"""The worklist: what closes first stands first; what is kept in memory is what the ledger says."""

from __future__ import annotations

import random
import re
from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from itertools import pairwise
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from hypothesis import given, settings
from hypothesis import strategies as st

from thimble import actions
from thimble.actions.identity import WorkerIdentity
from thimble.clinical.library import protocol as shipped
from thimble.clinical.site import Site
from thimble.clinical.vocabulary import vocabulary
from thimble.ledger.assess import assess, moment_of
from thimble.ledger.fold import fold
from thimble.ledger.next_thing import next_thing, short, signed_words, source_is_open, source_words
from thimble.ledger.plan import Action, Plan, State
from thimble.ledger.pressing import NEAR, OVERDUE, Group, urgency
from thimble.ledger.prophylaxis.record import CourseRecord, MissedDoses
from thimble.ledger.store import MemoryStore
from thimble.protocol import Question
from thimble.web import clock
from thimble.web.context import get_identities, get_protocol, get_site, get_store
from thimble.web.models import LastLook
from thimble.web.roles import Role
from thimble.web.worklist.board import Board, Standing
from thimble.web.worklist.cases import Seen, order
from thimble.web.worklist.search import find
from thimble.web.worklist.validity import valid_until
from thimble.web.worklist.words import age, news

from .conftest import NIGHT
from .made import NOW, action, hours, plan, situation

ZURICH = ZoneInfo("Europe/Zurich")
WORDS = vocabulary()
CLINICIAN = {"by": "u-22222222", "role": "emergency_clinician"}
NAME = "Zoë Sampleworth-O'Néill"

limits = st.one_of(st.none(), st.floats(-400, 400))


@st.composite
def open_actions(draw: st.DrawFn) -> Action:
    target, latest = draw(limits), draw(limits)
    return action(
        f"a{draw(st.integers(0, 10_000))}",
        target=None if target is None else hours(target),
        latest=None if latest is None else hours(latest),
        certain=draw(st.booleans()),
    )


def _next(*made: Action, **about: Any) -> Any:
    return next_thing(plan(*made), situation(**about), NOW, WORDS)


def _seen(*made: Action, reference: str = "K7QM-2F49") -> Seen:
    own, known = plan(*made), situation()
    standing = Standing(reference, (), known, own, tuple(own.actions))
    return Seen(standing, next_thing(own, known, NOW, WORDS), "")


# -- order ----------------------------------------------------------------------------------------


@given(st.lists(st.lists(open_actions(), max_size=4), max_size=12))
def test_the_list_stands_in_the_order_of_the_things_on_it(cases: list[list[Action]]) -> None:
    ordered = order(_seen(*made) for made in cases)

    ranks = [list(Group).index(seen.doing.group) for seen in ordered]
    assert ranks == sorted(ranks)
    keys = [seen.doing.key for seen in ordered]
    assert keys == sorted(keys)
    for seen in ordered:
        if seen.doing.action:
            assert seen.doing.key == min(urgency(a, NOW) for a in seen.standing.to_do)


@pytest.mark.parametrize(
    ("latest", "group", "words"),
    [
        (NEAR, Group.NOW, "3 days left"),
        (NEAR + timedelta(seconds=1), Group.OPEN, "3 days left"),
        (timedelta(hours=5, minutes=59), Group.NOW, "5 h left"),
        (timedelta(0), Group.NOW, "less than 1 min left"),  # limits are inclusive
        (-timedelta(minutes=61), Group.PAST, "window closed 1 h 1 min ago"),
    ],
)
def test_a_latest_instant_decides_the_part_and_the_words(
    latest: timedelta, group: Group, words: str
) -> None:
    doing = _next(action(latest=NOW + latest))

    assert doing.group is group
    assert doing.words == f"Give dose: {words}"


@pytest.mark.parametrize(
    ("ago", "group", "words"),
    [
        (timedelta(hours=2), Group.NOW, "due since 2 h, 2 days left"),
        (OVERDUE, Group.NOW, "due since 24 h, 2 days left"),
        (OVERDUE + timedelta(seconds=1), Group.NOW, "overdue, 2 days left"),
        (-timedelta(hours=1), Group.NOW, "best within 1 h"),
    ],
)
def test_a_target_that_has_just_passed_keeps_the_thing_on_top(
    ago: timedelta, group: Group, words: str
) -> None:
    doing = _next(action(target=NOW - ago, latest=hours(50)))

    assert (doing.group, doing.words) == (group, f"Give dose: {words}")


def test_prophylaxis_that_is_due_at_once_stands_above_a_window_with_hours_left() -> None:
    due = _seen(action("hiv", target=hours(-1), latest=hours(70)), reference="B")
    left = _seen(action("hbig", latest=hours(5)), reference="A")

    assert [seen.reference for seen in order([left, due])] == ["B", "A"]


def test_what_only_may_be_needed_counts_like_what_is_needed() -> None:
    doing = _next(action("maybe", latest=hours(3), certain=False), action("sure", latest=hours(9)))

    assert (doing.action, doing.certain) == ("maybe", False)


def test_done_departed_and_unneeded_actions_are_no_next_thing() -> None:
    doing = _next(
        action("done", latest=hours(1), state=State.DONE),
        action("departed", latest=hours(1), state=State.DEPARTED),
        action("gone", latest=hours(1), state=State.NO_LONGER_NEEDED),
        action("left", latest=hours(60)),
    )

    assert doing.action == "left"


def test_an_unknown_time_of_exposure_is_no_reason_to_wait() -> None:
    """Windows cannot be shown then; the case must not sink to the end as if it had time."""
    doing = _next(action(), occurred_at=None)

    assert doing.group is Group.NOW
    assert "time of the exposure is not known" in doing.words


def test_without_actions_the_first_question_is_next_then_the_signature() -> None:
    asked = plan(questions=[Question("route", ("significance",))])

    assert next_thing(asked, situation(), NOW, WORDS).words == WORDS["route"].question
    assert "sign" in next_thing(plan(), situation(), NOW, WORDS).words
    assert "close" in next_thing(plan(), situation(signed_at=NOW), NOW, WORDS).words


def test_the_ring_is_full_when_a_window_opens_and_empty_when_it_closes() -> None:
    shares = [
        _next(action(earliest=hours(begin), latest=hours(begin + 10))).share
        for begin in (0, -5, -10, -11)
    ]

    assert shares == [100, 50, 0, 0]


def test_the_source_is_told_by_its_last_step_and_how_long_ago_it_was() -> None:
    asks = plan(action("ask_source", whom="source"))

    def said(**about: Any) -> str:
        return source_words(situation(**about), asks, NOW)

    assert said(occurred_at=hours(-9), facts={"source_access": "testable"}) == (
        "source not yet asked, 9 h"
    )
    assert said(steps={"asked": hours(-3)}) == "source asked, no answer yet, 3 h"
    assert said(steps={"asked": hours(-3), "refused": hours(-2.5)}).startswith("source refuses")
    assert said(steps={"refused": hours(-5), "asked": hours(-4)}).startswith("source asked")
    assert said(facts={"source_access": "unidentified"}) == "source not identified"
    assert said(facts={"source_hiv": "negative"}, said_by="laboratory") == (
        "source result in: HIV; not yet: hepatitis B, hepatitis C"
    )
    # A status known beforehand is no result of this sample.
    assert "result" not in said(facts={"source_hiv": "positive"}, said_by="record")


@pytest.mark.parametrize(
    ("about", "made", "is_open"),
    [
        ({}, [action("ask_source", whom="source")], True),
        ({}, [], False),
        ({"steps": {"asked": hours(-3), "sampled": hours(-2)}}, [], True),
        ({"steps": {"asked": hours(-3)}}, [], True),
        ({"steps": {"asked": hours(-3), "refused": hours(-2)}}, [], False),
        ({"steps": {"sampled": hours(-2)}, "facts": {"source_hiv": "negative"},
          "said_by": "laboratory"}, [], True),
        ({"steps": {"sampled": hours(-2)},
          "facts": {"source_hiv": "negative", "source_hbsag": "negative",
                    "source_anti_hcv": "negative"},
          "said_by": "laboratory"}, [], False),
    ],
)  # fmt: skip
def test_a_source_whose_result_is_awaited_is_still_open(
    about: dict[str, Any], made: list[Action], is_open: bool
) -> None:
    assert source_is_open(situation(**about), plan(*made)) is is_open


def test_an_exposure_known_to_the_day_is_never_given_an_hour() -> None:
    told = age(situation(hours(-31), precision="date"), NOW, ZURICH)

    assert "hour not known" in told
    assert not re.search(r"\d\d:\d\d", told)


def test_a_signature_under_other_rules_is_said_to_be_one() -> None:
    signed = situation(signed_at=hours(-1), entries=2)

    assert signed_words(signed, plan(), NOW) == "signed"
    under_new = replace(plan(), protocol_digest="1" * 64)
    assert signed_words(signed, under_new, NOW) == "signed under another edition of the protocol"


def test_a_sentence_is_cut_to_its_first_clause() -> None:
    assert short("Draw the final test: antigen and RNA") == "Draw the final test"
    assert short("Give the vaccine (deltoid), now") == "Give the vaccine"
    assert short("Give it") == "Give it"


@pytest.mark.parametrize(
    "condition",
    [
        "Give the dose, if it was decided on",
        "Stop it, unless the test is reactive",
        "Give it (if never had)",
    ],
)
def test_the_short_form_never_drops_a_condition(condition: str) -> None:
    assert short(f"{condition}; and write it down") == condition


# -- what the process keeps -----------------------------------------------------------------------


def _site() -> Site:
    return get_site()


def _history(seed: int) -> tuple[MemoryStore, list[datetime]]:
    """Cases with exact, rough and unknown times, and things done, over some days."""
    draw = random.Random(seed)
    store, moments = MemoryStore(), []
    at = NIGHT - timedelta(days=9)
    cases: list[str] = []
    for step in range(14):
        at += timedelta(hours=draw.choice((1, 7, 20, 26)), minutes=draw.randrange(60))
        moments.append(at)
        if step % 2 == 0:
            precision = draw.choice(("minute", "hour", "date", "unknown"))
            occurred = (
                None if precision == "unknown" else at - timedelta(hours=draw.randrange(1, 40))
            )
            cases.append(
                actions.report(
                    store, facts={"route": "percutaneous", "fluid": "blood"}, occurred_at=occurred,
                    occurred_at_precision=precision, vocabulary=WORDS, now=at, token=f"{seed}-{step}",
                ).case
            )  # fmt: skip
        elif step % 4 == 1:
            facts = {
                "source_hiv": "positive",
                "worker_hiv": "negative",
                "worker_hbv_series": "none",
            }
            actions.learn_facts(
                store, draw.choice(cases), facts, said_by="clinician", vocabulary=WORDS, now=at,
                **CLINICIAN,
            )  # fmt: skip
        else:
            actions.give_dose(
                store, draw.choice(cases), "hiv_pep_first_dose", product="Pack", now=at, **CLINICIAN
            )
    return store, moments


def _board(store: MemoryStore) -> Board:
    return Board(lambda number: [e for e in store.all_entries() if e.number >= number])


def _told(standings: list[Standing], now: datetime) -> dict[str, Any]:
    return {s.case: _but_for_the_moment(s.plan, now) for s in standings}


def _but_for_the_moment(plan: Plan, now: datetime) -> Plan:
    """The words for the hours passed are not shown on a list, which orders actions by itself."""
    ordered = tuple(sorted(plan.actions, key=lambda a: a.id))
    return replace(plan, now=now, computed={}, actions=ordered)


def _afresh(store: MemoryStore, now: datetime) -> dict[str, Any]:
    own = shipped("us")
    found = {}
    for case in store.cases():
        entries = [e for e in store.entries(case) if e.recorded_at <= now]
        if entries:
            known = fold(entries, now, own.vocabulary)
            found[case] = _but_for_the_moment(assess(known, own, now, _site()), now)
    return found


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_the_board_says_at_any_moment_what_the_ledger_says(seed: int) -> None:
    """At each limit of each window and each threshold of the tables, just before, on and after."""
    store, _ = _history(seed)
    board, own = _board(store), shipped("us")
    begin = max(e.recorded_at for e in store.all_entries())
    limits = {
        limit.astimezone(begin.tzinfo)
        for wanted in _afresh(store, begin).values()
        for a in wanted.actions
        for limit in (a.window.earliest, a.window.target, a.window.latest)
        if limit is not None and limit > begin and limit < begin + timedelta(days=8)
    }
    around = {at + timedelta(seconds=s) for at in limits for s in (-1, 0, 1)}
    even = {begin + timedelta(minutes=97 * n) for n in range(40)}
    for now in sorted(around | even)[:120]:
        assert _told(board.standings(own, _site(), now), now) == _afresh(store, now), now


def test_the_board_takes_in_what_is_new_and_looks_back_when_asked() -> None:
    store, moments = _history(4)
    own = shipped("us")
    later = MemoryStore()
    board = _board(later)
    for entry in store.all_entries():
        later._entries.append(entry)  # as another process writes it
        later._by_case.setdefault(entry.case, []).append(entry)
        now = entry.recorded_at
        assert _told(board.standings(own, _site(), now), now) == _afresh(later, now)
    for now in moments:
        assert _told(board.standings(own, _site(), now), now) == _afresh(store, now)


def _kept_until(
    now: datetime = NOW, *, course: CourseRecord | None = None, **about: Any
) -> timedelta | None:
    known = replace(situation(**about), course=course or CourseRecord())
    until = valid_until(known, plan(now=now), shipped("us"), ZURICH)
    return None if until is None else until - now


def _thresholds() -> list[float]:
    """The hours that some rule asks about, read from the protocol's cells."""
    found = {
        float(number)
        for table in shipped("us").tables
        for rule in table.rules
        for column, cell in zip(table.inputs, rule.cells, strict=True)
        if column == "hours_since_exposure"
        for number in re.findall(r"[0-9.]*[0-9]", cell.replace("..", " "))
    }
    assert found
    return sorted(found)


def test_a_plan_is_kept_no_longer_than_a_gap_in_the_doses_stays_below_a_limit() -> None:
    """UK21, as remembered: more than 48 hours without a dose are put to an expert at once."""

    def missed(last: float, again: datetime | None = None) -> CourseRecord:
        return CourseRecord(missed=(MissedDoses(1, hours(-last), again, "", NOW, 9),))

    for before, cut in ((20.0, 24.0), (40.0, 48.0)):
        kept = _kept_until(course=missed(before))
        assert kept == pytest.approx(timedelta(hours=cut - before), abs=timedelta(seconds=1))
    assert _kept_until(course=missed(40.0, hours(-1))) == _kept_until()


def test_a_plan_is_kept_until_the_hours_meet_the_next_threshold_of_a_table() -> None:
    for before, cut in pairwise([0.0, *_thresholds()]):
        age = (before + cut) / 2
        kept = _kept_until(occurred_at=hours(-age))
        assert kept == pytest.approx(timedelta(hours=cut - age), abs=timedelta(seconds=1))
        assert _kept_until(occurred_at=hours(-cut)) is None  # at the threshold itself


@pytest.mark.parametrize("precision", ["hour", "date"])
def test_a_plan_for_a_rough_time_is_kept_until_either_end_of_it_meets_a_threshold(
    precision: str,
) -> None:
    about: dict[str, Any] = {
        "occurred_at": hours(-40.4),
        "precision": precision,
        "reported_at": hours(-1),
    }
    moment = moment_of(situation(**about), ZURICH, NOW)
    assert moment.first is not None
    assert moment.last is not None
    ahead = [
        end.astimezone(UTC) + timedelta(hours=cut) - NOW
        for end in (moment.first, moment.last)
        for cut in _thresholds()
    ]

    expected = min(span for span in ahead if span > timedelta(0))
    assert _kept_until(**about) == pytest.approx(expected, abs=timedelta(seconds=1))


def test_a_plan_whose_bounds_move_with_now_is_not_kept() -> None:
    assert _kept_until(precision="date", reported_at=None) is None


def test_a_ledger_that_is_another_one_is_read_from_its_start() -> None:
    first, second = _history(5)[0], _history(6)[0]
    current = [first]
    board = Board(lambda n: [e for e in current[0].all_entries() if e.number >= n])
    now = NIGHT + timedelta(days=5)
    board.standings(shipped("us"), _site(), now)
    current[0] = second

    assert {s.case for s in board.standings(shipped("us"), _site(), now)} == set(second.cases())


# -- search ---------------------------------------------------------------------------------------

CASES = ["K7QM-2F49", "K7QM-2F4T", "YYD9-Q443"]
WORKERS = {
    "K7QM-2F49": WorkerIdentity(name=NAME, staff_number="S-10 044"),
    "YYD9-Q443": WorkerIdentity(name="Bruno Muster", staff_number="S10045"),
}


@pytest.mark.parametrize("typed", ["K7QM-2F49", "k7qm 2f49", " k7qm2f49 ", "K7QM–2F49"])
def test_a_reference_is_found_however_it_is_typed(typed: str) -> None:
    assert find(typed, CASES, None).cases == ("K7QM-2F49",)


@pytest.mark.parametrize(
    "typed", ["zoe", "ZOË SAMPLE", "sampleworth zoe", "o'neill", "s10044", "S 10044"]
)
def test_a_worker_is_found_by_the_beginnings_of_the_name_or_the_whole_staff_number(
    typed: str,
) -> None:
    assert find(typed, CASES, WORKERS).cases == ("K7QM-2F49",)


@pytest.mark.parametrize("typed", ["zoe", "s10044", "Sampleworth"])
def test_without_permission_no_name_or_staff_number_is_looked_at(typed: str) -> None:
    assert find(typed, CASES, None).cases == ()


@pytest.mark.parametrize("typed", ["", "  ", "z", "zo", "S1004", "worth", "%", "''", "\x00"])
def test_too_little_or_nothing_that_matches_finds_nothing_and_says_so(typed: str) -> None:
    found = find(typed, CASES, WORKERS)

    assert found.cases == ()
    assert found.sentence


@settings(max_examples=50)
@given(st.text(max_size=30))
def test_any_text_may_be_typed(typed: str) -> None:
    found = find(typed, CASES, WORKERS)

    assert set(found.cases) <= set(CASES)
    assert found.cases or found.sentence


# -- the pages ------------------------------------------------------------------------------------


def _case(place: str = "Ward 4", *, age: timedelta = timedelta(hours=2), named: bool = True) -> str:
    with clock.standing_at(NIGHT):
        return actions.report(
            get_store(), facts={"route": "percutaneous", "fluid": "blood"},
            occurred_at=NIGHT - age, occurred_at_precision="minute", vocabulary=WORDS, now=NIGHT,
            place=place, identities=get_identities(),
            worker=WorkerIdentity(name=NAME, staff_number="S10044") if named else None,
        ).case  # fmt: skip


@pytest.mark.django_db
@pytest.mark.parametrize("path", ["/worklist/", "/worklist/handover/"])
def test_only_those_who_treat_see_the_list(path: str, signed_in: Callable[[Role], Client]) -> None:
    _case()
    assert Client().get(path).status_code == 302
    for role in Role:
        status = signed_in(role).get(path).status_code
        treats = role not in (Role.SAFETY_OFFICER, Role.ADMINISTRATOR)
        assert status == (200 if treats else 403), role


@pytest.mark.django_db
def test_an_empty_list_says_that_nothing_waits(signed_in: Callable[[Role], Client]) -> None:
    client = signed_in(Role.OCCUPATIONAL_NURSE)

    assert "No open case" in client.get("/worklist/").text
    assert "Nothing to hand over" in client.get("/worklist/handover/").text


@pytest.mark.django_db
def test_a_night_case_says_what_is_next_and_how_much_time_there_is(
    signed_in: Callable[[Role], Client],
) -> None:
    reference = _case()
    text = signed_in(Role.EMERGENCY_CLINICIAN).get("/worklist/").text

    assert reference in text
    assert "due since 1 h" in text
    assert "plan not signed" in text
    assert "Ward 4" in text


@pytest.mark.django_db
def test_names_are_hidden_until_asked_for_and_never_stand_on_the_handover(
    signed_in: Callable[[Role], Client],
) -> None:
    _case()
    client = signed_in(Role.OCCUPATIONAL_NURSE)

    assert "Sampleworth" not in client.get("/worklist/").text
    assert "Sampleworth" in client.get("/worklist/?names=1").text
    assert "Sampleworth" not in client.get("/worklist/").text
    assert "Sampleworth" not in client.get("/worklist/handover/").text


@pytest.mark.django_db
def test_a_search_finds_the_worker_without_a_name_in_any_address(
    signed_in: Callable[[Role], Client],
) -> None:
    reference = _case()
    client = signed_in(Role.OCCUPATIONAL_NURSE)
    answer = client.post("/worklist/", {"q": "sampleworth"})

    assert answer.status_code == 200
    assert reference in answer.text
    assert 'method="post"' in answer.text
    # Asked for with GET, a name would stand in the address: it is not looked at there.
    assert reference not in client.get("/worklist/?show=closed&q=sampleworth").text


@pytest.mark.django_db
def test_what_was_typed_is_shown_and_is_no_markup(signed_in: Callable[[Role], Client]) -> None:
    bad = "<script>alert(1)</script>"
    _case(place=bad)
    client = signed_in(Role.OCCUPATIONAL_NURSE)

    for text in (
        client.get("/worklist/").text,
        client.get("/worklist/handover/").text,
        client.post("/worklist/", {"q": bad}).text,
    ):
        assert "<script>alert" not in text
        assert "&lt;script&gt;alert" in text


@pytest.mark.django_db
def test_what_is_new_is_told_to_the_one_who_has_not_seen_it(
    signed_in: Callable[[Role], Client],
) -> None:
    reference = _case()
    client = signed_in(Role.OCCUPATIONAL_NURSE)
    account = client.session["_auth_user_id"]
    LastLook.objects.create(account_id=account, case=reference, position=1, at=NIGHT)
    assert reference not in client.get("/worklist/?show=new").text

    actions.give_dose(
        get_store(), reference, "hiv_pep_first_dose", product="Pack", now=NIGHT, **CLINICIAN
    )
    text = client.get("/worklist/?show=new").text
    assert reference in text
    assert "1 new: dose given" in text


@pytest.mark.django_db
def test_a_closed_case_is_shown_on_request_alone(signed_in: Callable[[Role], Client]) -> None:
    reference = _case()
    actions.close(
        get_store(), reference, may_leave=True, reason="duplicate", text="Reported twice",
        protocol=get_protocol(), site=get_site(), now=NIGHT, by="u-33333333", role="occupational_nurse",
    )  # fmt: skip
    client = signed_in(Role.OCCUPATIONAL_NURSE)

    assert reference not in client.get("/worklist/").text
    assert reference not in client.get("/worklist/handover/").text
    closed = client.get("/worklist/?show=closed").text
    assert reference in closed
    assert "reported twice" in closed


@pytest.mark.django_db
def test_a_closed_case_to_which_a_result_came_is_on_the_list_until_it_was_closed_anew(
    signed_in: Callable[[Role], Client],
) -> None:
    reference, store = _case(), get_store()
    client = signed_in(Role.OCCUPATIONAL_NURSE)
    physician = {"by": "u-33333333", "role": "occupational_physician"}

    def close() -> None:
        actions.close(
            store, reference, may_leave=True, reason="other", text="Left", protocol=get_protocol(),
            site=get_site(), now=NIGHT, **physician,
        )  # fmt: skip

    close()
    assert reference not in client.get("/worklist/").text
    actions.receive_result(
        store, reference, facts={"source_hcv_rna": "positive"}, vocabulary=WORDS, now=NIGHT,
        **CLINICIAN,
    )  # fmt: skip
    page = client.get("/worklist/").text
    assert reference in page
    assert "a result came since" in page
    handed_over = client.get("/worklist/handover/").text
    assert reference in handed_over
    assert "a result came since" in handed_over

    actions.reopen(store, reference, reason="Result", vocabulary=WORDS, now=NIGHT, **physician)
    assert "a result came since" not in client.get("/worklist/").text
    close()
    assert reference not in client.get("/worklist/").text


@pytest.mark.django_db
def test_the_list_needs_as_many_queries_for_many_cases_as_for_one(
    signed_in: Callable[[Role], Client],
) -> None:
    client = signed_in(Role.OCCUPATIONAL_NURSE)
    counts = []
    for _ in range(2):
        for _ in range(5):
            _case()
        client.get("/worklist/?names=1")
        with CaptureQueriesContext(connection) as asked:
            client.get("/worklist/?names=1")
        counts.append(len(asked))
    assert counts[0] == counts[1]


@pytest.mark.django_db
def test_the_handover_has_the_telephones_and_what_changed_in_this_shift(
    signed_in: Callable[[Role], Client],
) -> None:
    reference = _case()
    text = signed_in(Role.EMERGENCY_CLINICIAN).get("/worklist/handover/").text

    for phone in ("0123", "0911", "0177", "0100", "0144"):
        assert phone in text
    assert reference in text
    assert "Exposure reported 02:40" in text
    assert "Plan not signed" in text


def test_news_is_empty_for_what_was_seen_and_said_for_a_case_never_opened() -> None:
    store, _ = _history(7)
    case = store.cases()[0]
    entries = store.entries(case)

    assert news(entries, len(entries)) == ""
    assert news(entries, None) == "not opened by you yet"
    assert news(entries, 0).startswith(f"{len(entries)} new: exposure reported")
