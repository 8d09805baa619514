"""Vaccines on the shelves: a dose at a session takes one, taking it back puts it back, bookings ask
for them; a recall finds every dose of the product; what a number on a package was said to be stays."""

from __future__ import annotations

import re
from datetime import date, time, timedelta
from pathlib import Path

import pytest
from django.db import DatabaseError, connection, transaction
from django.test import Client
from django.urls import reverse

from thimble.ledger.stock.movements import Move, Movement
from thimble.ledger.stock.shelf import Pile, fold
from thimble.people.lots import Match
from thimble.people.sessions import Session
from thimble.web import clock, context
from thimble.web.clinic.store import get_clinic
from thimble.web.context import get_site, get_stock
from thimble.web.models import ProductCode
from thimble.web.stock.demand import wanted
from thimble.web.stock.telling import shelf_alerts
from thimble.web.stock.tracing import given_lot

from .conftest import NIGHT, SITE
from .test_clinic_sheet import GTIN, MORNING, VACCINE, held, known, send
from .test_people import enrolled

pytestmark = pytest.mark.django_db
SHELVES = """
[[stock_places]]
id = "house_c"
name = "House C, refrigerator"
[[stock_places]]
id = "house_a"
name = "House A"
[[stock_products]]
id = "hepb"
name = "Hepatitis B vaccine"
unit = "syringe"
gives = ["hbv_vaccine_dose"]
expiry_lead_days = 30
cvx = ["43"]
[[stock_products]]
id = "mmr"
name = "MMR vaccine"
unit = "vial"
expiry_lead_days = 30
cvx = ["03"]
"""
OTHER_GTIN = "04012345678901"


@pytest.fixture(autouse=True)
def _shelves(_site: None, tmp_path: Path) -> object:
    (tmp_path / "site.toml").write_text(SITE + SHELVES, encoding="utf-8")
    context.forget()
    with clock.standing_at(MORNING):
        yield


def planned(day: date = date(2026, 3, 3), **more: object) -> int:
    told = {"stock_place": "house_c", "capacity": 9, **more}
    session = Session(0, day, time(9), time(12), "House C", "vaccination", slot_minutes=10, **told)  # type: ignore[arg-type]
    return get_clinic().add_sessions([session], by="u-nurse", now=NIGHT)[0]


@pytest.fixture
def session() -> int:
    return planned()


@pytest.fixture
def person(nurse: Client) -> str:
    return enrolled(nurse)


def put(product: str = "hepb", **more: object) -> None:
    told = {"place": "house_c", "lot": "A12", "quantity": 2, "expires": date(2026, 12, 31), **more}
    get_stock().append([Movement(Move.RECEIVED, product, **told)], by="u", now=NIGHT)  # type: ignore[arg-type]


def pile(product: str = "hepb", lot: str = "A12", place: str = "house_c") -> Pile:
    return fold(get_stock().movements()).piles.get((place, product, lot), Pile(place, product, lot))


def dose(nurse: Client, session: int, person: str, product: str = "43", lot: str = "A12") -> str:
    """With everything answered that is asked first."""
    return send(
        nurse, session, do="dose", open=person, product=product, lot=lot, asked="no", lot_given=lot
    )


def test_a_dose_takes_one_off_the_shelf_of_its_session(
    nurse: Client, session: int, person: str
) -> None:
    put()
    known()
    send(nurse, session, VACCINE)
    assert "vaccines from: House C, refrigerator" in nurse.get(f"/clinic/{session}/").text
    send(nurse, session, open=person)

    assert (pile().there, pile().given) == (1, 1)
    moved = get_stock().movements()[-1]
    (given,) = held(person).evidence
    assert (moved.case, moved.entry, moved.gtin) == (person, given.entry, GTIN)
    page = nurse.get(reverse("stock:shelf")).text
    assert f'href="/people/{person}/"' in page
    assert "Brindle" not in page


def test_taking_a_dose_back_puts_it_back_once(nurse: Client, session: int, person: str) -> None:
    put()
    dose(nurse, session, person)
    (given,) = held(person).evidence
    for _ in range(2):
        nurse.post(f"/clinic/{session}/undo/{person}/{given.entry}")

    assert (pile().there, pile().given) == (2, 0)
    assert [m.move for m in get_stock().movements()] == [
        Move.RECEIVED, Move.GIVEN, Move.PUT_BACK,
    ]  # fmt: skip


def test_withdrawing_a_dose_in_the_file_puts_it_back(
    nurse: Client, session: int, person: str
) -> None:
    put()
    dose(nurse, session, person)
    (given,) = held(person).evidence
    nurse.post(f"/people/{person}/withdraw/{given.entry}", {"reason": "another person's"})

    assert held(person).evidence == ()
    assert pile().there == 2


