"""Stock at the desk and on its page: a dose and its unit are one write; a first dose is never blocked."""

from __future__ import annotations

import re
import threading
from collections.abc import Callable
from datetime import date, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from django.db import DatabaseError, connection, connections
from django.test import Client
from django.urls import reverse

from thimble import actions
from thimble.actions import AgainstIt, MemoryStock, Refused, Taken, give_from_stock, move_stock
from thimble.clinical.site import SiteError, parse_site
from thimble.clinical.vocabulary import VOCABULARY
from thimble.ledger.entries import Kind
from thimble.ledger.stock.movements import Move, Movement, StockStore
from thimble.ledger.stock.shelf import fold
from thimble.ledger.store import MemoryStore
from thimble.web import context
from thimble.web.context import get_site, get_stock, get_store
from thimble.web.models import StockMovement
from thimble.web.roles import GRANTED, Role

from .conftest import NIGHT, SITE

pytestmark = pytest.mark.django_db
SignIn = Callable[[Role], Client]
TODAY = date(2026, 3, 3)
SHELVES = """
[[stock_places]]
id = "desk"
name = "Emergency department"
[[stock_places]]
id = "house_c"
name = "Occupational medicine"
[[stock_products]]
id = "starter"
name = "Starter pack"
unit = "pack"
gives = ["hiv_pep_first_dose"]
days = 5
amount = "1 tablet"
expiry_lead_days = 60
"""
NEEDLE: dict[str, Any] = {
    "route": "percutaneous", "fluid": "blood", "device": "hollow_bore_needle",
    "source_hiv": "positive", "source_hiv_load": "detectable", "worker_hiv": "negative",
}  # fmt: skip


@pytest.fixture(autouse=True)
def _shelves(_site: None, tmp_path: Path) -> None:
    (tmp_path / "site.toml").write_text(SITE + SHELVES, encoding="utf-8")
    context.forget()


def put(move: Move = Move.RECEIVED, store: StockStore | None = None, **more: Any) -> Movement:
    given = {"place": "desk", "lot": "A1", "quantity": 1, **more}
    if move is Move.RECEIVED:
        given.setdefault("expires", date(2027, 1, 31))
    return move_stock(
        store or get_stock(), Movement(move, "starter", **given),
        stocked=get_site().stocked, now=NIGHT, by="u-9",
    )  # fmt: skip


def new_case(store: Any = None, at: datetime = NIGHT) -> str:
    return actions.report(
        store or get_store(), facts=NEEDLE, occurred_at=at - timedelta(hours=1),
        occurred_at_precision="minute", vocabulary=VOCABULARY, now=at,
    ).case  # fmt: skip


def give(client: Client, case: str, position: int = 1, **typed: str) -> Any:
    return client.post(
        reverse("desk:done", args=[case]),
        {"action": "hiv_pep_first_dose", "position": position, "when": "now", **typed},
    )


def test_choosing_a_lot_writes_the_dose_and_takes_it_off_the_shelf(signed_in: SignIn):
    put(quantity=2)
    case, client = new_case(), signed_in(Role.EMERGENCY_CLINICIAN)

    desk = client.get(reverse("desk:case", args=[case]), {"do": "hiv_pep_first_dose"})
    page = desk.content.decode()
    assert "Lot A1, until the end of 01/2027, 2 there" in page
    assert give(client, case, **{"from": "desk:starter:A1"}).status_code == 302

    dose = get_store().entries(case)[-1]
    assert dose.kind is Kind.DOSE_GIVEN
    assert dose.body == {
        "action": "hiv_pep_first_dose", "product": "Starter pack", "amount": "1 tablet",
        "batch": "A1", "days": 5,
    }  # fmt: skip
    moved = get_stock().movements()[-1]
    assert (moved.move, moved.case, moved.entry) == (Move.GIVEN, case, dose.position)
    assert fold(get_stock().movements()).piles["desk", "starter", "A1"].there == 1


