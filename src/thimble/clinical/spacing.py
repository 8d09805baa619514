"""How long a live vaccine waits after an immunoglobulin (`protocols/spacing/after_immunoglobulin.toml`)."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache

from thimble.clinical.durations import Duration, parse
from thimble.clinical.library import SHIPPED


@dataclass(frozen=True, slots=True)
class Spacing:
    """The waits by the CVX code of the immunoglobulin; `live` are the diseases whose vaccines wait."""

    waits: Mapping[str, Duration]
    live: frozenset[str]
    source: str
    standing: str


@cache
def spacing() -> Spacing:
    """The shipped waits, read once."""
    path = SHIPPED / "spacing" / "after_immunoglobulin.toml"
    told = tomllib.loads(path.read_text(encoding="utf-8"))
    return Spacing(
        {row["immunoglobulin"]: parse(row["wait"]) for row in told["waits"]},
        frozenset(told["live"]),
        told["source"],
        told["standing"],
    )
