"""A person, and what is documented of one, in days."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import date
from typing import Literal

from thimble.clinical.serology import Analyte

from .evidence import Declined, DoseGiven, Evidence, MarkerResult
from .infection import MARKERS, level_of, marker_state
from .schedule import UNKNOWN, products
from .walking import Given

_FIRST_OF_ALL = (1, 1)

Immunocompromised = Literal["yes", "no", "unknown"]


@dataclass(frozen=True, slots=True)
class Person:
    """Whom the evidence is of. `dialysis` asks for the schedules of people on dialysis."""

    birth_date: date
    exposure_prone: bool = False
    immunocompromised: Immunocompromised = "unknown"
    dialysis: bool = False


@dataclass(frozen=True, slots=True)
class Titre:
    """An anti-HBs; `level` is its place in LEVELS."""

    low: int
    high: int
    level: int


@dataclass(slots=True)
class Documented:
    """What is documented of one person, in days: each first and last day that it can have been.

    `markers` hold the place in MARKERS, both days and the place in STATES; `refused` first days only.
    """

    given: list[Given] = field(default_factory=list)
    serum: list[tuple[int, int]] = field(default_factory=list)
    titres: list[Titre] = field(default_factory=list)
    markers: list[tuple[int, int, int, int]] = field(default_factory=list)
    refused: list[int] = field(default_factory=list)
    contraindicated: bool = False


def documented(evidence: Iterable[Evidence], born: int, today: int) -> Documented:
    """Evidence in days.

    Raises:
        ValueError: evidence lies wholly before the birth or after the day asked for.
    """
    told = Documented()
    for item in evidence:
        low, high = _days(item, born, today)
        if isinstance(item, DoseGiven):
            cvx = item.cvx or UNKNOWN
            if products()[cvx].vaccine:
                told.given.append(Given(low, high, cvx))
            else:
                told.serum.append((low, high))
        elif isinstance(item, MarkerResult):
            if item.analyte is Analyte.ANTI_HBS:
                told.titres.append(Titre(low, high, level_of(item.word, item.quantity)))
            elif item.analyte in MARKERS:
                place = marker_state(item.analyte, item.word, item.quantity)
                told.markers.append((MARKERS.index(item.analyte), low, high, place))
        elif isinstance(item, Declined):
            told.refused.append(low)
        else:
            told.contraindicated = True
    return told


def _days(item: Evidence, born: int, today: int) -> tuple[int, int]:
    """The first and last day that it can have been, between birth and today; a day that nobody knows is
    before them."""
    if item.when is None:
        return _FIRST_OF_ALL
    low, high = item.when.first.toordinal(), item.when.last.toordinal()
    if high < born or low > today:
        what = "before the birth" if high < born else "after the day asked for"
        raise ValueError(f"Evidence of {item.when} lies {what}; correct the date.")
    return max(low, born), min(high, today)