def test_a_dose_that_is_refused_takes_nothing(nurse: Client, session: int, person: str) -> None:
    put()
    dose(nurse, session, person)
    assert "on record for today already" in dose(nurse, session, person)

    assert pile().there == 1


def test_a_lot_that_is_not_in_stock_is_written_down_and_the_stock_says_so(
    nurse: Client, session: int, person: str
) -> None:
    assert "is written down" in dose(nurse, session, person, lot="Z9")

    page = nurse.get(reverse("stock:shelf")).text
    assert (
        "House C, refrigerator: 1 syringe of Hepatitis B vaccine, lot Z9, given without being in stock"
        in page
    )
    put(lot="Z9")
    assert "without being in stock" not in nurse.get(reverse("stock:shelf")).text
    assert pile(lot="Z9").there == 1


def test_a_lot_that_is_not_on_the_shelf_is_said_at_once_and_asked_once(
    nurse: Client, session: int, person: str
) -> None:
    put(lot="QM-52")
    put(lot="OLD", expires=date(2026, 3, 2))
    put(lot="ELSEWHERE", place="house_a")
    said = "Lot A12 of Hepatitis B, adult is not on this shelf; there is QM-52."
    known()
    send(nurse, session, VACCINE)
    shown = nurse.get(f"/clinic/{session}/?open={person}").text
    assert said in shown
    # The tick is at hand only once it is needed: a scanner still finds its box.
    assert re.search(r'id="scan"[^>]*autofocus', shown)
    refused = send(nurse, session, open=person)
    assert said in refused
    assert re.search(r'id="lot_given"[^>]*autofocus', refused)
    assert refused.count("autofocus") == 1
    # A tick for another lot says nothing about this one.
    send(nurse, session, open=person, lot_given="QM-52")
    assert held(person).evidence == ()
    assert "is written down" in send(nurse, session, open=person, lot_given="A12")
    assert held(person).evidence[0].body["lot"] == "A12"

    second, third = (enrolled(nurse, number=n, family_name=f"Ash{n}") for n in ("2", "3"))
    assert "is written down" in send(nurse, session, open=second)
    page = send(nurse, session, do="dose", open=third, product="43", lot="B1")
    assert "Lot B1 of Hepatitis B, adult is not on this shelf; there is QM-52." in page
    # At another session it is asked anew.
    again = planned()
    page = send(nurse, again, do="dose", open=third, product="43", lot="A12")
    assert said in page
    assert held(third).evidence == ()


def test_where_none_lies_that_is_said_and_nothing_of_a_lot_that_lies_there(
    nurse: Client, session: int, person: str
) -> None:
    sent = {"do": "dose", "open": person, "product": "43", "lot": "A12"}
    assert "is not on this shelf; there is none of it." in send(nurse, session, **sent)
    put(quantity=1)
    assert "is written down" in send(nurse, session, **sent)
    # One that is used up by the record lies there no more.
    other = enrolled(nurse, number="2", family_name="Ash2")
    assert "there is none of it." in send(nurse, session, **{**sent, "open": other})


@pytest.mark.parametrize(("place", "product"), [("", "43"), ("house_c", "115"), ("gone", "43")])
def test_what_is_not_counted_there_moves_nothing(
    nurse: Client, person: str, place: str, product: str
) -> None:
    dose(nurse, planned(stock_place=place), person, product=product)

    assert len(held(person).evidence) == 1
    assert get_stock().movements() == []


def test_of_two_products_of_one_code_the_one_whose_lot_lies_there_is_taken(
    nurse: Client, session: int, person: str, tmp_path: Path
) -> None:
    second = SHELVES.split("[[stock_products]]")[1].replace('"hepb"', '"hepb_b"')
    (tmp_path / "site.toml").write_text(f"{SITE}{SHELVES}[[stock_products]]{second}", "utf-8")
    context.forget()
    put("hepb_b")
    dose(nurse, session, person)

    assert (pile("hepb_b").there, pile("hepb").there) == (1, 0)


# -- a recall -----------------------------------------------------------------------------------------


def recalled(product: str = "hepb", lot: str = "A12") -> None:
    get_stock().append(
        [Movement(Move.RECALLED, product, lot=lot, reason="cold chain")], by="u", now=NIGHT
    )


def test_a_recalled_lot_of_another_product_is_given(
    nurse: Client, session: int, person: str
) -> None:
    recalled("mmr")
    assert "is written down" in dose(nurse, session, person)

    recalled("hepb", "B1")
    assert "Lot B1 was recalled: cold chain. Take another." in dose(
        nurse, session, enrolled(nurse, number="2", family_name="Ash2"), lot="b1"
    )


def test_a_recalled_lot_is_refused_where_the_product_in_hand_is_not_known(
    nurse: Client, session: int
) -> None:
    recalled("mmr")

    assert "Lot A12 of MMR vaccine was recalled: cold chain. Nobody can say here" in send(
        nurse, session, VACCINE
    )


