"""Support for the worker: at which moments it is to be offered, and what the worker said."""

from __future__ import annotations

import tomllib
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import UTC, datetime, time
from functools import cache

from thimble.clinical.library import SHIPPED
from thimble.ledger.situation import Situation

SOURCE_POSITIVE = {
    "source_hiv": "positive",
    "source_hbsag": "positive",
    "source_hcv_rna": "positive",
}
"""Facts that are heavy news for the worker, whatever the plan makes of them."""


@dataclass(frozen=True, slots=True)
class Moment:
    """A moment at which support is offered: its id is the `action` of the entry that answers it."""

    id: str
    when: str
    words: str


@dataclass(frozen=True, slots=True)
class Offering:
    """What is asked, at which moments, and on whose word."""

    ask: str
    source: str
    moments: tuple[Moment, ...]


@cache
def offering() -> Offering:
    """The shipped moments (`protocols/reaching/support.toml`), read once.

    Raises:
        ValueError: a moment begins with something that nothing here can tell.
    """
    read = tomllib.loads((SHIPPED / "reaching" / "support.toml").read_text(encoding="utf-8"))
    moments = tuple(Moment(one["id"], one["when"], one["words"]) for one in read["moments"])
    if odd := [moment.when for moment in moments if moment.when not in _CAME]:
        raise ValueError(f"support.toml: when is one of {', '.join(_CAME)}; found {odd[0]!r}")
    return Offering(read["ask"], read["source"], moments)


def due_offer(situation: Situation) -> Moment | None:
    """The last moment that has come since support was last offered; None where there is none.

    One offer answers for all that had come by then: nobody is asked three times for one talk. A closed
    case asks for nothing.
    """
    if situation.closed_at is not None:
        return None
    last = max((at for at, _, _ in situation.follow_up.answers), default=None)
    come = [
        (at, place, moment)
        for place, moment in enumerate(offering().moments)
        if (at := _CAME[moment.when](situation)) is not None and (last is None or at > last)
    ]
    return max(come, key=lambda each: each[:2])[2] if come else None


def _source_was_positive(situation: Situation) -> datetime | None:
    found = [
        situation.facts[fact].known_at
        for fact, value in SOURCE_POSITIVE.items()
        if fact in situation.facts and situation.facts[fact].value == value
    ]
    return max((at for at in found if at is not None), default=None)


def _visit_was_missed(situation: Situation) -> datetime | None:
    missed = situation.follow_up.missed
    return datetime.combine(max(missed), time(), tzinfo=UTC) if missed else None


_CAME: Mapping[str, Callable[[Situation], datetime | None]] = {
    "reported": lambda situation: situation.reported_at,
    "source_positive": _source_was_positive,
    "visit_missed": _visit_was_missed,
}
"""When a moment came, aware; None while it has not."""
