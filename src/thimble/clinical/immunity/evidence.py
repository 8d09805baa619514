"""What is documented of one person beside hepatitis B: doses, tests, past diseases, what stands against.

Days are ordinals: the first and the last day that a date allows. What has no date keeps None and is never
counted for certain.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date

from thimble.clinical.series import PartialDate

Days = tuple[int, int]
"""The first and the last day that it can have been."""


@dataclass(frozen=True, slots=True)
class Given:
    """One dose of vaccine; `product` is its CVX code or None, `entry` where it is written down."""

    entry: int
    product: str | None
    diseases: tuple[str, ...]
    days: Days | None


@dataclass(frozen=True, slots=True)
class Tested:
    """One result; `word` is `positive`, `negative`, `indeterminate`, or None for a bare number."""

    entry: int
    test: str
    word: str | None
    days: Days | None


@dataclass(frozen=True, slots=True)
class Past:
    """A past disease and what it rests on: `laboratory`, `clinician` or `person`."""

    entry: int
    disease: str
    basis: str
    days: Days | None


@dataclass(frozen=True, slots=True)
class Against:
    """A refusal (`what` is `vaccine` or `test`) or a contraindication (`what` is None) that stands."""

    entry: int
    disease: str
    what: str | None
    since: int


@dataclass(slots=True)
class Documented:
    """Everything; `passed_over` are entries that lie before the birth or after the day asked for."""

    doses: list[Given] = field(default_factory=list)
    tests: list[Tested] = field(default_factory=list)
    past: list[Past] = field(default_factory=list)
    against: list[Against] = field(default_factory=list)
    passed_over: list[int] = field(default_factory=list)


def days_of(when: str | None, born: int | None, on: int) -> Days | None:
    """The days that a date as written allows, between birth and the day asked for; None without a date.

    Raises:
        ValueError: none is left: it lies before the birth or after the day asked for.

    >>> days_of("2019-03", None, date(2026, 3, 2).toordinal()) == (
    ...     date(2019, 3, 1).toordinal(), date(2019, 3, 31).toordinal())
    True
    """
    if when is None:
        return None
    known = PartialDate.parse(when)
    low, high = known.first.toordinal(), min(known.last.toordinal(), on)
    if born is not None:
        low = max(low, born)
    if low > high:
        raise ValueError(f"{when} lies before the birth or after {date.fromordinal(on)}")
    return low, high
