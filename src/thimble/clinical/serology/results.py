"""One result of the laboratory as it stands, and which of its versions counts."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum
from typing import Literal

from thimble.clinical.durations import aware
from thimble.clinical.saying import unit

from .analytes import Analyte, measures

Of = Literal["worker", "source"]


class Word(StrEnum):
    """What the laboratory says of a marker. Reactive and detected are `positive`."""

    POSITIVE = "positive"
    NEGATIVE = "negative"
    INDETERMINATE = "indeterminate"


class Status(StrEnum):
    """How far the laboratory stands by a result."""

    PRELIMINARY = "preliminary"
    FINAL = "final"
    CORRECTED = "corrected"
    RETRACTED = "retracted"


class Against(StrEnum):
    """How a number stands to the laboratory's own reference range."""

    ABOVE = "above"
    NOT_ABOVE = "not_above"


_RANK = {Status.PRELIMINARY: 0, Status.FINAL: 1, Status.CORRECTED: 2, Status.RETRACTED: 2}
"""A preliminary copy never displaces a final one, nor a copy of it a correction, however late it comes."""

COMPARATORS = ("<", "<=", "=", ">=", ">")


def label_key(number: str) -> str:
    """A number on a label or a request as it is compared: without blanks, in capitals.

    Unlike the number of a person (`people.names.number_key`), its hyphens count.
    """
    return "".join(number.split()).upper()


@dataclass(frozen=True, slots=True)
class Quantity:
    """A number with what the laboratory put before it, in a UCUM unit."""

    number: float
    unit: str
    comparator: str = "="

    def __post_init__(self) -> None:
        """Refuse what no laboratory can mean."""
        if self.comparator not in COMPARATORS:
            raise ValueError(
                f"A comparator is one of {' '.join(COMPARATORS)}; found {self.comparator!r}"
            )
        if isinstance(self.number, bool) or not math.isfinite(self.number):
            raise ValueError(f"A result's number is finite; found {self.number!r}")

    def __str__(self) -> str:
        """As people read it: `<10 mIU/mL`."""
        sign = "" if self.comparator == "=" else self.comparator
        return f"{sign}{self.number:.15g} {unit(self.unit)}".strip()


@dataclass(frozen=True, slots=True)
class Result:
    """One version of one result.

    Versions of one result share `of`, `analyte`, `request`, `specimen` and `sample`. `taken_at` is when
    the blood was drawn (None: not known), `reported_at` when the laboratory issued this version.
    `as_sent` is the laboratory's own text, kept for people and never searched. `against_range` is what the
    laboratory says of a number against its own range (None: it does not say). `identity_doubt` is the
    reason why it may be another person's, or "".
    """

    analyte: Analyte
    of: Of
    status: Status
    taken_at: datetime | None
    reported_at: datetime
    word: Word | None = None
    quantity: Quantity | None = None
    as_sent: str = ""
    request: str = ""
    specimen: str = ""
    sample: str = ""
    identity_doubt: str = ""
    against_range: Against | None = None

    def __post_init__(self) -> None:
        """Instants with their zone; a value, unless the result was taken back."""
        aware(self.reported_at, "The instant of the report")
        if self.taken_at is not None:
            aware(self.taken_at, "The instant of the sample")
        if self.of not in ("worker", "source"):
            raise ValueError(f"A result is of the worker or of the source; found {self.of!r}")
        if self.word is None and self.quantity is None and self.status is not Status.RETRACTED:
            raise ValueError(
                f"A result of {self.analyte.value} has a word or a number; found neither. "
                "A result that is only awaited is not a result"
            )

    @property
    def key(self) -> tuple[str, ...]:
        """What versions of one result share."""
        return (self.of, self.analyte.value, self.request, self.specimen, self.sample)

    @property
    def name(self) -> str:
        """As sentences call it."""
        return measures()[self.analyte].name

    @property
    def value(self) -> tuple[object, ...]:
        """What it says: two versions with one value say the same."""
        return (
            self.word, self.quantity, self.taken_at, self.identity_doubt, self.against_range,
        )  # fmt: skip

    @property
    def place(self) -> str:
        """Which blood it was: "specimen S-12", or the best number there is."""
        for label, number in (
            ("specimen", self.specimen), ("sample", self.sample), ("request", self.request),
        ):  # fmt: skip
            if number:
                return f"{label} {number}"
        return "no specimen number"


@dataclass(frozen=True, slots=True)
class Current:
    """What counts of many versions: at most one of each result.

    `settled` are final or corrected. `preliminary` wait for their final version. `retracted` say
    nothing any more. `conflicting` are versions of one result that contradict each other without being
    marked as a correction: none of them counts.
    """

    settled: tuple[Result, ...] = ()
    preliminary: tuple[Result, ...] = ()
    retracted: tuple[Result, ...] = ()
    conflicting: tuple[Result, ...] = ()


def current(results: Iterable[Result], at: datetime | None = None) -> Current:
    """Which versions count, of those reported by `at`; the order of arrival does not matter.

    A correction replaces, a retraction removes; of two corrections the one issued later counts, and of
    a correction and a retraction issued at one instant the retraction. A copy of an older version never
    displaces a correction, even when it is issued again later. Final versions that differ without being
    marked as a correction are `conflicting`.

    Raises:
        ValueError: `at` has no time zone.
    """
    moment = None if at is None else aware(at, "The instant of reading")
    versions: dict[tuple[str, ...], list[Result]] = {}
    for result in results:
        if moment is None or result.reported_at <= moment:
            versions.setdefault(result.key, []).append(result)
    kinds: dict[str, list[Result]] = {k: [] for k in ("settled", "preliminary", "retracted", "odd")}
    for found in versions.values():
        top = max(_RANK[v.status] for v in found)
        best = [v for v in found if _RANK[v.status] == top]
        if top != _RANK[Status.FINAL]:
            # Later versions are meant to differ from earlier ones; only the last counts.
            last = max(v.reported_at for v in best)
            best = [v for v in best if v.reported_at == last]
            taken_back = [v for v in best if v.status is Status.RETRACTED]
            best = taken_back or best
        if best[0].status is not Status.RETRACTED and len({v.value for v in best}) > 1:
            kinds["odd"] += best
            continue
        # Copies that say the same: which one is kept must not depend on the order of arrival.
        one = min(best, key=_order)
        kind = {Status.PRELIMINARY: "preliminary", Status.RETRACTED: "retracted"}
        kinds[kind.get(one.status, "settled")].append(one)
    return Current(*(tuple(sorted(kinds[k], key=_order)) for k in kinds))


def _order(result: Result) -> tuple[object, ...]:
    taken = result.taken_at.timestamp() if result.taken_at else -math.inf
    quantity = result.quantity
    return (
        taken,
        result.key,
        result.reported_at.timestamp(),
        result.status.value,
        result.word or "",
        (quantity.number, quantity.comparator, quantity.unit) if quantity else (0.0, "", ""),
        result.as_sent,
        result.identity_doubt,
        result.against_range or "",
    )
