"""What somebody who did not respond to the vaccine is told, read from `protocols/clearance`."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from functools import cache

from .schedule import FOLDER

FILE = "counselling.toml"


@dataclass(frozen=True, slots=True)
class Point:
    """One thing to be told, with its source and how well that is known."""

    id: str
    words: str
    source: str
    standing: str


@dataclass(frozen=True, slots=True)
class Counselling:
    """`settles` is the next step of the clearance tables that asks for it."""

    settles: str
    points: tuple[Point, ...]


@cache
def counselling(protocol: str) -> Counselling | None:
    """What goes with a protocol; None where there is nothing."""
    path = FOLDER / protocol / FILE
    if not path.is_file():
        return None
    told = tomllib.loads(path.read_text(encoding="utf-8"))
    return Counselling(told["settles"], tuple(Point(**each) for each in told["points"]))