def test_a_package_of_the_number_that_came_is_that_product_whatever_it_is_called(
    nurse: Client, session: int, person: str
) -> None:
    put(gtin=GTIN)
    recalled()
    known("115")

    assert "Lot A12 was recalled" in send(nurse, session, VACCINE)


def test_a_recall_finds_every_dose_and_says_of_which_the_product_is_not_known(
    nurse: Client, session: int
) -> None:
    people = [enrolled(nurse, number=str(n), family_name=f"Ash{n}") for n in range(5)]
    dose(nurse, session, people[0])
    dose(nurse, session, people[1], product="03")
    card = {"rows": "8", "product-1": "45", "when-1": "14.2.2026", "lot-1": "a12"}
    assert nurse.post(f"/people/{people[2]}/card", card).status_code == 302
    unknown = {**card, "product-1": "?", "against-1": "hepatitis_b"}
    answer = nurse.post(f"/people/{people[3]}/card", unknown)
    dose(nurse, session, people[4], lot="A121")

    movements = get_stock().movements()
    found = given_lot("hepb", "a12", movements, fold(movements), get_site().stocked)
    sorted_out = {each.reference: each.match for each in found}
    assert sorted_out[people[0]] is Match.SAME
    assert sorted_out[people[1]] is Match.OTHER
    assert sorted_out[people[2]] is Match.NOT_KNOWN
    assert people[4] not in sorted_out
    page = nurse.get(reverse("stock:lot"), {"product": "hepb", "lot": "A12"}).text
    assert page.index("This product") < page.index(people[0]) < page.index("Product not known")
    assert page.index("Product not known") < page.index(people[2]) < page.index("Another product")
    assert page.index("Another product") < page.index(people[1])
    assert answer.status_code == 302
    assert sorted_out[people[3]] is Match.NOT_KNOWN


def test_a_dose_that_was_taken_back_is_not_traced(nurse: Client, session: int, person: str) -> None:
    put()
    dose(nurse, session, person)
    (given,) = held(person).evidence
    nurse.post(f"/clinic/{session}/undo/{person}/{given.entry}")

    movements = get_stock().movements()
    assert given_lot("hepb", "A12", movements, fold(movements), get_site().stocked) == []


# -- what arrives ------------------------------------------------------------------------------------


def scan(nurse: Client, **typed: str) -> str:
    sent = {"do": "received", "place": "house_c", "product": "mmr", "token": "t", **typed}
    return nurse.post(reverse("stock:shelf"), sent, follow=True).content.decode()


def test_a_package_is_scanned_then_counted(nurse: Client) -> None:
    known()
    page = scan(nurse, scan=VACCINE)
    assert "Read. Now enter how many came." in page
    assert '<option value="hepb" selected>' in page
    assert get_stock().movements() == []

    scan(nurse, product="hepb", lot="A12", expires="2026-12-31", gtin=GTIN, quantity="5")
    (came,) = get_stock().movements()
    assert (came.product, came.lot, came.quantity, came.gtin) == ("hepb", "A12", 5, GTIN)
    assert came.expires == date(2026, 12, 31)


def test_a_number_that_nobody_knows_chooses_no_product(nurse: Client) -> None:
    page = scan(nurse, scan=VACCINE)
    assert "Read. Now choose the product, enter how many came." in page
    assert "selected" not in page.split('name="product"')[1].split("</select>")[0]

    refused = scan(nurse, product="", lot="A12", expires="2026-12-31", quantity="5", gtin=GTIN)
    assert "Choose one of the products" in refused
    scan(nurse, lot="A12", expires="2026-12-31", gtin=GTIN, quantity="5", token="u")
    # From now on it is known by what came.
    assert '<option value="mmr" selected>' in scan(nurse, scan=VACCINE, product="hepb")


def test_what_is_no_code_is_said_and_what_was_typed_stays(nurse: Client) -> None:
    page = scan(nurse, scan="0105060917510012", lot="B7")
    assert "The product number in this code is damaged" in page
    assert 'value="B7"' in page


# -- which product a number is ---------------------------------------------------------------------


def test_what_a_number_was_said_to_be_stays_when_it_is_set_right(
    nurse: Client, session: int, person: str
) -> None:
    known("03")
    send(nurse, session, VACCINE)
    send(nurse, session, open=person, asked="no", lot_given="A12")
    answer = nurse.post(reverse("clinic:codes"), {"gtin": GTIN, "product": "43"}, follow=True)

    assert "Hepatitis B, adult from now on" in answer.text
    assert "Before: Measles, mumps, rubella (MMR), said by u-nurse on Tue 3 Mar 2026" in answer.text
    assert "said by Colleague on" in answer.text
    assert len(held(person).evidence) == 1
    assert f'set right what is wrong: <a href="/people/{person}/"' in answer.text
    assert [row.cvx for row in ProductCode.objects.filter(gtin=GTIN)] == ["43", "03"]
    again = nurse.post(reverse("clinic:codes"), {"gtin": GTIN, "product": "43"})
    assert again.status_code == 422
    assert ProductCode.objects.count() == 2


