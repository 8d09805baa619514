"""A report opens a case once, however often it is sent, and holds no name."""

from datetime import datetime, timedelta
from importlib import import_module

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from ledger.builders import NIGHT, after
from thimble import actions
from thimble.actions.reference import read_reference
from thimble.clinical.vocabulary import vocabulary
from thimble.ledger.entries import Kind
from thimble.ledger.fold import fold
from thimble.ledger.store import MemoryStore
from thimble.ledger.verify import verify

WORKER = actions.WorkerIdentity(name="Invented Person", phone="555 0100")


def report(store, **changes):
    given = {
        "facts": {"route": "percutaneous"},
        "occurred_at": NIGHT,
        "occurred_at_precision": "minute",
        "vocabulary": vocabulary(),
        "now": after(minutes=20),
    }
    return actions.report(store, **{**given, **changes})


def test_a_report_opens_a_case(store):
    opened = report(
        store,
        facts={"route": "human_bite", "worker_medicines": frozenset({"metformin", "calcium_iron"})},
    )
    assert read_reference(opened.case) == opened.case
    (entry,) = store.entries(opened.case)
    assert (entry.kind, entry.by, entry.role) == (Kind.REPORTED, "worker", "worker")
    assert entry.body["facts"]["worker_medicines"] == ["calcium_iron", "metformin"]
    assert opened.entries == (entry,)
    assert not opened.again


def test_two_reports_are_two_cases(store):
    assert report(store).case != report(store).case


def test_the_same_token_twice_is_one_case(store):
    first = report(store, token="t1")
    second = report(store, token="t1", now=after(minutes=21), occurred_at=NIGHT.astimezone())
    assert second.case == first.case
    assert second.again
    assert second.entries == ()
    assert len(list(store.all_entries())) == 1
    assert report(store, token="t2").case != first.case


def test_a_report_sent_again_with_other_answers_loses_none_of_them(store):
    first = report(store, token="t1")
    report(store, token="t1", facts={"route": "human_bite"}, place="ward 3", now=after(minutes=25))
    again = report(
        store, token="t1", facts={"route": "human_bite"}, place="ward 3", now=after(minutes=26)
    )

    assert again.entries == ()
    entries = store.entries(first.case)
    assert [e.kind for e in entries] == [Kind.REPORTED, Kind.CORRECTED]
    found = fold(entries, after(1), vocabulary())
    assert found.facts["route"].value == "human_bite"
    assert fold(entries, after(minutes=24), vocabulary()).facts["route"].value == "percutaneous"


def test_a_reference_that_another_case_has_is_passed_over(store, monkeypatch):
    taken = report(store, token="t1").case
    free = report(MemoryStore(), token="t9").case
    module = import_module("thimble.actions.report")
    monkeypatch.setattr(module, "new_references", lambda _: iter([taken, free]))

    assert report(store, token="t2").case == free
    assert len(store.entries(taken)) == 1


def test_the_token_itself_is_not_kept(store):
    opened = report(store, token="secret-token")
    assert "secret-token" not in repr(store.entries(opened.case))


def test_names_go_to_their_own_store_and_never_into_the_ledger(store):
    identities = actions.MemoryIdentityStore()
    source = actions.SourceIdentity(name="Invented Source")
    opened = report(store, identities=identities, worker=WORKER, source=source)

    assert identities.worker(opened.case) == WORKER
    assert identities.source(opened.case) == source
    assert identities.worker("other") is None
    assert "Invented" not in repr(list(store.all_entries()))
    assert "Invented" not in repr(WORKER) + repr(source)
    assert store.entries(opened.case)[0].body["contact_left"] is True
    assert store.entries(report(store).case)[0].body["contact_left"] is False


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"occurred_at": after(minutes=20) + timedelta(seconds=1)}, "lies ahead of now"),
        ({"occurred_at": NIGHT.replace(tzinfo=None)}, "needs its offset"),
        ({"occurred_at": None}, "occurred_at is null exactly when"),
        ({"occurred_at_precision": "unknown"}, "occurred_at is null exactly when"),
        ({"facts": {"route": "teleport"}}, "route is one of"),
        ({"facts": {"shoe_size": 42.0}}, "not a fact of the vocabulary"),
        ({"account": "x" * 20_001}, "at most 20000"),
        ({"by": " "}, "by is missing"),
        ({"worker": WORKER}, "without a place to keep it"),
    ],
)
def test_what_is_wrong_is_refused_and_nothing_is_written(store, changes, words):
    with pytest.raises(actions.Refused, match=words):
        report(store, **changes)
    assert store.cases() == []


def test_an_exposure_of_this_very_moment_can_be_reported(store):
    report(store, occurred_at=after(minutes=20))
    report(store, occurred_at=None, occurred_at_precision="unknown")
    assert verify(store.all_entries()) == []


