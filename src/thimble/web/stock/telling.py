"""What other pages tell of the stock."""

from __future__ import annotations

from datetime import datetime

from thimble.ledger.stock.alerts import alerts
from thimble.ledger.stock.shelf import fold
from thimble.web.context import get_site, get_stock
from thimble.web.stock.words import alert_words


def shelf_alerts(now: datetime) -> tuple[str, ...]:
    """What is to be done about stock, what presses most first; nothing where no stock is kept."""
    site = get_site()
    if not site.stocked.places:
        return ()
    found = alerts(fold(get_stock().movements()), site.stocked, now.astimezone(site.zone).date())
    return tuple(alert_words(alert, site.stocked) for alert in found)
