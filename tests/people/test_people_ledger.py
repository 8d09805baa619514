"""The ledger of people: chained, verified and folded as that of cases, with its own words."""

from __future__ import annotations

import re
from dataclasses import replace
from datetime import date, timedelta
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from people.files import (
    DOSE,
    ENROLLED,
    GOOD,
    NOW,
    ONE,
    OTHER,
    RESULT,
    people,
    write,
)
from thimble.ledger.entries import Draft
from thimble.ledger.store import Addition, MemoryStore, Overtaken
from thimble.ledger.verify import verify
from thimble.people.bodies import BODIES, PEOPLE, faults_of
from thimble.people.entries import Kind
from thimble.people.fold import fold, touched_since


def test_each_kind_has_a_body_and_an_example_that_fits() -> None:
    assert set(BODIES) == set(GOOD) == set(Kind)
    assert {
        kind: faults_of(kind, body) for kind, body in GOOD.items() if faults_of(kind, body)
    } == {}


@pytest.mark.parametrize("kind", Kind)
def test_a_body_without_a_key_that_it_needs_or_with_one_too_many_is_refused(kind: Kind) -> None:
    for name, key in BODIES[kind].items():
        if key.required:
            body = {k: v for k, v in GOOD[kind].items() if k != name}
            assert any(f"{name} is missing" in fault for fault in faults_of(kind, body)), name
    faults = faults_of(kind, {**GOOD[kind], "surname": "x"})
    assert len(faults) == 1
    assert "surname is not a key" in faults[0]


@pytest.mark.parametrize(
    ("kind", "changes", "says"),
    [
        (Kind.ENROLLED, {"ends_on": "2026-03-31"}, "no earlier than they start"),
        (Kind.ENROLLED, {"categories": {"uk": "III"}}, "categories.uk is one of 1, 2, 3"),
        (Kind.ENROLLED, {"categories": {"own": "1"}}, "own is no scheme"),
        (Kind.ENROLLED, {"exposure_prone": True}, "exposure_prone is one of"),
        (Kind.CHANGED, {"identity": ["name"]}, r"identity\[0\] is one of"),
        (Kind.DOSE_RECORDED, {"when": "2019-13"}, "2019-03 or 2019"),
        (Kind.DOSE_RECORDED, {"when": "19"}, "2019-03 or 2019"),
        (Kind.DOSE_RECORDED, {"when": "2019-02-29"}, "2019-03 or 2019"),
        (Kind.DOSE_RECORDED, {"diseases": []}, "at least 1"),
        (Kind.DOSE_RECORDED, {"gtin": "5060917510011"}, "of 14 digits"),
        (Kind.RESULT_RECORDED, {"number": None}, "a word or a number"),
        (Kind.CORRECTED, {"withdrawn": True}, "one of the two"),
    ],
)
def test_what_does_not_fit_together_is_told(kind: Kind, changes: dict[str, Any], says: str) -> None:
    faults = faults_of(kind, {**GOOD[kind], **changes})
    assert any(re.search(says, fault) for fault in faults), faults


def test_a_change_of_nothing_is_refused() -> None:
    assert faults_of(Kind.CHANGED, {"import": "i1"}) == [
        "changed: it must say what changed; found nothing"
    ]


def test_a_person_overtaken_is_called_a_person() -> None:
    store = people()
    write(store, (Kind.ENROLLED, ENROLLED))
    with pytest.raises(Overtaken, match=f"person {ONE} has moved on by 1 entry"):
        store.append(
            ONE,
            [Draft(Kind.NOTED, NOW, {"text": "x"})],
            expected_position=0,
            by="u1",
            role="nurse",
            now=NOW,
        )


def test_many_files_are_written_together_or_not_at_all() -> None:
    store = people()
    write(store, (Kind.ENROLLED, ENROLLED))
    good = [Draft(Kind.ENROLLED, NOW, ENROLLED)]
    for bad in (
        [Addition(OTHER, good, 0), Addition(ONE, good, 0)],
        [Addition(OTHER, good, 0), Addition("P-3", [Draft(Kind.NOTED, NOW, {"text": " "})], 0)],
        [Addition(OTHER, good, None), Addition(OTHER, good, None)],
    ):
        with pytest.raises((Overtaken, ValueError)):
            store.append_all(bad, by="u1", role="nurse", now=NOW)
        assert store.cases() == [ONE]

    both = [Addition(OTHER, good, 0), Addition(ONE, [Draft(Kind.NOTED, NOW, {"text": "x"})], 1)]
    written = store.append_all(both, by="u1", role="nurse", now=NOW)
    assert [(e.number, e.case, e.position) for e in written] == [(2, OTHER, 1), (3, ONE, 2)]
    assert verify(store.all_entries(), subject="person") == []


