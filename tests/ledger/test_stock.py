"""The shelf: nothing is lost between what came and what is there; the days on which a lot may be used."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta
from itertools import permutations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from thimble.clinical.stocked import Stocked, StockPlace, StockProduct
from thimble.ledger.stock.alerts import Sort, alerts
from thimble.ledger.stock.movements import Move, Movement, faults_in, lot_of, read_expiry
from thimble.ledger.stock.shelf import fold
from thimble.ledger.stock.wanted import Wanted, outlook

TODAY = date(2026, 3, 3)
STOCKED = Stocked(
    (StockPlace("desk", "Desk"), StockPlace("ward", "Ward")),
    (StockProduct("pack", "Starter pack", "pack", ("first_dose",), 5, "1 tablet", 60),),
)
PLACES = st.sampled_from(["desk", "ward"])
LOTS = st.sampled_from(["A", "B"])


def came(
    count: int, place: str = "desk", lot: str = "A", until: date = date(2027, 1, 31)
) -> Movement:
    return Movement(Move.RECEIVED, "pack", place, lot, count, until)


def gave(count: int = 1, place: str = "desk", lot: str = "A") -> Movement:
    return Movement(Move.GIVEN, "pack", place, lot, count, case="2222-2222")


MOVEMENTS = st.lists(
    st.one_of(
        st.builds(came, st.integers(1, 9), PLACES, LOTS),
        st.builds(gave, st.integers(1, 3), PLACES, LOTS),
        st.builds(
            lambda place, lot, n: Movement(Move.DISCARDED, "pack", place, lot, n, reason="broken"),
            PLACES, LOTS, st.integers(1, 3),
        ),
        st.builds(
            lambda place, lot, n: Movement(Move.COUNTED, "pack", place, lot, n),
            PLACES, LOTS, st.integers(0, 9),
        ),
        st.builds(
            lambda place, lot, n: Movement(
                Move.MOVED, "pack", place, lot, n, to_place="ward" if place == "desk" else "desk"
            ),
            PLACES, LOTS, st.integers(1, 3),
        ),
    ),
    max_size=25,
)  # fmt: skip


@given(MOVEMENTS)
def test_what_came_is_there_given_discarded_or_missing(movements):
    """Per lot, over all places; with the sums taken from the movements, not from the fold."""
    shelf = fold(movements)

    for lot in "AB":
        of_lot = [m for m in movements if m.lot == lot]
        piles = [p for p in shelf.piles.values() if p.lot == lot]
        received = sum(m.quantity for m in of_lot if m.move is Move.RECEIVED)
        given_away = sum(m.quantity for m in of_lot if m.move is Move.GIVEN)
        discarded = sum(m.quantity for m in of_lot if m.move is Move.DISCARDED)
        there = sum(p.there for p in piles)
        missing = sum(p.missing for p in piles)
        assert received == there + given_away + discarded + missing


@given(MOVEMENTS)
def test_each_place_accounts_for_what_came_and_went(movements):
    for pile in fold(movements).piles.values():
        assert pile.received + pile.moved_in == (
            pile.there + pile.moved_out + pile.given + pile.discarded + pile.missing
        )


@given(MOVEMENTS, PLACES, LOTS, st.integers(0, 9))
def test_a_count_says_what_is_there_whatever_was_thought_before(movements, place, lot, found):
    counted = Movement(Move.COUNTED, "pack", place, lot, found)

    assert fold([*movements, counted]).piles[place, "pack", lot].there == found


@given(MOVEMENTS)
def test_nothing_below_zero_goes_unsaid_and_none_of_it_is_offered(movements):
    shelf = fold(movements)
    below = {key for key, pile in shelf.piles.items() if pile.there < 0}
    told = {
        (a.place, a.product, a.lot)
        for a in alerts(shelf, STOCKED, TODAY)
        if a.sort in (Sort.COUNT, Sort.NOT_RECEIVED)
    }

    assert told == below
    for place in ("desk", "ward"):
        offered = shelf.offers(place, ["pack"], TODAY)
        assert all(pile.there > 0 for pile in offered)
        assert sum(p.there for p in offered) == shelf.usable(place, "pack", TODAY)


def test_a_lot_that_never_came_and_was_given_is_said_until_it_is_received():
    shelf = fold([gave()])
    assert [a.sort for a in alerts(shelf, STOCKED, TODAY)] == [Sort.NOT_RECEIVED]

    assert alerts(fold([gave(), came(3)]), STOCKED, TODAY) == []
    assert fold([gave(), came(3)]).piles["desk", "pack", "A"].there == 2


@given(MOVEMENTS, PLACES, LOTS)
def test_what_is_put_back_leaves_the_shelf_as_if_it_had_not_been_given(movements, place, lot):
    back = replace(gave(1, place, lot), move=Move.PUT_BACK)
    before = fold(movements).piles.get((place, "pack", lot))
    after = fold([*movements, gave(1, place, lot), back]).piles[place, "pack", lot]

    assert (after.there, after.given) == ((before.there, before.given) if before else (0, 0))


def test_two_desks_give_the_last_pack_and_the_shelf_says_that_one_is_too_few():
    shelf = fold([came(1), gave(), gave()])

    assert shelf.piles["desk", "pack", "A"].there == -1
    assert [a.sort for a in alerts(shelf, STOCKED, TODAY)] == [Sort.COUNT]


@pytest.mark.parametrize(
    ("label", "last"),
    [
        ("2027-11", date(2027, 11, 30)),
        ("2027-12", date(2027, 12, 31)),
        ("2028-02", date(2028, 2, 29)),
        ("2027-02", date(2027, 2, 28)),
        (" 2027-11-14 ", date(2027, 11, 14)),
    ],
)
def test_a_month_on_a_label_means_its_last_day(label, last):
    assert read_expiry(label) == last


@pytest.mark.parametrize(
    "label", ["", "11/2027", "2027-13", "2027-00", "2027-2-1", "2027-02-30", "next year", "2027-1١"]
)
def test_an_expiry_that_cannot_be_read_is_refused_in_a_sentence(label):
    with pytest.raises(ValueError, match="The expiry is a month such as 2027-11"):
        read_expiry(label)


@pytest.mark.parametrize(("day", "usable"), [(30, True), (31, True), (32, False)])
def test_a_lot_may_be_used_on_its_last_day_and_not_after(day, usable):
    shelf = fold([came(1, until=read_expiry("2026-03"))])
    today = date(2026, 3, 1) + timedelta(days=day - 1)

    assert bool(shelf.offers("desk", ["pack"], today)) is usable
    assert bool(shelf.against("pack", "A", today)) is not usable


@pytest.mark.parametrize(("ahead", "told"), [(61, False), (60, True), (0, True)])
def test_an_expiry_is_told_from_the_lead_time_on(ahead, told):
    shelf = fold([came(1, until=TODAY + timedelta(days=ahead))])

    assert [a.sort for a in alerts(shelf, STOCKED, TODAY)] == ([Sort.EXPIRES_SOON] if told else [])


@pytest.mark.parametrize(
    ("there", "minimum", "said"),
    [(3, 3, []), (2, 3, [Sort.LOW]), (0, 3, [Sort.NONE_LEFT]), (0, 0, [])],
)
def test_less_than_the_minimum_is_told_before_the_last_is_gone(there, minimum, said):
    movements = [came(5), Movement(Move.LEVEL, "pack", "desk", quantity=minimum)]
    movements += [gave()] * (5 - there)

    assert [a.sort for a in alerts(fold(movements), STOCKED, TODAY)] == said


def test_what_is_expired_or_recalled_does_not_count_towards_the_minimum():
    level = Movement(Move.LEVEL, "pack", "desk", quantity=1)
    recall = Movement(Move.RECALLED, "pack", lot="B", reason="by the maker")
    old = came(2, until=TODAY - timedelta(days=1))
    shelf = fold([old, came(2, lot="B"), level, recall])

    assert [a.sort for a in alerts(shelf, STOCKED, TODAY)] == [
        Sort.NONE_LEFT, Sort.RECALLED, Sort.EXPIRED,
    ]  # fmt: skip


def test_the_lot_that_expires_first_is_offered_first_and_a_recalled_one_never():
    movements = [
        came(1, lot="A", until=date(2027, 5, 31)),
        came(1, lot="B", until=date(2026, 5, 31)),
        came(1, lot="C", until=date(2026, 4, 30)),
        Movement(Move.RECALLED, "pack", lot="C", reason="by the maker"),
    ]

    assert [p.lot for p in fold(movements).offers("desk", ["pack"], TODAY)] == ["B", "A"]

    lifted = Movement(Move.CLEARED, "pack", lot="C", reason="a mistake")
    after = fold([*movements, lifted])
    assert [p.lot for p in after.offers("desk", ["pack"], TODAY)] == ["C", "B", "A"]


def test_a_lot_is_the_same_however_it_is_typed():
    assert lot_of("  qh-22  07 ") == "QH-22 07"


@pytest.mark.parametrize(
    ("movement", "said"),
    [
        (came(0), "whole, from 1"),
        (came(-2), "whole, from 1"),
        (came(100_001), "to 100000"),
        (Movement(Move.RECEIVED, "pack", "desk", "A", 1), "Enter the expiry"),
        (Movement(Move.RECEIVED, "pack", "desk", "", 1, TODAY), "Enter the lot"),
        (Movement(Move.COUNTED, "pack", "", "A", 1), "at which place"),
        (Movement(Move.MOVED, "pack", "desk", "A", 1, to_place="desk"), "which other place"),
        (Movement(Move.DISCARDED, "pack", "desk", "A", 1, reason=" "), "Say why"),
        (Movement(Move.RECALLED, "pack", lot="A"), "Say why"),
        (Movement(Move.GIVEN, "pack", "desk", "A", 1), "the reference is missing"),
    ],
)
def test_what_cannot_be_is_refused_in_a_sentence(movement, said):
    assert any(said in fault for fault in faults_in(movement))


@pytest.mark.parametrize("count", [0, 100_000])
def test_an_empty_shelf_can_be_counted(count):
    assert faults_in(Movement(Move.COUNTED, "pack", "desk", "A", count)) == []


# -- what the bookings ask for ------------------------------------------------------------------------


def wants(*days: int, place: str = "desk") -> list[Wanted]:
    return [Wanted(TODAY + timedelta(days=day), place, ("pack",)) for day in days]


@pytest.mark.parametrize(
    ("day", "covered"),
    [(9, 1), (10, 1), (11, 0)],
)
def test_a_unit_covers_a_booking_up_to_its_last_day_and_not_after(day, covered):
    shelf = fold([came(1, until=TODAY + timedelta(days=10))])
    found = outlook(shelf, wants(day)).covers["desk", "pack"]

    assert (found.wanted, found.covered) == (1, covered)
    assert found.short_from == (None if covered else TODAY + timedelta(days=day))


def test_what_is_short_names_the_first_day_and_what_expires_first_is_given_first():
    old, new = TODAY + timedelta(days=5), TODAY + timedelta(days=50)
    shelf = fold([came(1, lot="B", until=new), came(1, until=old)])
    (short,) = [a for a in alerts(shelf, STOCKED, TODAY, wants(20, 3, 21)) if a.sort is Sort.SHORT]

    assert (short.wanted, short.there, short.last) == (3, 2, TODAY + timedelta(days=21))
    assert [a.sort for a in alerts(shelf, STOCKED, TODAY, wants(3, 20))].count(Sort.SHORT) == 0


def test_an_expiring_lot_says_how_much_of_it_the_bookings_use():
    shelf = fold([came(4, until=TODAY + timedelta(days=20))])
    (soon,) = alerts(shelf, STOCKED, TODAY, wants(3, 4, 21))[1:]

    assert (soon.sort, soon.there, soon.wanted) == (Sort.EXPIRES_SOON, 4, 2)


def test_a_recalled_lot_and_another_place_cover_nothing():
    recall = Movement(Move.RECALLED, "pack", lot="A", reason="by the maker")

    assert outlook(fold([came(3), recall]), wants(1)).covers["desk", "pack"].covered == 0
    assert outlook(fold([came(3, "ward")]), wants(1)).covers["desk", "pack"].covered == 0


def test_of_two_products_that_would_do_the_other_is_taken_where_the_first_is_gone():
    other = replace(came(1), product="other")
    asked = [Wanted(TODAY, "desk", ("pack", "other"))] * 3
    found = outlook(fold([came(1), other]), asked)

    assert found.covers["desk", "pack"].covered == 2
    assert found.taken == {("desk", "pack", "A"): 1, ("desk", "other", "A"): 1}


@given(st.lists(st.integers(0, 6), max_size=4), st.lists(st.integers(0, 6), min_size=1, max_size=4))
def test_no_other_order_of_giving_covers_more(last_days, days):
    """Against every assignment of units to bookings, by brute force."""
    lots = [came(1, lot=f"L{n}", until=TODAY + timedelta(days=d)) for n, d in enumerate(last_days)]
    units = [*last_days, *[-1] * len(days)]
    best = max(
        sum(unit >= day for unit, day in zip(order, days, strict=False))
        for order in permutations(units, len(days))
    )

    assert outlook(fold(lots), wants(*days)).covers["desk", "pack"].covered == best