def told(store, minutes_ago, *, now, **changes):
    """The report with a time told as so long ago, counted back from `now`."""
    return report(
        store,
        token="t1",
        now=now,
        occurred_at=now - timedelta(minutes=minutes_ago),
        relative=True,
        **changes,
    )


def stands(store, case, now):
    return fold(store.entries(case), now, vocabulary()).occurred_at


def test_a_report_that_waited_and_came_twice_does_not_move_the_exposure_later(store):
    first = told(store, 15, now=after(minutes=20))
    again = told(store, 15, now=after(minutes=60))

    assert again.entries == ()
    assert stands(store, first.case, after(2)) == after(minutes=5)


def test_other_answers_sent_later_keep_the_time_that_was_told_first(store):
    first = told(store, 15, now=after(minutes=20))
    again = told(store, 0, now=after(minutes=60), place="ward 3", occurred_at_precision="hour")

    (entry,) = again.entries
    assert entry.body["body"]["place"] == "ward 3"
    assert entry.body["body"]["occurred_at_precision"] == "minute"
    assert stands(store, first.case, after(2)) == after(minutes=5)


@pytest.mark.parametrize(
    ("earlier", "moved"),
    [
        (timedelta(seconds=-1), False),
        (timedelta(0), False),
        (timedelta(seconds=59), False),
        (timedelta(minutes=1), True),
        (timedelta(minutes=1, seconds=1), True),
    ],
)
def test_a_relative_time_a_minute_earlier_or_more_is_taken(store, earlier, moved):
    first = told(store, 10, now=after(minutes=20))
    again = told(store, 10, now=after(minutes=20) - earlier)

    assert bool(again.entries) is moved
    found = stands(store, first.case, after(2))
    assert found == (after(minutes=10) - earlier if moved else after(minutes=10))


def test_a_time_of_the_clock_is_taken_as_typed_also_when_it_is_later(store):
    first = told(store, 15, now=after(minutes=20))
    report(store, token="t1", now=after(minutes=30), occurred_at=after(minutes=18))
    assert stands(store, first.case, after(2)) == after(minutes=18)


def test_a_relative_time_is_taken_where_none_was_known(store):
    first = report(store, token="t1", occurred_at=None, occurred_at_precision="unknown")
    told(store, 5, now=after(minutes=30))
    assert stands(store, first.case, after(2)) == after(minutes=25)


def test_what_a_clinician_set_right_outlives_a_report_that_comes_once_more(store):
    first = told(store, 15, now=after(minutes=20))
    body = store.entries(first.case)[0].body
    actions.correct(
        store,
        first.case,
        1,
        reason="The worker looked at the watch.",
        body={**body, "occurred_at": after(minutes=-30).isoformat(), "task": "suturing"},
        vocabulary=vocabulary(),
        now=after(minutes=30),
        by="u-1",
        role="emergency_clinician",
    )
    plain = told(store, 15, now=after(minutes=40))
    changed = told(store, 15, now=after(minutes=50), place="ward 3")
    once_more = told(store, 15, now=after(minutes=55), place="ward 3")

    assert plain.entries == once_more.entries == ()
    after_all = changed.entries[0].body["body"]
    assert (after_all["task"], after_all["place"]) == ("suturing", "ward 3")
    assert stands(store, first.case, after(2)) == after(minutes=-30)


def test_a_mind_changed_and_changed_back_ends_as_it_was_said_last(store):
    first = report(store, token="t1")
    for minute, route in enumerate(("human_bite", "percutaneous", "percutaneous")):
        report(store, token="t1", facts={"route": route}, now=after(minutes=30 + minute))

    assert fold(store.entries(first.case), after(2), vocabulary()).facts["route"].value == (
        "percutaneous"
    )
    assert len(store.entries(first.case)) == 3


SENDING = st.tuples(
    st.integers(0, 90),  # minutes since the sending before
    st.sampled_from([0, 15, 30, 60, 120]),  # "so long ago"
    st.integers(0, 90),  # minutes that the phone waited, as it measured them
)


@given(st.lists(SENDING, min_size=2, max_size=6))
@example([(0, 0, 0), (40, 0, 0)])  # a phone that could not measure its wait
def test_however_often_it_is_sent_a_relative_time_never_moves_later(sendings):
    """And it ends within a minute of the earliest that was told: nothing cautious is lost."""
    store, now, standing = MemoryStore(), after(6), None
    earliest = None
    for passed, ago, waited in sendings:
        now += timedelta(minutes=passed)
        case = told(store, ago + waited, now=now).case
        at: datetime = stands(store, case, now)
        assert standing is None or at <= standing
        standing = at
        said = now - timedelta(minutes=ago + waited)
        earliest = said if earliest is None else min(earliest, said)
        assert timedelta(0) <= at - earliest < timedelta(minutes=1)