@pytest.mark.parametrize(
    ("gtin", "product", "said"),
    [(GTIN, "no such", "Say which product it is"), (OTHER_GTIN, "43", "never scanned here")],
)
def test_a_number_is_only_said_to_be_a_product_that_there_is(
    nurse: Client, gtin: str, product: str, said: str
) -> None:
    known()
    answer = nurse.post(reverse("clinic:codes"), {"gtin": gtin, "product": product})

    assert answer.status_code == 422
    assert said in answer.text


@pytest.mark.parametrize(
    "statement", ["UPDATE web_productcode SET cvx = '03'", "DELETE FROM web_productcode"]
)
def test_the_database_refuses_to_change_what_was_said(statement: str) -> None:
    known()
    with (
        pytest.raises(DatabaseError, match="append only"),
        transaction.atomic(),
        connection.cursor() as cursor,
    ):
        cursor.execute(statement)


# -- what the bookings ask for ------------------------------------------------------------------------


def booked(nurse: Client, session: int, person: str, at: str = "0910") -> None:
    answer = nurse.post(f"/clinic/for/{person}", {"time": f"{session}-{at}"})
    assert answer.status_code == 302


def asked() -> list[tuple[date, tuple[str, ...]]]:
    return [(each.day, each.products) for each in wanted(get_site(), clock.now())]


def test_who_is_booked_asks_for_what_is_due_on_the_day(nurse: Client, person: str) -> None:
    first, second = planned(date(2026, 3, 10)), planned(date(2026, 3, 17))
    booked(nurse, first, person)
    booked(nurse, second, person)

    # One MMR is against three of the diseases; the second doses are not due a week later.
    assert asked() == [(date(2026, 3, 10), ("mmr",)), (date(2026, 3, 10), ("hepb",))]
    later = planned(date(2026, 4, 14))
    booked(nurse, later, person)
    assert [(day, p) for day, p in asked() if day > date(2026, 3, 10)] == [
        (date(2026, 4, 14), ("mmr",)), (date(2026, 4, 14), ("hepb",)),
    ]  # fmt: skip


def test_bookings_that_ask_nothing_of_a_shelf(nurse: Client, person: str) -> None:
    other = enrolled(nurse, number="2", family_name="Ash2")
    booked(nurse, planned(date(2026, 3, 10), stock_place=""), person)
    off = planned(date(2026, 3, 17))
    booked(nurse, off, person)
    nurse.post(f"/clinic/{off}/call-off")
    assert asked() == []

    today = planned()
    booked(nurse, today, other)
    assert asked() != []
    dose(nurse, today, other)
    assert asked() == []


def test_what_is_short_for_the_bookings_is_told(nurse: Client) -> None:
    ahead = planned(date(2026, 3, 10))
    for number, at in enumerate(("0910", "0920"), 1):
        booked(nurse, ahead, enrolled(nurse, number=str(number), family_name=f"Ash{number}"), at)
    put(quantity=1)
    put("mmr", quantity=2, lot="M1", expires=date(2026, 3, 9))
    said = shelf_alerts(clock.now())

    assert (
        "House C, refrigerator: the bookings ask for 2 syringes of Hepatitis B vaccine, and 1 can be "
        "given: short from Tue 10 Mar 2026."
    ) in said
    assert any("2 vials of MMR vaccine, and none can be given" in each for each in said)
    put(lot="A13", quantity=1)
    put("mmr", lot="M2", expires=date(2026, 3, 10))
    after = shelf_alerts(clock.now())
    assert not any("bookings ask" in each for each in after)
    assert clock.now() - timedelta(days=1) < NIGHT + timedelta(hours=6)


def test_a_session_is_made_with_its_shelf(nurse: Client) -> None:
    form = nurse.get(reverse("clinic:new")).text
    assert "Vaccines are taken from" in form
    typed = {
        "purpose": "vaccination", "day": "2026-03-10", "opens": "09:00", "closes": "12:00",
        "place": "House C", "slot_minutes": "10", "capacity": "1", "stock_place": "house_a",
    }  # fmt: skip
    assert nurse.post(reverse("clinic:new"), {**typed, "stock_place": "attic"}).status_code == 422
    assert nurse.post(reverse("clinic:new"), typed).status_code == 302
    (made,) = get_clinic().between(date(2026, 3, 10))
    assert made.stock_place == "house_a"
    assert '<option value="house_a" selected>' in nurse.get(reverse("clinic:new")).text