def test_a_second_tap_takes_no_second_pack(signed_in: SignIn):
    put(quantity=2)
    case, client = new_case(), signed_in(Role.EMERGENCY_CLINICIAN)

    for _ in range(2):
        assert give(client, case, **{"from": "desk:starter:A1"}).status_code == 302

    assert len(get_store().entries(case)) == 2
    assert fold(get_stock().movements()).piles["desk", "starter", "A1"].there == 1


@pytest.mark.parametrize("days", ["3 days", "three", "-3", "3.5", "1000", "³"])
def test_days_that_are_no_number_are_asked_again_and_not_taken_from_the_pack(
    signed_in: SignIn, days: str
):
    """A pack of five days of which three went home covers three."""
    put()
    case, client = new_case(), signed_in(Role.EMERGENCY_CLINICIAN)

    refused = give(client, case, **{"from": "desk:starter:A1", "days": days})
    assert refused.status_code == 422
    assert "Enter the days in digits" in refused.content.decode()
    assert len(get_store().entries(case)) == 1
    assert give(client, case, **{"from": "desk:starter:A1", "days": "3"}).status_code == 302
    assert get_store().entries(case)[-1].body["days"] == 3


def test_a_dose_from_elsewhere_needs_no_stock(signed_in: SignIn):
    case, client = new_case(), signed_in(Role.EMERGENCY_CLINICIAN)

    assert give(client, case, product="From the ward's drawer", batch="zz 9").status_code == 302
    assert get_store().entries(case)[-1].body["batch"] == "zz 9"
    assert not get_stock().movements()


@pytest.mark.parametrize(
    "typed", [{"from": "desk:starter:A1"}, {"product": "a pack", "batch": "a1"}]
)
@pytest.mark.parametrize("why", ["recalled", "expired"])
def test_a_lot_that_should_not_be_given_is_refused_in_a_sentence_and_recorded_if_it_was(
    signed_in: SignIn, typed: dict[str, str], why: str
):
    put(expires=TODAY - timedelta(days=why == "expired"))
    if why == "recalled":
        put(Move.RECALLED, place="", quantity=0, reason="the maker said so")
    case, client = new_case(), signed_in(Role.EMERGENCY_CLINICIAN)

    refused = give(client, case, **typed)
    said = {"recalled": "Lot A1 was recalled: the maker said so", "expired": "that day has passed"}
    assert refused.status_code == 422
    assert said[why] in refused.content.decode()
    assert "It was given all the same" in refused.content.decode()
    assert len(get_store().entries(case)) == 1

    assert give(client, case, **typed, anyway="1").status_code == 302
    assert get_store().entries(case)[-1].kind is Kind.DOSE_GIVEN


def test_a_lot_on_its_last_day_is_given(signed_in: SignIn):
    put(expires=TODAY)
    case = new_case()

    assert (
        give(signed_in(Role.EMERGENCY_CLINICIAN), case, **{"from": "desk:starter:A1"}).status_code
        == 302
    )


def test_a_dose_that_was_overtaken_takes_nothing_off_the_shelf(signed_in: SignIn):
    put()
    case, client = new_case(), signed_in(Role.EMERGENCY_CLINICIAN)
    actions.note(get_store(), case, "in between", now=NIGHT, by="u-1", role="nurse")

    assert give(client, case, **{"from": "desk:starter:A1"}).status_code == 409
    assert fold(get_stock().movements()).piles["desk", "starter", "A1"].there == 1


def test_a_movement_that_cannot_be_written_leaves_no_dose_behind():
    put()
    case, stock = new_case(), get_stock()

    def fails(*_: Any, **__: Any) -> None:
        raise DatabaseError("the disk is full")

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(type(stock), "append", fails)
        with pytest.raises(DatabaseError):
            give_from_stock(
                stock, Taken("desk", "starter", "A1"), lambda: dose(case),
                stocked=get_site().stocked, today=TODAY, now=NIGHT, by="u-1",
            )  # fmt: skip

    assert len(get_store().entries(case)) == 1


