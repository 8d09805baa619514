"""A dose at the desk: the lots that can be given from, and the dose written with its movement."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import datetime

from django.http import HttpRequest, QueryDict

from thimble.actions import AgainstIt, Taken, give_from_stock
from thimble.actions.stock import against_lot
from thimble.clinical.saying import opening
from thimble.clinical.series.schedule import vaccine_name
from thimble.ledger.entries import Entry
from thimble.ledger.plan import TO_DO, Action, Plan
from thimble.ledger.stock.movements import lot_of
from thimble.ledger.stock.shelf import fold
from thimble.web import clock
from thimble.web.context import get_protocol, get_site, get_stock
from thimble.web.desk.questions import BadAnswer
from thimble.web.stock.page import MY_PLACE, PlaceOffers, offers


@dataclass(frozen=True, slots=True)
class Given:
    """A dose as a form says it; `taken` where it came off a shelf that is counted here.

    `days` are the days of a course that were handed out with it, 0 where none were or nobody said. `cvx` is
    which vaccine against hepatitis B it was, "" where it is none or nobody knows.
    """

    product: str
    amount: str
    batch: str
    days: int
    taken: Taken | None
    cvx: str = ""


VACCINES = ("43", "189", "220", "104", "44")
"""The products against hepatitis B that a grown-up is given, what is given most first."""


def vaccines_for(plan: Plan) -> Mapping[str, tuple[tuple[str, str], ...]]:
    """The products to choose from, for each dose of vaccine against hepatitis B."""
    of_series = get_protocol().named_actions.get("hepatitis_b_vaccine", ())
    offered = tuple((cvx, opening(vaccine_name(cvx))) for cvx in VACCINES)
    return {action.id: offered for action in plan.actions if action.id in of_series}


def lots_for(request: HttpRequest, plan: Plan) -> Mapping[str, tuple[PlaceOffers, ...]]:
    """What can be given from for each dose of a plan that is still to be given, by its action."""
    site = get_site()
    doses = [a.id for a in plan.actions if a.kind == "dose" and a.state in TO_DO]
    wanted = {a: products for a in doses if (products := site.stocked.for_action(a))}
    if not wanted:
        return {}
    shelf = fold(get_stock().movements())
    today = plan.now.astimezone(site.zone).date()
    first = request.session.get(MY_PLACE, "")
    return {
        action: offers(shelf, site.stocked, products, today, first=first)
        for action, products in wanted.items()
    }


def course_lots(request: HttpRequest, now: datetime) -> tuple[PlaceOffers, ...]:
    """What tablets for days to come can be handed out from."""
    site = get_site()
    products = [product for product in site.stocked.products if product.days]
    if not products:
        return ()
    today = now.astimezone(site.zone).date()
    first = request.session.get(MY_PLACE, "")
    return offers(fold(get_stock().movements()), site.stocked, products, today, first=first)


def taken_in(post: QueryDict) -> tuple[str, str, int, Taken | None]:
    """Product, batch, days of one unit, and the lot that a form says was taken, None for elsewhere."""
    product, batch, chosen = (post.get(key, "").strip() for key in ("product", "batch", "from"))
    if not chosen:
        return product, batch, 0, None
    place, _, rest = chosen.partition(":")
    id_, _, lot = rest.partition(":")
    kept = get_site().stocked.product(id_)
    name, days = (kept.name, kept.days) if kept else ("", 0)
    return product or name, lot_of(lot), days, Taken(place, id_, lot)


def given_in(post: QueryDict, action: Action) -> Given:
    """What a form says was given: typed by hand, or a lot that was chosen, whose words fill the gaps.

    Raises:
        BadAnswer: the days are no number; what was typed is not replaced by what a pack holds; or the
            vaccine is none of those offered.
    """
    product, batch, unit_days, taken = taken_in(post)
    amount, typed = post.get("amount", "").strip(), post.get("days", "").strip()
    if typed and not (typed.isascii() and typed.isdigit() and len(typed) < 4):
        raise BadAnswer("Enter the days in digits, for example 5.")
    days = int(typed) if typed else unit_days
    if taken is not None and not amount:
        kept = get_site().stocked.product(taken.product)
        amount = kept.amount if kept and kept.amount else action.amount
    cvx = _vaccine(post.get("cvx", "").strip(), action, taken)
    return Given(product or _words(cvx), amount, batch, days, taken, cvx)


def _vaccine(chosen: str, action: Action, taken: Taken | None) -> str:
    """Which vaccine it was: as chosen, else as the lot's product has it, if that is one alone."""
    if action.id not in get_protocol().named_actions.get("hepatitis_b_vaccine", ()):
        return ""
    if chosen:
        if chosen not in VACCINES:
            raise BadAnswer("Choose one of the vaccines, or leave it at not known.")
        return chosen
    kept = get_site().stocked.product(taken.product) if taken else None
    return kept.cvx[0] if kept is not None and len(kept.cvx) == 1 else ""


def _words(cvx: str) -> str:
    return f"Hepatitis B vaccine: {vaccine_name(cvx)}" if cvx else ""


def giving(
    request: HttpRequest, given: Given, action: str, record: Callable[[], list[Entry]]
) -> Callable[[], list[Entry]]:
    """The one write of a dose: with its movement where it came off a shelf.

    Raises (when called):
        AgainstIt: the lot is expired or recalled, and the form does not say that it was given.

    Args:
        action: the protocol's action that the dose does; "" for tablets for the days to come.
    """
    site, stock, now = get_site(), get_stock(), clock.now()
    today = now.astimezone(site.zone).date()
    anyway = request.POST.get("anyway") == "1"
    taken = given.taken

    def from_elsewhere() -> list[Entry]:
        wanted = site.stocked.for_action(action) if action else site.stocked.products
        products = [product.id for product in wanted]
        said = against_lot(stock, products, given.batch, today) if given.batch else ()
        if said and not anyway:
            raise AgainstIt([*said, "If it was given, say so below and record it again."])
        return record()

    def from_shelf(taken: Taken) -> list[Entry]:
        entries = give_from_stock(
            stock, taken, record, stocked=site.stocked, today=today, now=now,
            by=str(request.user.pk), anyway=anyway,
        )  # fmt: skip
        request.session[MY_PLACE] = taken.place
        return entries

    return from_elsewhere if taken is None else lambda: from_shelf(taken)