@given(
    st.lists(st.tuples(st.sampled_from([ONE, OTHER]), st.integers(0, 9)), min_size=1, max_size=8)
)
def test_a_change_anywhere_in_the_ledger_of_people_is_found(steps: list[tuple[str, int]]) -> None:
    store = people()
    for person, step in steps:
        write(store, (Kind.NOTED, {"text": f"step {step}"}), person=person)
    entries = list(store.all_entries())
    assert verify(entries, subject="person") == []
    for at, entry in enumerate(entries):
        forged = [*entries[:at], replace(entry, body={"text": "other"}), *entries[at + 1 :]]
        faults = verify(forged, subject="person")
        assert {fault.number for fault in faults} == {entry.number}
        assert f"(person {entry.case}, position {entry.position})" in str(faults[0])


def _folded(store: MemoryStore[Kind]) -> Any:
    return fold(store.entries(ONE), NOW + timedelta(days=1000))


def test_a_person_is_what_was_said_last_and_a_leaver_may_come_back() -> None:
    store = people()
    write(store, (Kind.ENROLLED, ENROLLED), (Kind.MOVED, {"department": "Medicine", "on": None}))
    write(store, (Kind.CHANGED, {"exposure_prone": "no", "categories": {}}))
    write(store, (Kind.LEFT, {"on": "2026-09-30"}))

    work = _folded(store).employment
    assert (work.department, work.site, work.exposure_prone) == ("Medicine", "Main house", "no")
    assert (work.here_on(date(2026, 9, 30)), work.here_on(date(2026, 10, 1))) == (True, False)

    write(store, (Kind.RETURNED, {"on": "2027-01-04"}))
    work = _folded(store).employment
    assert (work.starts_on, work.ends_on) == (date(2027, 1, 4), None)


def test_a_correction_acts_where_the_entry_stands_and_takes_the_verification_with_it() -> None:
    store = people()
    write(
        store, (Kind.ENROLLED, ENROLLED), (Kind.DOSE_RECORDED, DOSE), (Kind.RESULT_RECORDED, RESULT)
    )
    write(store, (Kind.EVIDENCE_VERIFIED, {"entries": [2, 3], "seen": "original", "text": ""}))
    assert [e.verified is not None for e in _folded(store).evidence] == [True, True]

    write(store, (Kind.CORRECTED, GOOD[Kind.CORRECTED]))
    dose, result = _folded(store).evidence
    assert (dose.body["when"], dose.verified) == ("2018-03", None)
    assert result.verified is not None

    write(store, (Kind.EVIDENCE_VERIFIED, {"entries": [2], "seen": "copy", "text": ""}))
    assert _folded(store).evidence[0].verified.seen == "copy"

    write(store, (Kind.CORRECTED, {"corrects": 2, "reason": "not theirs", "withdrawn": True}))
    assert [e.entry for e in _folded(store).evidence] == [3]


def test_an_import_that_was_undone_leaves_nothing_and_later_entries_stand_in_its_way() -> None:
    store = people()
    write(store, (Kind.ENROLLED, ENROLLED))
    imported = {"department": "Medicine", "on": None, "import": "i7"}
    write(store, (Kind.MOVED, imported), (Kind.CHANGED, {"role": "resident", "import": "i7"}))
    assert touched_since(store.entries(ONE), "i7") == []
    assert touched_since(store.entries(ONE), "i8") == []

    write(store, (Kind.NOTED, {"text": "called"}))
    assert [e.position for e in touched_since(store.entries(ONE), "i7")] == [4]

    write(store, (Kind.IMPORT_UNDONE, {"import": "i7", "entries": [2, 3]}))
    work = _folded(store).employment
    assert (work.department, work.role) == ("Surgery", "medical student")


def test_the_past_is_told_as_it_was_known_then() -> None:
    store = people()
    write(store, (Kind.ENROLLED, ENROLLED))
    write(store, (Kind.DOSE_RECORDED, DOSE), at=NOW + timedelta(days=2))
    assert fold(store.entries(ONE), NOW + timedelta(days=1)).evidence == ()
    with pytest.raises(ValueError, match="nothing is recorded"):
        fold(store.entries(ONE), NOW - timedelta(seconds=1))
    write(store, (Kind.ENROLLED, ENROLLED), person=OTHER)
    with pytest.raises(ValueError, match="one person at a time"):
        fold(store.all_entries(), NOW + timedelta(days=3))


def test_the_book_calls_things_by_its_own_names() -> None:
    assert (PEOPLE.name, PEOPLE.subject, PEOPLE.kinds) == ("people", "person", Kind)
