"""What a manager is told: a name if the physician shows one, the decision, the review. No more."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date

from thimble.clinical.saying import calendar_day
from thimble.clinical.site import Site
from thimble.ledger.fitness import FitnessDecision

SHOWN: Mapping[str, str] = {
    "none": "no name",
    "initials": "initials",
    "name": "the full name",
}
"""How the worker is named to whoever has the address."""

ASK = "Ask occupational medicine."
"""All that an address tells which tells nothing (any more)."""


@dataclass(frozen=True, slots=True)
class Told:
    """The page. `name` is "" where none is shown; `late` says that the day of review is over."""

    name: str
    decision: str
    review: str
    late: bool
    phone: str
    invented: bool


def told(decision: FitnessDecision, site: Site, today: date, *, name: str, shown: str) -> Told:
    """What is told of a decision on a day of the site's calendar.

    Args:
        name: the worker's full name, or "" where it is not known.
        shown: an id of `SHOWN`.
    """
    return Told(
        name=_as_shown(name, shown),
        decision=decision.words,
        review=calendar_day(decision.review_on) if decision.review_on else "",
        late=decision.review_on is not None and decision.review_on < today,
        phone=site.occupational_medicine.phone,
        invented=site.invented,
    )


def _as_shown(name: str, shown: str) -> str:
    """
    >>> [_as_shown("Zoë van Sampleworth", shown) for shown in ("name", "initials", "none")]
    ['Zoë van Sampleworth', 'Z. V. S.', '']
    """
    if shown == "name":
        return name
    if shown == "initials":
        return " ".join(f"{part[0].upper()}." for part in name.split())
    return ""
