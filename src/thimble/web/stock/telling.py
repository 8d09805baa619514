"""What other pages tell of the stock."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime

from thimble.clinical.site import Site
from thimble.ledger.stock.alerts import Alert, alerts
from thimble.ledger.stock.movements import Movement
from thimble.ledger.stock.shelf import fold
from thimble.web.context import get_site, get_stock
from thimble.web.stock.demand import wanted
from thimble.web.stock.words import alert_words


def standing(movements: Sequence[Movement], site: Site, now: datetime) -> list[Alert]:
    """What is to be done about stock, what presses most first, the bookings ahead taken into account."""
    today = now.astimezone(site.zone).date()
    return alerts(fold(movements), site.stocked, today, wanted(site, now))


def shelf_alerts(now: datetime) -> tuple[str, ...]:
    """What is to be done about stock in words; nothing where no stock is kept."""
    site = get_site()
    if not site.stocked.places:
        return ()
    found = standing(get_stock().movements(), site, now)
    return tuple(alert_words(alert, site.stocked) for alert in found)
