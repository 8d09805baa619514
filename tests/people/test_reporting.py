"""Versions of one result in a file against the rule by which cases count them, however they arrive."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import UTC, date, timedelta
from itertools import permutations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from people.files import ENROLLED, NOW, ONE, RESULT, people, write
from thimble.actions import Doubtful, Refused
from thimble.actions.reported import look_at_results, record_reports
from thimble.clinical.serology import Analyte, Quantity, Result, Word, current
from thimble.exchange.hl7v2.reading import Standing
from thimble.exchange.known import Registered
from thimble.exchange.matching import Reported, Reports
from thimble.exchange.rows import STATUS
from thimble.ledger.store import MemoryStore
from thimble.ledger.verify import verify
from thimble.people.entries import Kind
from thimble.people.fold import Person, fold
from thimble.people.to_see import to_see

BORN, DRAWN = date(1990, 5, 6), date(2026, 3, 2)
SENT = (Standing.PROVISIONAL, Standing.FINAL, Standing.CORRECTED, Standing.RETRACTED)
LATER = NOW + timedelta(days=1)
BY = {"by": "laboratory", "role": "laboratory"}


def reported(standing: Standing = Standing.FINAL, number: float = 120, minute: int = 0) -> Reported:
    taken_back = standing is Standing.RETRACTED
    return Reported(
        test="anti_hbs",
        standing=standing,
        word=None,
        quantity=None if taken_back else Quantity(number, "m[IU]/mL"),
        as_sent=f"{number:g} mIU/mL",
        collected_on="2026-03-02",
        reported_at=NOW + timedelta(minutes=minute),
        request="R-1",
        specimen="S-1",
    )


def record(store: MemoryStore[Kind], *results: Reported, message: str = "ab" * 32, **how) -> None:
    reports = Reports(Registered(ONE, DRAWN, "yes"), results, "INVENTED LAB")
    record_reports(store, reports, born=BORN, zone=UTC, now=LATER, message=message, **{**BY, **how})


def file() -> MemoryStore[Kind]:
    store = people()
    write(store, (Kind.ENROLLED, ENROLLED))
    return store


def folded(store: MemoryStore[Kind]) -> Person:
    return fold(store.entries(ONE), LATER)


def as_case(one: Reported) -> Result:
    return Result(
        Analyte.ANTI_HBS, "worker", STATUS[one.standing], NOW - timedelta(hours=9),
        one.reported_at, None, one.quantity, request=one.request, specimen=one.specimen,
    )  # fmt: skip


versions = st.builds(
    reported, st.sampled_from(SENT), st.sampled_from([8.0, 120.0]), st.integers(0, 3)
)


def take_all(store: MemoryStore[Kind], sent: Sequence[Reported]) -> list[Reported]:
    """Those that were not refused."""
    taken = []
    for at, one in enumerate(sent):
        try:
            record(store, one, message=f"{at:064x}")
        except Refused:
            continue
        taken.append(one)
    return taken


@settings(max_examples=300, deadline=None)
@given(st.lists(versions, min_size=1, max_size=6))
def test_what_stands_is_what_counts_in_a_case(sent: list[Reported]) -> None:
    store = file()
    taken = take_all(store, sent)
    counts = current([as_case(one) for one in taken])
    person = folded(store)

    assert counts.conflicting == ()
    stands = [float(e.body["number"]) for e in person.of(Kind.RESULT_RECORDED)]
    waits = [float(e.body["number"]) for e in person.preliminary]
    assert stands == [r.quantity.number for r in counts.settled if r.quantity]
    assert waits == [r.quantity.number for r in counts.preliminary if r.quantity]
    assert verify(list(store.all_entries())) == []


@settings(max_examples=100, deadline=None)
@given(st.lists(versions, min_size=1, max_size=5))
def test_what_came_once_says_nothing_new_the_second_time(sent: list[Reported]) -> None:
    store = file()
    taken = take_all(store, sent)
    before = store.entries(ONE)
    take_all(store, taken)

    assert store.entries(ONE) == before


def test_a_correction_counts_in_every_order_of_arrival() -> None:
    sent = [
        reported(Standing.PROVISIONAL, 8, 0),
        reported(Standing.FINAL, 8, 1),
        reported(Standing.CORRECTED, 120, 2),
        reported(Standing.CORRECTED, 8, 3),
    ]
    for order in permutations(sent):
        store = file()
        assert len(take_all(store, order)) == 4
        (stands,) = folded(store).evidence
        assert (stands.body["number"], stands.body["report"]["status"]) == (8, "corrected")


def test_a_correction_that_says_the_same_is_nothing_to_look_at() -> None:
    store = file()
    record(store, reported())
    record(store, reported(Standing.CORRECTED, minute=1), message="cd" * 32)
    assert to_see(folded(store)) == ()

    record(store, reported(Standing.CORRECTED, 8, 2), message="ef" * 32)
    (waits,) = to_see(folded(store))
    look_at_results(store, ONE, [waits.entry], "A dose is due.", now=LATER, by="u", role="r")
    assert to_see(folded(store)) == ()
    record(store, reported(Standing.CORRECTED, 9, 3), message="01" * 32)
    assert len(to_see(folded(store))) == 1


def test_a_message_that_says_two_things_of_one_sample_is_refused() -> None:
    with pytest.raises(Refused, match="two things of one sample"):
        record(file(), reported(), reported(number=8))
    store = file()
    record(store, reported(), replace(reported(), as_sent="120.0"))
    assert len(folded(store).evidence) == 1


def test_doubts_are_overruled_by_who_was_shown_them_and_contradictions_by_nobody() -> None:
    store = file()
    too_high = reported(number=2e6)
    for how in ({}, {"looked_at": "Rang them.", "doubts_shown": False}):
        with pytest.raises(Doubtful, match="results lie between"):
            record(store, too_high, **how)
    record(store, too_high, looked_at="Rang them.", doubts_shown=True)
    assert folded(store).evidence[0].body["looked_at"] == "Rang them."

    with pytest.raises(Refused, match="not called a correction"):
        record(store, reported(minute=1), looked_at="Rang them.", doubts_shown=True)


def test_the_day_of_the_draw_is_the_sessions_else_the_laboratorys_else_what_somebody_told() -> None:
    def day(whose: Registered, collected: str | None, told: date | None) -> str:
        store = file()
        reports = Reports(whose, (replace(reported(), collected_on=collected),), "")
        record_reports(
            store, reports, born=BORN, zone=UTC, now=LATER, message="ab" * 32, drawn_on=told, **BY
        )
        return str(folded(store).evidence[0].body["when"])

    told = date(2026, 2, 27)
    assert day(Registered(ONE, DRAWN), "2026-03-02", told) == "2026-03-02"
    assert day(Registered(ONE), "2026-03-01", None) == "2026-03-01"
    assert day(Registered(ONE), "2026-03-01", told) == "2026-02-27"
    with pytest.raises(Refused, match="on which day the sample was taken"):
        day(Registered(ONE), None, None)


@pytest.mark.parametrize(
    ("word", "test", "waits"),
    [
        (Word.POSITIVE, "hbsag", True),
        (Word.INDETERMINATE, "hiv_ag_ab", True),
        (Word.NEGATIVE, "hbsag", False),
        (Word.POSITIVE, "measles_igg", False),
    ],
)
def test_only_what_came_by_message_and_may_say_infection_waits(
    word: Word, test: str, waits: bool
) -> None:
    store = file()
    record(store, replace(reported(), test=test, word=word, quantity=None))
    assert len(to_see(folded(store))) == waits


def test_a_viral_load_waits_to_be_seen_whatever_stands_beside_it() -> None:
    for comparator in ("=", ">"):
        store = file()
        load = Quantity(450, "[IU]/mL", comparator)
        record(store, replace(reported(), test="hbv_dna", quantity=load))
        assert len(to_see(folded(store))) == 1


def test_a_typed_result_that_becomes_the_laboratorys_own_was_not_set_right() -> None:
    """The laboratory says a word beside the number that was typed in."""
    store = file()
    typed = {"test": "anti_hbs", "when": "2026-03-02", "number": 120, "document": 3}
    write(store, (Kind.RESULT_RECORDED, {**RESULT, **typed}))
    record(store, replace(reported(), word=Word.POSITIVE))

    (stands,) = folded(store).evidence
    assert (stands.body["word"], stands.body["document"]) == ("positive", 3)
    assert to_see(folded(store)) == ()
    record(store, reported(Standing.CORRECTED, 8, 1), message="cd" * 32)
    assert folded(store).evidence[0].body["document"] == 3
    assert len(to_see(folded(store))) == 1


def test_a_preliminary_result_that_turns_positive_waits_again() -> None:
    store = file()
    first = replace(reported(Standing.PROVISIONAL), test="hbsag", quantity=None)
    record(store, replace(first, word=Word.INDETERMINATE))
    (waits,) = to_see(folded(store))
    look_at_results(store, ONE, [waits.entry], "Waits.", now=LATER, by="u", role="r")
    assert to_see(folded(store)) == ()

    later = NOW + timedelta(minutes=1)
    record(store, replace(first, word=Word.POSITIVE, reported_at=later), message="cd" * 32)
    assert [one.entry for one in to_see(folded(store))] == [waits.entry]
