"""A session as it is worked through: scan a vaccine, scan a person, press Enter; next.

One form, one box. An empty box and Enter writes down what is in hand for whoever is open. Everything works
as plain forms, without a scanner and without JavaScript.
"""

from __future__ import annotations

import time
from typing import Any

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.urls import reverse
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_GET, require_POST

from thimble.actions import Refused, giving
from thimble.actions import clinic as acts
from thimble.actions import people as people_acts
from thimble.actions.stock import settle, vaccine_unit
from thimble.exchange.gs1 import NotRead, looks_like_gs1, read_vaccine
from thimble.ledger.store import Overtaken
from thimble.people.entries import Kind
from thimble.people.products import Product, find_product, named_product
from thimble.people.sessions import CAME, Session
from thimble.web import clock, log
from thimble.web.access import account_of, can, needs
from thimble.web.clinic import codes, inhand
from thimble.web.clinic.labels import number_for, owner_of, read_number
from thimble.web.clinic.sheet_page import may_decide, person_here, show
from thimble.web.clinic.store import get_clinic
from thimble.web.clinic.to_give import confirm_lot, lot_to_confirm, product_named, to_give
from thimble.web.clinic.views import find_session, wall
from thimble.web.context import get_people, get_people_identities, get_site, get_stock
from thimble.web.people.forms import clean_text

READ_AT_LEAST = 1.0
"""Seconds between showing whoever was opened and an Enter that writes a dose down for them."""
TWICE = "That Enter came at once, as from a scanner that sends two: look whom it is for, then press Enter"
SAY_WHY = "Something speaks against this dose: say why it is given, and tick that you decide it."
PHYSICIAN = (
    "What speaks against this dose only a physician decides about: a physician must write it."
)
OVERTAKEN = "Somebody else wrote in this file meanwhile. Look at what is new, then once more."


@never_cache
@needs("view_people", "edit_people")
@require_GET
def sheet(request: HttpRequest, session: int) -> HttpResponse:
    """The session: everybody who is booked, by time or by name, and whoever is open."""
    return show(request, find_session(session), request.GET.get("open", ""))


@never_cache
@needs("view_people", "edit_people")
@require_POST
def scan(request: HttpRequest, session: int) -> HttpResponse:
    """What was scanned, typed or pressed."""
    found = find_session(session)
    opened, do = request.POST.get("open", ""), request.POST.get("do", "scan")
    text = clean_text(request.POST.get("scan", "").replace("\x1d", "|"))[:200]
    try:
        if do == "put_away":
            inhand.put_away(request)
            return _to(session, opened)
        if do in {"came", "missed"}:
            acts.mark_came(get_clinic(), session, opened, do)
            return _to(session)
        if do == "dose":
            return _dose(request, found, opened)
        if do == "sample":
            return _sample(request, found, opened, clean_text(request.POST.get("sample", "")))
        if opened and not text and _at_once(request.POST.get("shown", "")):
            raise NotRead(TWICE)
        return _scanned(request, found, opened, text)
    except giving.SpokenAgainst as refused:
        may = may_decide(request, refused.found)
        return show(
            request, found, opened, fault=SAY_WHY if may else PHYSICIAN, against=refused.found
        )
    except NotRead as refused:
        return show(request, found, opened, fault=str(refused))
    except Refused as refused:
        return show(
            request, found, opened, fault=" ".join(f"{f.rstrip('.')}." for f in refused.faults)
        )
    except Overtaken:
        return show(request, found, opened, fault=OVERTAKEN)


def _at_once(shown: str) -> bool:
    """Whether the page was shown too shortly ago for anybody to have read it. By the machine's own clock:
    how long a person takes has nothing to do with the day that the site writes down."""
    number = shown.isascii() and shown.isdecimal() and len(shown) < 20
    return number and 0 <= time.time() - int(shown) / 1000 < READ_AT_LEAST


@needs("view_people", "edit_people")
@require_POST
def undo(request: HttpRequest, session: int, person: str, entry: int) -> HttpResponse:
    """Take back a dose or a sample of today."""
    find_session(session)
    try:
        with get_people().transaction():
            kind = giving.undo(get_people(), person, entry, today=wall().date(), **_writer(request))
            settle(get_stock(), person, entry, None, by=account_of(request).pk, now=clock.now())
    except people_acts.NoSuchPerson as missing:
        raise Http404(str(missing)) from missing
    except Refused as refused:
        messages.error(request, " ".join(f"{f}." for f in refused.faults))
    else:
        log.event("clinic_undone", case=person, account=account_of(request).pk, entry=entry)
        what = "dose" if kind is Kind.DOSE_RECORDED else "sample"
        messages.success(request, f"The {what} is taken back. It stays in the history.")
    return _to(session, person)


@needs("view_people", "edit_people")
@require_POST
def name_code(request: HttpRequest, session: int) -> HttpResponse:
    """Say which product a number on a package is; it is known from then on."""
    found = find_session(session)
    opened = request.POST.get("open", "")
    held = inhand.in_hand(request, session)
    product = product_named(request.POST.get("product", ""))
    if held is None or product is None:
        return show(
            request, found, opened, fault="Say which product it is: a CVX code or its name."
        )
    codes.say(held.gtin, product, by=account_of(request).pk, now=clock.now())
    log.event("product_code_named", account=account_of(request).pk)
    return _to(session, opened)


# --- what was scanned -----------------------------------------------------------------------------


