"""By when a law wants a vaccine to be offered (`protocols/offers`), and the day that this makes."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from datetime import date, timedelta
from functools import cache

from thimble.clinical.library import SHIPPED
from thimble.clinical.where_to_go import public_holiday

FOLDER = "offers"
_SATURDAY = 5


@dataclass(frozen=True, slots=True)
class OfferLaw:
    """What a jurisdiction asks: within how many working days of the first one, which is not counted. `told`
    are the words in which somebody is offered the vaccine."""

    jurisdiction: str
    disease: str
    working_days: int
    words: str
    declined: str
    told: str
    source: str
    declined_source: str
    told_source: str
    standing: str


@cache
def offer_law(protocol: str) -> OfferLaw | None:
    """The law that goes with a site's protocol; None where none is known."""
    path = SHIPPED / FOLDER / f"{protocol}.toml"
    if not path.is_file():
        return None
    told = tomllib.loads(path.read_text(encoding="utf-8"))
    return OfferLaw(**{name: told[name] for name in OfferLaw.__dataclass_fields__})


def last_day(start: date, working_days: int, country: str, subdivision: str = "") -> date:
    """The last day of so many working days; `start` is not counted.

    Mondays to Fridays are worked but for public holidays. That a department is closed on other days
    makes no time longer that a law has set.

    >>> last_day(date(2025, 3, 3), 10, "US").isoformat()
    '2025-03-17'
    """
    day, left = start, working_days
    while left:
        day += timedelta(days=1)
        left -= day.weekday() < _SATURDAY and not public_holiday(country, subdivision, day)
    return day
