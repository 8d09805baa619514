"""Additions that wait for one write: a store like any other, and each writer's own whole or not at all."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ledger.store_contract import NOW, A, B, StoreContract, add
from thimble.ledger.entries import Entry, Kind
from thimble.ledger.gathering import Gathering
from thimble.ledger.store import Head, MemoryStore, head_of
from thimble.ledger.verify import verify


class Below(MemoryStore[Kind]):
    """A store in memory that is asked for many cases at once."""

    def entries_of(self, cases: Sequence[str]) -> Mapping[str, list[Entry]]:
        return {case: self.entries(case) for case in cases}

    def head(self) -> Head:
        entries = list(self.all_entries())
        return head_of(entries[-1] if entries else None)


class TestGathering(StoreContract):
    concurrent = False

    @pytest.fixture
    def store(self) -> Gathering[Kind]:
        return Gathering(Below(), Head())


class Left(Exception):
    """Why a writer gives up."""


WRITERS = st.lists(
    st.tuples(
        st.lists(st.sampled_from([A, B, "CCCC-CCCC"]), min_size=1, max_size=3), st.booleans()
    ),
    max_size=6,
)


@given(before=st.lists(st.sampled_from([A, B]), max_size=3), writers=WRITERS)
def test_it_holds_what_a_ledger_holds_to_which_only_those_who_did_not_give_up_wrote(
    before: list[str], writers: list[tuple[list[str], bool]]
) -> None:
    below, plain = Below(), MemoryStore()
    for case in before:
        add(below, case, "before")
        add(plain, case, "before")
    gathered = Gathering(below, below.head())

    for number, (cases, gives_up) in enumerate(writers):
        try:
            with gathered.whole():
                for case in cases:
                    add(gathered, case, f"by {number}")
                if gives_up:
                    raise Left
        except Left:
            continue
        for case in cases:
            add(plain, case, f"by {number}")

    assert list(gathered.all_entries()) == list(plain.all_entries())
    assert gathered.added == list(plain.all_entries())[len(before) :]
    for case in (A, B, "CCCC-CCCC"):
        assert gathered.entries(case) == plain.entries(case)
    assert gathered.cases() == plain.cases()
    assert verify(list(gathered.all_entries())) == []


def test_nothing_reaches_the_store_below_by_itself() -> None:
    below = Below()
    gathered = Gathering(below, Head())

    add(gathered, A, "one", now=NOW)

    assert list(below.all_entries()) == []