def _scanned(request: HttpRequest, found: Session, opened: str, text: str) -> HttpResponse:
    if not text:
        held = inhand.in_hand(request, found.id)
        if opened and held is not None:
            return _dose(request, found, opened)
        if opened and found.purpose == "sample":
            return _sample(request, found, opened, "")
        raise Refused(
            "Scan a person or a vaccine" if not opened else "Scan a vaccine, or choose below"
        )
    if looks_like_gs1(text):
        held = inhand.take(request, found.id, read_vaccine(text, wall().date()))
        try:
            _fit_to_give(held)
        except Refused:
            inhand.put_away(request)
            raise
        return _to(found.id, opened)
    if (number := read_number(text)) is not None:
        owner = owner_of(number)
        if owner is None:
            raise Refused(f"No label with the number {number} was printed here")
        if opened and opened != owner:
            raise Refused(f"Label {number} is another person's. Put it away, and check who is here")
        return _sample(request, found, owner, number) if opened else _to(found.id, owner)
    return _typed(request, found, opened, text)


def _typed(request: HttpRequest, found: Session, opened: str, text: str) -> HttpResponse:
    """A person by their code or number, else a product as it is typed on a card."""
    try:
        return _to(found.id, people_acts.read_person(text))
    except ValueError:
        known = get_people_identities().of_number(text)
    meant = find_product(text)
    if len(known) == 1:
        if meant and named_product(text):
            messages.info(
                request,
                f"{text} is this person’s number: they are opened. For the vaccine {meant[0].name} "
                "type its name, or the code under Product.",
            )
        return _to(found.id, next(iter(known)))
    if known:
        raise Refused(f"{len(known)} people have the number {text}: open one from the list")
    if len(meant) == 1:
        inhand.take_typed(request, found.id, meant[0])
        return _to(found.id, opened)
    if meant:
        several = "; ".join(f"{p.cvx} {p.name}" for p in meant[:5])
        raise Refused(f"Which product? {several}. Type the code")
    raise Refused("This is no code of a person, vaccine or sample, and nobody has this number")


def _fit_to_give(held: inhand.InHand) -> None:
    if held.expires is not None and held.expires < wall().date():
        last = held.expires.isoformat()
        raise Refused(
            f"Lot {held.lot} could be used until {last}; that day has passed. Put it away"
        )
    if said := inhand.recalled(held.lot, held.product, held.gtin):
        raise Refused(f"{said}. Put it away")


def _dose(request: HttpRequest, found: Session, opened: str) -> HttpResponse:
    person, identity = person_here(request, opened)
    given = to_give(request, found.id)
    product, lot, gtin = given.product, given.lot, given.gtin
    if product is None:
        raise Refused("Say which product is given: scan it, or type a CVX code or a name")
    recalled = inhand.recalled(lot, product, gtin)
    unconfirmed = lot_to_confirm(request, found, given, wall().date())
    if unconfirmed and not recalled and request.POST.get("lot_given") != lot:
        raise Refused(f"{unconfirmed}. Take one that is, or tick that it is the lot given")
    reason = clean_text(request.POST.get("reason", ""))[:500] if request.POST.get("anyway") else ""
    with get_people().transaction():
        entry = giving.give_dose(
            get_people(), person.reference, product,
            lot=lot, gtin=gtin, expires=given.expires, where=found.place, session=found.id,
            recalled=recalled, asked=given.asked,
            born=identity.birth_date, protocol=get_site().protocol,
            anyway=reason, as_physician=can(request, "depart"), today=wall().date(), **_writer(request),
        )  # fmt: skip
        _off_the_shelf(request, found, person.reference, entry.position, product, lot, gtin)
        _came(found.id, person.reference)
    if unconfirmed:
        confirm_lot(request, found, product, lot)
    log.event(
        "clinic_dose", case=person.reference, account=account_of(request).pk, entry=entry.position
    )
    messages.success(request, f"{identity.name}: {product.name}, lot {lot}, is written down.")
    return _to(found.id)


def _sample(request: HttpRequest, found: Session, opened: str, typed: str) -> HttpResponse:
    person, identity = person_here(request, opened)
    number = read_number(typed) if typed else None
    if typed and (number is None or owner_of(number) != person.reference):
        raise Refused(f"{typed} is no label that was printed for this person")
    checked = request.POST.get("identified", "")
    with get_people().transaction():
        if number is None:
            # The label that was printed for today's sample is the one that is stuck on.
            used = {sample.number for sample in person.samples}
            number = number_for(
                person.reference, found.id, used, by=account_of(request).pk, now=clock.now()
            )
        giving.take_sample(
            get_people(), person.reference, number,
            identified="yes" if checked == "yes" else "not_known", session=found.id,
            today=wall().date(), **_writer(request),
        )  # fmt: skip
        _came(found.id, person.reference)
    log.event("clinic_sample", case=person.reference, account=account_of(request).pk)
    messages.success(request, f"{identity.name}: sample {number} is written down.")
    return _to(found.id)


def _off_the_shelf(
    request: HttpRequest,
    found: Session,
    person: str,
    entry: int,
    product: Product,
    lot: str,
    gtin: str,
) -> None:
    """The shelf that the session's vaccines come from has one less."""
    stock = get_stock()
    unit = vaccine_unit(stock, get_site().stocked, found.stock_place, product.cvx, lot, gtin)
    settle(stock, person, entry, unit, by=account_of(request).pk, now=clock.now())


def _came(session: int, person: str) -> None:
    """Whoever gets something came; who is not booked came all the same."""
    if any(b.person == person for b in get_clinic().of_session(session)):
        acts.mark_came(get_clinic(), session, person, CAME)


def _writer(request: HttpRequest) -> dict[str, Any]:
    account = account_of(request)
    return {"now": clock.now(), "by": account.pk, "role": account.role}


def _to(session: int, opened: str = "") -> HttpResponse:
    path = reverse("clinic:session", args=[session])
    return redirect(f"{path}?open={opened}#scan" if opened else path)
