"""The sources of a rule: `KEY: place`, several parted by `; `."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Cited:
    """A source of a rule: its key in the protocol, where in it, and the full citation."""

    key: str
    locator: str
    citation: str


def places(cell: str) -> tuple[tuple[str, str], ...]:
    """The pairs of key and place that a cell of sources names; a place that is missing is ""."""
    parted = (part.partition(":") for part in cell.split("; ") if part)
    return tuple((key.strip(), locator.strip()) for key, _, locator in parted)


def cited(cell: str, sources: Mapping[str, str]) -> tuple[Cited, ...]:
    """The sources of a rule that was read, each with its citation.

    Raises:
        KeyError: a key that the protocol does not hold; reading refuses such a rule.

    >>> cited("LAW: 3; LAW: 4", {"LAW": "The harbour law"})[1].locator
    '4'
    """
    return tuple(Cited(key, locator, sources[key]) for key, locator in places(cell))
