"""The stock and its lots."""

from __future__ import annotations

from dataclasses import asdict
from datetime import datetime, tzinfo
from secrets import token_hex
from typing import Any
from urllib.parse import urlencode

from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_http_methods

from thimble.actions import Refused, move_stock
from thimble.ledger.stock.movements import Move, Movement, lot_of, read_expiry
from thimble.ledger.stock.shelf import fold
from thimble.people.lots import Match
from thimble.web import clock, log
from thimble.web.access import can, needs
from thimble.web.context import get_site, get_stock
from thimble.web.context import today as local_today
from thimble.web.desk.responding import sentence
from thimble.web.models import Account
from thimble.web.stock.page import MY_PLACE, TASKS, ShelfPage, line
from thimble.web.stock.scanning import filled
from thimble.web.stock.telling import standing
from thimble.web.stock.tracing import GivenLot, given_lot
from thimble.web.stock.words import last_day, product_name
from thimble.web.words import moment

KEPT = ("do", "place", "product")


@never_cache
@needs("keep_stock")
@require_http_methods(["GET", "POST"])
def shelf(request: HttpRequest) -> HttpResponse:
    """What is where, what to do about it, and one form that records what moved."""
    typed: dict[str, str] = request.GET.dict()
    fault = read = ""
    if request.method == "POST":
        typed = request.POST.dict()
        try:
            if typed.get("scan", "").strip():
                shelf_now, today = fold(get_stock().movements()), local_today()
                typed, read = filled(typed, shelf_now, get_site().stocked, today)
                # A scanner ends with Enter, before anybody can say how many came.
                moved = _record(request, typed) if typed.get("quantity", "").strip() else None
            else:
                moved = _record(request, typed)
        except (Refused, ValueError) as found:
            fault = sentence(found)
        else:
            if moved is None:
                return _shelf(request, typed, read=read)
            log.event("stock_" + moved.move.value, account=str(request.user.pk))
            kept = {key: typed[key] for key in KEPT if typed.get(key)}
            return redirect(f"{reverse('stock:shelf')}?{urlencode({**kept, 'done': moved.number})}")
    return _shelf(request, typed, fault=fault)


def _shelf(
    request: HttpRequest, typed: dict[str, str], *, fault: str = "", read: str = ""
) -> HttpResponse:
    site, now, movements = get_site(), clock.now(), get_stock().movements()
    names = _names()
    page = ShelfPage.of(
        movements, site.stocked, alerts=standing(movements, site, now), do=typed.get("do", ""),
        names=names, now=now, zone=site.zone,
    )  # fmt: skip
    typed.setdefault("place", request.session.get(MY_PLACE, ""))
    done = next((one for one in movements if str(one.number) == typed.get("done")), None)
    context = {
        "page": page,
        "tasks": TASKS,
        "stocked": site.stocked,
        "typed": typed,
        "fault": fault,
        "read": read,
        "done": line(done, site.stocked, names, now, site.zone) if done else None,
        "token": token_hex(16),
        "now": now,
        "may_trace": can(request, "trace_lot"),
    }
    return render(request, "stock/shelf.html", context, status=422 if fault else 200)


def _record(request: HttpRequest, typed: dict[str, str]) -> Movement:
    """Record what a form says.

    Raises:
        Refused, ValueError: sentences.
    """
    task = TASKS.get(typed.get("do", ""))
    if task is None:
        raise Refused("Say what happened: received, counted, moved or discarded.")
    movement = Movement(
        move=task.move,
        product=typed.get("product", ""),
        place="" if task.move is Move.LABELLED else typed.get("place", ""),
        lot=typed.get("lot", "") if task.lot else "",
        quantity=_whole(typed.get("quantity", "")) if task.number else 0,
        expires=read_expiry(typed.get("expires", "")) if task.expiry else None,
        to_place=typed.get("to_place", "") if task.to_place else "",
        reason=typed.get("reason", ""),
        gtin=typed.get("gtin", "") if task.move is Move.RECEIVED else "",
    )
    moved = move_stock(
        get_stock(), movement, stocked=get_site().stocked, now=clock.now(),
        by=str(request.user.pk), token=typed.get("token", "")[:64],
    )  # fmt: skip
    if movement.place:
        request.session[MY_PLACE] = movement.place
    return moved


def _whole(typed: str) -> int:
    text = typed.strip()
    if not text:
        raise ValueError("Enter how many, in digits, for example 4.")
    if not (text.isascii() and text.isdigit() and len(text) < 8):
        raise ValueError(f"Enter the number in digits, for example 4; found {typed!r}.")
    return int(text)


@never_cache
@needs("keep_stock", "trace_lot")
@require_http_methods(["GET", "POST"])
def lot(request: HttpRequest) -> HttpResponse:
    """One lot: what became of it, which cases were given it, its recall."""
    asked = request.POST if request.method == "POST" else request.GET
    product, number = asked.get("product", ""), lot_of(asked.get("lot", ""))
    site, now, stock = get_site(), clock.now(), get_stock()
    here = f"{reverse('stock:lot')}?{urlencode({'product': product, 'lot': number})}"
    fault = ""
    if request.method == "POST":
        try:
            move = Move.CLEARED if asked.get("do") == "cleared" else Move.RECALLED
            move_stock(
                stock,
                Movement(move, product, lot=number, reason=asked.get("reason", "")),
                stocked=site.stocked,
                now=now,
                by=str(request.user.pk),
            )
        except Refused as found:
            fault = sentence(found)
        else:
            log.event("lot_" + move.value, account=str(request.user.pk))
            return redirect(here)
    movements = stock.movements()
    kept = fold(movements)
    of_lot = [one for one in movements if (one.product, one.lot) == (product, number)]
    given = given_lot(product, number, movements, kept, site.stocked) if number else []
    if number:
        log.event("lot_traced", account=str(request.user.pk))
    names = _names()
    context: dict[str, Any] = {
        "product": product,
        "name": product_name(product, site.stocked),
        "lot": number,
        "stocked": site.stocked,
        "last": last_day(kept.expires(product, number)),
        "recalled": kept.recalled.get((product, number), ""),
        "lines": [line(one, site.stocked, names, now, site.zone) for one in reversed(of_lot)],
        "groups": [
            (
                id_,
                title,
                help_,
                [_told(each, now, site.zone) for each in given if each.match is id_],
            )
            for id_, (title, help_) in GROUPS.items()
        ],
        "fault": fault,
        "reason": asked.get("reason", ""),
    }
    return render(request, "stock/lot.html", context, status=422 if fault else 200)


GROUPS = {
    Match.SAME: ("This product", ""),
    Match.NOT_KNOWN: (
        "Product not known",
        "The lot has this number, and nobody wrote down which product it is, or not exactly enough. "
        "Look at each: until somebody knows, it counts as given.",
    ),
    Match.OTHER: (
        "Another product",
        "The lot has the same number, and what is on record is another product.",
    ),
}
"""Who was given a lot of this number, by what is known of the product."""


def _told(given: GivenLot, now: datetime, zone: tzinfo) -> dict[str, Any]:
    at = given.on or (moment(given.at, now, zone) if given.at else "")
    return {**asdict(given), "at": at}


def _names() -> dict[str, str]:
    return dict(Account.objects.values_list("pk", "display_name"))
