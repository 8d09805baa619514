"""Support for the worker: at which moments it is to be offered, and what the worker said."""

from __future__ import annotations

import tomllib
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import cache

from thimble.clinical.library import SHIPPED
from thimble.ledger.plan import Situation

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
    if odd := [moment.when for moment in moments if moment.when not in _HAS_COME]:
        raise ValueError(f"support.toml: when is one of {', '.join(_HAS_COME)}; found {odd[0]!r}")
    return Offering(read["ask"], read["source"], moments)


def due_offers(situation: Situation) -> tuple[Moment, ...]:
    """The moments that have come and at which nobody has recorded an offer; none of a closed case."""
    if situation.closed_at is not None:
        return ()
    answered = {action for _, action, _ in situation.follow_up.answers}
    return tuple(
        moment
        for moment in offering().moments
        if moment.id not in answered and _HAS_COME[moment.when](situation)
    )


def _source_is_positive(situation: Situation) -> bool:
    return any(
        fact in situation.facts and situation.facts[fact].value == value
        for fact, value in SOURCE_POSITIVE.items()
    )


_HAS_COME: Mapping[str, Callable[[Situation], bool]] = {
    "reported": lambda _: True,
    "source_positive": _source_is_positive,
    "visit_missed": lambda situation: bool(situation.follow_up.missed),
}
