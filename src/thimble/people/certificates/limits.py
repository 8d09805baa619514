"""How long a certificate holds at most: the house's own limit, or the day of a check that comes before."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from datetime import date
from functools import cache

from thimble.clinical.durations import Duration, parse
from thimble.clinical.library import SHIPPED

LIMITS = {
    "longest": "the longest that a certificate of this house holds",
    "recheck": "the day of the next check",
    "review": "the day on which the decision about fitness is reviewed",
    "chosen": "chosen by whoever issued it",
}
"""What sets the last day, in words."""


@dataclass(frozen=True, slots=True)
class Rules:
    """What `protocols/clearance/certificate.toml` says."""

    longest: Duration
    look_again: frozenset[str]


@dataclass(frozen=True, slots=True)
class Limit:
    """The last day on which a certificate may hold, and what sets it: an id of `LIMITS`."""

    until: date
    by: str

    @property
    def words(self) -> str:
        """What sets it."""
        return LIMITS[self.by]


@cache
def rules() -> Rules:
    """The shipped rules, read once."""
    text = (SHIPPED / "clearance" / "certificate.toml").read_text(encoding="utf-8")
    read = tomllib.loads(text)
    return Rules(parse(read["longest"]["holds"]), frozenset(read["look_again"]["tests"]))
