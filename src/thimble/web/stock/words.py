"""Stock in words: units, days, alerts."""

from __future__ import annotations

from calendar import monthrange
from datetime import date

from thimble.clinical.saying import calendar_day, counted
from thimble.clinical.stocked import Stocked
from thimble.ledger.stock.alerts import Alert, Sort


def last_day(day: date | None) -> str:
    """The last usable day as a label has it: a month where it is the last day of one."""
    if day is None:
        return "expiry not on record"
    if day.day == monthrange(day.year, day.month)[1]:
        return f"until the end of {day:%m/%Y}"
    return f"until {day.day} {day:%b %Y}"


def product_name(product: str, stocked: Stocked) -> str:
    """A product's name; an id that the settings no longer hold stays readable."""
    found = stocked.product(product)
    return found.name if found else product.replace("_", " ")


def unit_of(product: str, stocked: Stocked) -> str:
    """What a product is counted in."""
    found = stocked.product(product)
    return found.unit if found else "unit"


def place_name(place: str, stocked: Stocked) -> str:
    """A place's name; an id that the settings no longer hold stays readable."""
    found = stocked.place(place)
    return found.name if found else place.replace("_", " ")


def alert_words(alert: Alert, stocked: Stocked) -> str:
    """What is so and what to do, in one sentence."""
    what = product_name(alert.product, stocked)
    where = place_name(alert.place, stocked)
    there = counted(max(0, alert.there), unit_of(alert.product, stocked))
    match alert.sort:
        case Sort.NONE_LEFT:
            return f"{where}: none left of {what}; at least {alert.minimum} should be there."
        case Sort.LOW:
            return f"{where}: {there} left of {what}; at least {alert.minimum} should be there."
        case Sort.NOT_RECEIVED:
            return (
                f"{where}: {counted(-alert.there, unit_of(alert.product, stocked))} of {what}, lot "
                f"{alert.lot}, given without being in stock: receive the lot, or count it."
            )
        case Sort.SHORT:
            wanted = counted(alert.wanted, unit_of(alert.product, stocked))
            since = f": short from {calendar_day(alert.last)}" if alert.last else ""
            able = alert.there or "none"
            return (
                f"{where}: the bookings ask for {wanted} of {what}, and {able} can be given{since}."
            )
        case Sort.COUNT:
            return (
                f"{where}: count {what}, lot {alert.lot}. By the record {-alert.there} more left "
                "than came."
            )
        case Sort.RECALLED:
            return f"{where}: take away {there} of {what}, lot {alert.lot}: the lot is recalled."
        case Sort.EXPIRED:
            return f"{where}: take away {there} of {what}, lot {alert.lot}: expired."
        case Sort.EXPIRES_SOON:
            booked = f" The bookings use {alert.wanted} of it." if alert.wanted else ""
            return (
                f"{where}: {there} of {what}, lot {alert.lot}, can be used {last_day(alert.last)}."
                f"{booked}"
            )