def dose(case: str, store: Any = None) -> Any:
    return actions.give_dose(
        store or get_store(), case, "hiv_pep_first_dose", product="Starter pack", batch="A1",
        now=NIGHT, by="u-1", role="emergency_clinician", expected_position=1,
    )  # fmt: skip


@pytest.mark.usefixtures("append_only_db")
def test_two_desks_give_the_last_pack_both_doses_are_recorded_and_the_shelf_says_so():
    put()
    cases = [new_case(), new_case()]
    gate = threading.Barrier(2)
    failed: list[BaseException] = []

    def give_it(case: str) -> None:
        try:
            gate.wait()
            give_from_stock(
                get_stock(), Taken("desk", "starter", "A1"), lambda: dose(case),
                stocked=get_site().stocked, today=TODAY, now=NIGHT, by="u-1",
            )  # fmt: skip
        except BaseException as error:
            failed.append(error)
        finally:
            connections.close_all()

    threads = [threading.Thread(target=give_it, args=(case,)) for case in cases]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()

    assert failed == []
    assert all(get_store().entries(case)[-1].kind is Kind.DOSE_GIVEN for case in cases)
    assert fold(get_stock().movements()).piles["desk", "starter", "A1"].there == -1


@pytest.mark.usefixtures("append_only_db")
@pytest.mark.parametrize("statement", ["UPDATE {} SET quantity = 9", "DELETE FROM {}"])
def test_the_database_refuses_to_change_a_movement(statement: str):
    put()

    with pytest.raises(DatabaseError), connection.cursor() as cursor:
        cursor.execute(statement.format(StockMovement._meta.db_table))
    assert StockMovement.objects.get().quantity == 1


# -- the page ----------------------------------------------------------------------------------------


def posted(client: Client, **typed: str) -> Any:
    given = {"place": "desk", "product": "starter", "lot": "b7", **typed}
    return client.post(reverse("stock:shelf"), given)


def test_a_form_sent_twice_counts_once_and_the_place_is_kept(signed_in: SignIn):
    client = signed_in(Role.OCCUPATIONAL_NURSE)

    for _ in range(2):
        answer = posted(client, do="received", quantity="4", expires="2026-11", token="f00d")

    assert answer.status_code == 302
    assert "place=desk" in answer.url
    (kept,) = get_stock().movements()
    assert (kept.lot, kept.quantity, kept.expires) == ("B7", 4, date(2026, 11, 30))


@pytest.mark.parametrize(
    ("typed", "said"),
    [
        ({"do": "received", "quantity": "four", "expires": "2026-11"}, "in digits"),
        ({"do": "received", "quantity": " ", "expires": "2026-11"}, "Enter how many, in digits"),
        ({"do": "received", "quantity": "4", "expires": "11/26"}, "2027-11, meaning its last day"),
        ({"do": "counted", "quantity": "4", "place": "attic"}, "places of this site"),
        ({"do": "discarded", "quantity": "1"}, "Say why"),
        ({"do": "moved", "quantity": "1"}, "which other place"),
        ({"do": "given", "quantity": "1"}, "Say what happened"),
    ],
)  # fmt: skip
def test_what_cannot_be_is_said_and_what_was_typed_stays(
    signed_in: SignIn, typed: dict[str, str], said: str
):
    answer = posted(signed_in(Role.OCCUPATIONAL_NURSE), **typed)

    assert answer.status_code == 422
    assert said in answer.content.decode()
    assert 'value="b7"' in answer.content.decode()
    assert not get_stock().movements()


def test_a_lot_has_one_expiry_until_its_label_is_set_right(signed_in: SignIn):
    client = signed_in(Role.OCCUPATIONAL_NURSE)
    posted(client, do="received", quantity="4", expires="2026-11")

    other = posted(client, do="received", quantity="1", expires="2027-11")
    assert "is on record with the last usable day 2026-11-30" in other.content.decode()
    assert posted(client, do="labelled", expires="2027-11").status_code == 302
    assert fold(get_stock().movements()).expires("starter", "B7") == date(2027, 11, 30)


