"""How doses and tests count under a rule set, read from `protocols/immunity`."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, timedelta
from functools import cache
from typing import Any

from thimble.clinical.diseases import DISEASES
from thimble.clinical.durations import Duration, parse
from thimble.clinical.library import SHIPPED, protocol
from thimble.protocol import Protocol

FOLDER = "immunity"
SEASON = "season"


@dataclass(frozen=True, slots=True)
class DoseRule:
    """How doses against one disease count; without `products` any against it does. `within`: how long.
    `enough_with`: diseases whose positive antibody together is asked instead of its own."""

    vaccine: str
    needed: int
    from_age: Duration | None
    apart: Duration | None
    forgiven: Duration | None
    products: frozenset[str]
    in_season: bool
    within: Duration | None
    also_history: tuple[str, ...]
    history_counts: tuple[str, ...]
    enough_with: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Live:
    """Live vaccines: which they are, how far apart different ones are given, what to ask before one.

    `ask` is what is asked about, `denied` the answer with which it may be given.
    """

    diseases: frozenset[str]
    products: frozenset[str]
    apart: Duration
    caution: str
    ask: str
    denied: str
    source: str
    standing: str

    def holds(self, product: str | None, diseases: tuple[str, ...]) -> bool:
        """Whether a dose is of a live vaccine."""
        return product in self.products or not self.diseases.isdisjoint(diseases)


@dataclass(frozen=True, slots=True)
class Season:
    """Days of a year, as (month, day)."""

    starts: tuple[int, int]
    offered_from: tuple[int, int]
    offered_until: tuple[int, int]

    def began(self, on: date) -> date:
        """The first day of the season that a day lies in."""
        this = date(on.year, *self.starts)
        return this if this <= on else date(on.year - 1, *self.starts)

    def ends(self, on: date) -> date:
        """The last day of the season that a day lies in."""
        began = self.began(on)
        return date(began.year + 1, *self.starts) - timedelta(days=1)

    def offered(self, on: date) -> bool:
        """Whether the season's vaccine is offered on a day, the last one included."""
        place, first, last = (on.month, on.day), self.offered_from, self.offered_until
        return first <= place <= last if first <= last else place >= first or place <= last

    def offered_last(self, on: date) -> date:
        """The last day on or after `on` of an offer."""
        this = date(on.year, *self.offered_until)
        return this if this >= on else date(on.year + 1, *self.offered_until)

    def next_offer(self, on: date) -> date:
        """The first day after `on` from which the vaccine of a season is offered."""
        this = date(on.year, *self.offered_from)
        return this if this > on else date(on.year + 1, *self.offered_from)


@dataclass(frozen=True, slots=True)
class TuberculosisRule:
    """How far apart two skin tests lie, and how often symptoms are reviewed after a positive test."""

    second_from: Duration
    second_until: Duration
    review_every: Duration | None


@dataclass(frozen=True, slots=True)
class Rules:
    """One rule set: its tables and how evidence counts."""

    tables: Protocol
    doses: Mapping[str, DoseRule]
    live: Live
    season: Season
    tuberculosis: TuberculosisRule


@cache
def rules(name: str) -> Rules:
    """The rules that go with a site's protocol.

    Raises:
        LookupError: there are none for that protocol.
    """
    path = SHIPPED / FOLDER / f"{name}.toml"
    if not path.is_file():
        raise LookupError(f"There are no tables of immunity for {name!r}.")
    told = tomllib.loads(path.read_text(encoding="utf-8"))
    live, season, tb = told["live"], told["season"], told["tuberculosis"]
    return Rules(
        protocol(f"immunity_{name}"),
        {
            disease: _dose_rule(told[disease])
            for disease in DISEASES
            if "needed" in told.get(disease, ())
        },
        Live(
            frozenset(live["diseases"]),
            frozenset(live["products"]),
            parse(live["apart"]),
            *(live[key] for key in ("caution", "ask", "denied", "source", "standing")),
        ),
        Season(*(_day(season[key]) for key in ("starts", "offered_from", "offered_until"))),
        TuberculosisRule(
            parse(tb["second_test_from"]),
            parse(tb["second_test_until"]),
            _duration(tb, "review_every"),
        ),
    )


def _dose_rule(told: Mapping[str, Any]) -> DoseRule:
    in_season = told.get("within") == SEASON
    return DoseRule(
        vaccine=told["vaccine"],
        needed=told["needed"],
        from_age=_duration(told, "from_age"),
        apart=_duration(told, "apart"),
        forgiven=_duration(told, "forgiven"),
        products=frozenset(told.get("products", ())),
        in_season=in_season,
        within=None if in_season else _duration(told, "within"),
        also_history=tuple(told.get("also_history", ())),
        history_counts=tuple(told.get("history_counts", ())),
        enough_with=tuple(told.get("enough_with", ())),
    )


def _duration(told: Mapping[str, Any], key: str) -> Duration | None:
    return parse(told[key]) if key in told else None


def _day(text: str) -> tuple[int, int]:
    month, day = text.split("-")
    return int(month), int(day)
