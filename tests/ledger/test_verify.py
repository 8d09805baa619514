"""Whatever is done to one entry of a ledger, verify finds it and names that entry."""

from dataclasses import replace
from datetime import timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ledger.builders import chains
from thimble.ledger.entries import GENESIS, Kind, digest_of
from thimble.ledger.verify import verify

FIELDS = (
    "number",
    "case",
    "position",
    "kind",
    "happened_at",
    "recorded_at",
    "by",
    "role",
    "body",
    "previous",
    "digest",
)


def changed(entry, field):
    """The entry with one field changed, its digest left as it was."""
    value = getattr(entry, field)
    if field in ("number", "position"):
        return replace(entry, **{field: value + 3})
    if field in ("happened_at", "recorded_at"):
        return replace(entry, **{field: value + timedelta(microseconds=1)})
    if field == "kind":
        return replace(entry, kind=Kind.ASSESSED if value is not Kind.ASSESSED else Kind.NOTED)
    if field == "body":
        return replace(entry, body={**value, "text": "something else"})
    if field in ("previous", "digest"):
        return replace(entry, **{field: "f" * 64})
    return replace(entry, **{field: value + "x"})


def named(faults):
    return {(f.number, f.case, f.position) for f in faults}


def name(entry):
    return (entry.number, entry.case, entry.position)


@given(chains())
def test_a_whole_ledger_has_no_fault(entries):
    assert verify(entries) == []
    assert verify(entries, (entries[-1].number, entries[-1].digest)) == []
    assert verify(iter(entries), (1, entries[0].digest)) == []


def test_an_empty_ledger_has_no_fault():
    assert verify([]) == []


@pytest.mark.parametrize("field", FIELDS)
@given(entries=chains(), data=st.data())
def test_a_changed_field_is_found_and_only_its_entry_named(field, entries, data):
    at = data.draw(st.integers(0, len(entries) - 1))
    forged = [*entries[:at], changed(entries[at], field), *entries[at + 1 :]]

    faults = verify(forged)

    assert {f.number for f in faults} == {entries[at].number}
    assert all(f"entry {entries[at].number} " in f.sentence for f in faults)
    assert any("was changed" in f.sentence for f in faults)


@given(entries=chains(least=2), data=st.data())
def test_an_entry_rewritten_with_a_fitting_digest_is_named_by_the_next(entries, data):
    at = data.draw(st.integers(0, len(entries) - 2))
    forged = replace(entries[at], by="somebody else")
    forged = replace(forged, digest=digest_of(forged))

    faults = verify([*entries[:at], forged, *entries[at + 1 :]])

    assert named(faults) == {name(entries[at])}
    assert "was rewritten" in faults[0].sentence


@given(entries=chains(least=2), data=st.data())
def test_a_missing_entry_is_named(entries, data):
    at = data.draw(st.integers(0, len(entries) - 2))
    gone = entries[at]

    faults = verify([*entries[:at], *entries[at + 1 :]])

    assert [f.number for f in faults] == [gone.number]
    assert "is missing" in faults[0].sentence
    # If the case went on, the gap in its positions tells whose entry it was.
    if any(e.case == gone.case for e in entries[at + 1 :]):
        assert named(faults) == {name(gone)}


@given(entries=chains(least=2), data=st.data())
def test_a_cut_off_end_is_found_with_an_anchor(entries, data):
    kept = data.draw(st.integers(0, len(entries) - 1))
    last = entries[-1]

    faults = verify(entries[:kept], (last.number, last.digest))

    assert [f.number for f in faults] == [kept + 1]
    assert f"a document names entry {last.number}" in faults[0].sentence
    assert verify(entries[:kept]) == []


@given(entries=chains(least=2), data=st.data())
def test_two_exchanged_entries_are_named(entries, data):
    one, other = sorted(
        data.draw(st.lists(st.integers(0, len(entries) - 1), min_size=2, max_size=2, unique=True))
    )
    swapped = list(entries)
    swapped[one], swapped[other] = swapped[other], swapped[one]

    faults = verify(swapped)

    assert named(faults) == {name(entries[one]), name(entries[other])}
    assert all("was reordered" in f.sentence for f in faults)


@given(entries=chains(least=3), data=st.data())
def test_an_entry_moved_elsewhere_is_named_alone(entries, data):
    at = data.draw(st.integers(0, len(entries) - 1))
    to = data.draw(st.integers(0, len(entries) - 1).filter(lambda to: abs(to - at) > 1))
    moved = [*entries[:at], *entries[at + 1 :]]
    moved.insert(to, entries[at])

    assert named(verify(moved)) == {name(entries[at])}


@given(entries=chains(), data=st.data())
def test_a_duplicated_entry_is_named(entries, data):
    at = data.draw(st.integers(0, len(entries) - 1))
    to = data.draw(st.integers(0, len(entries)))
    forged = list(entries)
    forged.insert(to, entries[at])

    faults = verify(forged)

    assert named(faults) == {name(entries[at])}
    assert [f.sentence.partition(" was ")[2] for f in faults] == [
        "duplicated: it is stored 2 times"
    ]


@given(entries=chains(least=2), data=st.data())
def test_an_inserted_entry_is_named_and_the_true_one_is_not(entries, data):
    at = data.draw(st.integers(0, len(entries) - 2))
    forged = replace(entries[at], by="intruder")
    forged = replace(forged, digest=digest_of(forged))

    faults = verify([*entries[: at + 1], forged, *entries[at + 1 :]])

    assert [f.number for f in faults] == [entries[at].number]
    assert "was inserted" in faults[0].sentence


@given(entries=chains(least=2), data=st.data())
def test_a_ledger_rewritten_from_some_entry_on_is_found_with_an_anchor(entries, data):
    """The chain alone cannot show it: every digest was computed anew."""
    at = data.draw(st.integers(0, len(entries) - 1))
    forged, previous = list(entries[:at]), entries[at].previous
    for entry in entries[at:]:
        entry = replace(entry, by="rewriter", previous=previous, digest="")  # noqa: PLW2901
        entry = replace(entry, digest=digest_of(entry))  # noqa: PLW2901
        forged.append(entry)
        previous = entry.digest

    assert verify(forged) == []
    faults = verify(forged, (entries[-1].number, entries[-1].digest))
    assert [f.number for f in faults] == [entries[-1].number]
    assert "not the one that the document names" in faults[0].sentence


def _sealed(entry):
    return replace(entry, digest=digest_of(entry))


@given(chains(least=1, most=1))
def test_a_first_entry_that_follows_something_is_named(entries):
    forged = _sealed(replace(entries[0], previous="a" * 64))
    assert forged.previous != GENESIS
    assert named(verify([forged])) == {name(entries[0])}


@given(chains(least=2, most=2))
def test_a_wrong_position_and_a_clock_that_runs_back_are_named(entries):
    first, second = entries
    odd = _sealed(replace(second, position=9))
    assert any("wrong position" in f.sentence for f in verify([first, odd]))
    early = _sealed(replace(second, recorded_at=first.recorded_at - timedelta(seconds=1)))
    faults = verify([first, early])
    assert [f.number for f in faults] == [2]
    assert "recorded earlier" in faults[0].sentence


@given(chains(least=2, most=2))
def test_a_body_that_no_store_could_have_written_is_a_changed_entry(entries):
    forged = replace(entries[0], body={"text": object()})
    assert [f.number for f in verify([forged, entries[1]])] == [1]