def test_the_worklist_tells_those_who_can_act(signed_in: SignIn):
    put(Move.LEVEL, lot="", quantity=2)

    page = signed_in(Role.EMERGENCY_CLINICIAN).get(reverse("worklist:worklist")).content.decode()
    assert "Emergency department: none left of Starter pack; at least 2 should be there." in page


def test_a_recall_lists_the_cases_by_reference_whatever_road_the_lot_took(signed_in: SignIn):
    put(quantity=3)
    shelf_case, typed_case, other = new_case(), new_case(), new_case()
    client = signed_in(Role.OCCUPATIONAL_PHYSICIAN)
    give(client, shelf_case, **{"from": "desk:starter:A1"})
    give(client, typed_case, product="pack from the ward", batch=" a1")
    give(client, other, product="another", batch="A11")

    answer = client.post(
        reverse("stock:lot"),
        {"product": "starter", "lot": "A1", "do": "recalled", "reason": "glass in the box"},
        follow=True,
    ).content.decode()

    assert "glass in the box" in answer
    listed = re.findall(r'class="stock-case" href="/case/([^/]+)/"', answer)
    assert sorted(listed) == sorted([shelf_case, typed_case])


def test_a_dose_that_was_withdrawn_leaves_its_case_on_the_list_to_be_looked_at(signed_in: SignIn):
    put()
    case, client = new_case(), signed_in(Role.OCCUPATIONAL_PHYSICIAN)
    give(client, case, **{"from": "desk:starter:A1"})
    actions.correct(
        get_store(), case, 2, reason="written in the wrong case", withdrawn=True,
        vocabulary=VOCABULARY, now=NIGHT, by="u-1", role="nurse",
    )  # fmt: skip

    page = client.get(reverse("stock:lot"), {"product": "starter", "lot": "A1"}).content.decode()
    assert case in page
    assert "no dose with this lot stands there: look" in page


@pytest.mark.parametrize("role", list(Role))
def test_only_those_who_may_trace_see_which_cases_got_a_lot(signed_in: SignIn, role: Role):
    answer = signed_in(role).get(reverse("stock:lot"), {"product": "starter", "lot": "A1"})

    assert answer.status_code == (200 if "trace_lot" in GRANTED[role] else 403)
    assert ("trace_lot" in GRANTED[role]) == (
        role in (Role.OCCUPATIONAL_NURSE, Role.OCCUPATIONAL_PHYSICIAN)
    )


NEVER_VACCINATED = {
    "source_hbsag": "positive", "worker_hbv_series": "none", "worker_hbv_infection": "none_known",
}  # fmt: skip


def test_a_dose_says_which_vaccine_it_was_by_choice_or_by_its_lot(
    signed_in: SignIn, tmp_path: Path
):
    vaccine = SHELVES.replace('"starter"', '"hepb"').split("[[stock_products]]")[1]
    vaccine = vaccine.replace("hiv_pep_first_dose", "hbv_vaccine_dose").replace("days = 5\n", "")
    text = f'{SITE}{SHELVES}[[stock_products]]{vaccine}cvx = ["189"]\n'
    (tmp_path / "site.toml").write_text(text, encoding="utf-8")
    context.forget()
    received = Movement(
        Move.RECEIVED, "hepb", place="desk", lot="V1", quantity=2, expires=date(2027, 1, 31)
    )
    move_stock(get_stock(), received, stocked=get_site().stocked, now=NIGHT, by="u-9")
    client = signed_in(Role.OCCUPATIONAL_PHYSICIAN)
    chosen, of_lot, unknown, wrong = (
        actions.report(
            get_store(), facts={**NEEDLE, **NEVER_VACCINATED},
            occurred_at=NIGHT - timedelta(hours=1), occurred_at_precision="minute",
            vocabulary=VOCABULARY, now=NIGHT,
        ).case
        for _ in range(4)
    )  # fmt: skip

    def given(case: str, **typed: str) -> Any:
        return client.post(
            reverse("desk:done", args=[case]),
            {"action": "hbv_vaccine_dose", "position": 1, "when": "now", **typed},
        )

    assert "Adjuvanted (CpG), two-dose product" in client.get(f"/case/{chosen}/").text
    assert given(chosen, cvx="189").status_code == 302
    given(of_lot, **{"from": "desk:hepb:V1"})
    given(unknown, product="a vaccine")
    assert "Choose one of the vaccines" in given(wrong, product="a vaccine", cvx="999").text

    bodies = [get_store().entries(case)[-1].body for case in (chosen, of_lot, unknown)]
    assert [body.get("cvx") for body in bodies] == ["189", "189", None]
    assert bodies[0]["product"] == "Hepatitis B vaccine: adjuvanted (CpG), two-dose product"
    assert len(get_store().entries(wrong)) == 1
    assert (
        "Vaccine: adjuvanted (CpG), two-dose product."
        in client.get(f"/case/{chosen}/history/").text
    )


