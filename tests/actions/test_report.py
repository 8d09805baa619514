"""A report opens a case once, however often it is sent, and holds no name."""

from datetime import timedelta
from importlib import import_module

import pytest

from ledger.builders import NIGHT, after
from thimble import actions
from thimble.actions.reference import read_reference
from thimble.clinical.vocabulary import vocabulary
from thimble.ledger.entries import Kind
from thimble.ledger.fold import fold
from thimble.ledger.store import MemoryStore
from thimble.ledger.verify import verify

WORKER = actions.WorkerIdentity(name="Invented Person", phone="555 0100")


@pytest.fixture
def store():
    return MemoryStore()


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