# -- stores and settings -----------------------------------------------------------------------------


@pytest.mark.parametrize("stock", [MemoryStock, context.DjangoStock])
def test_both_stores_keep_movements_in_order_and_know_a_token_again(
    stock: Callable[[], StockStore],
):
    kept = stock()
    first = kept.append(
        [Movement(Move.COUNTED, "starter", "desk", "A", 1)], by="u", now=NIGHT, token="x"
    )
    again = kept.append(
        [Movement(Move.COUNTED, "starter", "desk", "A", 1)], by="u", now=NIGHT, token="x"
    )
    kept.append([Movement(Move.COUNTED, "starter", "desk", "B", 2)], by="u", now=NIGHT)

    assert first == again
    assert [(m.number, m.lot, m.at) for m in kept.movements()] == [(1, "A", NIGHT), (2, "B", NIGHT)]


def test_a_lot_against_which_something_is_known_is_refused_before_anything_is_written():
    ledger, stock = MemoryStore(), MemoryStock()
    case = new_case(ledger)
    put(store=stock, expires=TODAY - timedelta(days=1))
    taken = Taken("desk", "starter", "A1")

    with pytest.raises(AgainstIt):
        give_from_stock(
            stock, taken, lambda: dose(case, ledger), stocked=get_site().stocked, today=TODAY,
            now=NIGHT, by="u-1",
        )  # fmt: skip
    with pytest.raises(Refused, match="not on the shelves"):
        give_from_stock(
            stock, Taken("attic", "starter", "A1"), lambda: dose(case, ledger),
            stocked=get_site().stocked, today=TODAY, now=NIGHT, by="u-1",
        )  # fmt: skip
    assert len(ledger.entries(case)) == 1


PLACE = {"id": "desk", "name": "Desk"}
PRODUCT = {"id": "pack", "name": "Pack", "unit": "pack", "expiry_lead_days": 30}


@pytest.mark.parametrize(
    ("places", "products", "said"),
    [
        ([PLACE, PLACE], [PRODUCT], "names each id once"),
        ([PLACE], [], "name both or neither"),
        ([{**PLACE, "id": "De sk"}], [PRODUCT], "is small letters"),
        ([PLACE], [{**PRODUCT, "days": -1}], "is a whole number of days"),
        ([PLACE], [{**PRODUCT, "days": True}], "is a whole number of days"),
        ([PLACE], [{**PRODUCT, "colour": "red"}], "is not a key here"),
        ([PLACE], [{**PRODUCT, "cvx": ["43", "hepb"]}], "is a list of CVX codes"),
        ([PLACE], [{k: v for k, v in PRODUCT.items() if k != "expiry_lead_days"}], "is missing"),
    ],
)
def test_faults_in_the_settings_of_stock_are_told(places: Any, products: Any, said: str):
    import tomllib

    settings = {**tomllib.loads(SITE), "stock_places": places, "stock_products": products}

    with pytest.raises(SiteError, match=said):
        parse_site(settings)
