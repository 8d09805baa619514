"""The doses that a vaccine series after an exposure still needs: which, and from which day each counts.

That a series is asked for says the protocol's table; how its doses follow one another say the schedules of
`clinical.series`; which of its actions are these doses says `clearance/<protocol>/after_exposure.toml`.
"""

from __future__ import annotations

import tomllib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date, datetime, time, tzinfo
from functools import cache

from thimble.clinical.durations import Duration, on_the_wall
from thimble.clinical.saying import calendar_day
from thimble.clinical.series.evidence import DoseGiven, PartialDate
from thimble.clinical.series.remaining import DoseAhead, Remaining, remaining
from thimble.clinical.series.schedule import FOLDER
from thimble.ledger.plan import Window
from thimble.ledger.situation import Situation
from thimble.protocol.finding import Finding


@dataclass(frozen=True, slots=True)
class Ask:
    """How the doses of a series are counted that a value of the decision asks for."""

    all: bool
    soonest: bool


@dataclass(frozen=True, slots=True)
class AfterExposure:
    """Which actions are the doses of a series. `doses` are all of them, the first first."""

    decision: str
    first: str
    later: tuple[str, ...]
    last: str
    asks: Mapping[str, Ask]

    @property
    def doses(self) -> tuple[str, ...]:
        """Every action that is a dose of the series."""
        return (self.first, *self.later, self.last)


@dataclass(frozen=True, slots=True)
class PlannedDose:
    """A dose to come: its action, and how long after the dose before it, if that is still to come."""

    action: str
    dose: DoseAhead
    after: str = ""

    @property
    def at_least(self) -> Duration:
        """How long after the dose before it, in whole days or more."""
        return self.dose.after_previous or Duration(1, "days")


@dataclass(frozen=True, slots=True)
class Series:
    """What is left of a series.

    `planned` are the doses to come in order; `left_out` the actions that are no dose of this series;
    `again` those to be done once more, because the dose did not count. `ends_with` is the action of the
    dose with which it is complete. `windows` are those of the doses to come: the next has limits, each
    other waits for the one before it. `counts_before`: doses from before the exposure count too;
    `unknown`: and none is on record. While it is open which series it is, `waits_for` are the facts that
    settle it.
    `fault` is a sentence, or "".
    """

    names: AfterExposure
    planned: tuple[PlannedDose, ...] = ()
    left_out: frozenset[str] = frozenset()
    again: frozenset[str] = frozenset()
    ends_with: str = ""
    counts_before: bool = False
    unknown: bool = False
    waits_for: tuple[str, ...] = ()
    fault: str = ""
    windows: Mapping[str, Window] = field(default_factory=dict)


@cache
def after_exposure(protocol: str) -> AfterExposure | None:
    """The actions of the series of a protocol, read once; None where it has no such file."""
    path = FOLDER / protocol / "after_exposure.toml"
    if not path.is_file():
        return None
    read = tomllib.loads(path.read_text(encoding="utf-8"))
    asks = {
        value: Ask(all={"all": True, "since": False}[ask["counts"]], soonest=ask["soonest"])
        for value, ask in read["asks"].items()
    }
    return AfterExposure(read["decision"], read["first"], tuple(read["later"]), read["last"], asks)


def doses_of(
    situation: Situation, names: AfterExposure, zone: tzinfo
) -> list[tuple[str, date, str | None]]:
    """The doses that this case gave, each with its action, its day and its vaccine (CVX, None where nobody
    knows), in order of time."""
    told = {(g.action, g.at): g.cvx for g in situation.course.given if g.action in names.doses}
    for id_ in names.doses:
        if id_ in situation.done:
            told.setdefault((id_, situation.done[id_].at), "")
    return [
        (id_, at.astimezone(zone).date(), cvx or None)
        for (id_, at), cvx in sorted(told.items(), key=lambda each: each[0][1].timestamp())
    ]


def series_found(
    findings: Mapping[str, Finding],
    situation: Situation,
    protocol: str,
    zone: tzinfo,
    *,
    today: date | None = None,
) -> Series | None:
    """`series_of` for what a plan found of its decision."""
    names = after_exposure(protocol)
    if names is None or names.decision not in findings:
        return None
    value = findings[names.decision].value
    if value is None:
        # Which series, if any, is open: the doses between may follow, if it is a whole one.
        return Series(names, ends_with=names.last, waits_for=findings[names.decision].open_facts)
    return series_of(situation, value, protocol, zone, today=today)


def series_of(
    situation: Situation,
    value: str | None,
    protocol: str,
    zone: tzinfo,
    *,
    today: date | None = None,
) -> Series | None:
    """What is left of the series that a decision's value asks for; None where it asks for none.

    Args:
        value: of the decision, None while it is open.
        today: no dose to come is given before this day; None: as its intervals alone allow, which does not
            change while nobody writes.
    """
    names = after_exposure(protocol)
    ask = None if names is None or value is None else names.asks.get(value)
    if names is None or ask is None:
        return None
    given = doses_of(situation, names, zone)
    days = {day for _, day, _ in given}
    earlier = [d for d in situation.doses_before if not (d.when.exact and d.when.first in days)]
    if ask.all and not earlier:
        return Series(
            names,
            left_out=frozenset(names.later),
            ends_with=names.last,
            counts_before=True,
            unknown=True,
        )
    doses = [DoseGiven(cvx, PartialDate.of(day)) for _, day, cvx in given]
    doses += earlier if ask.all else []
    # Before the first dose only the number of doses counts: all wait for it, as the table says.
    on = max([today or _LONG_AGO, *(dose.when.last for dose in doses)])
    rest = remaining(doses, on, protocol, soonest=ask.soonest)
    found = _series(names, [id_ for id_, _, _ in given], rest, zone, begun=bool(doses))
    return replace(found, counts_before=ask.all)


_LONG_AGO = date(1970, 1, 1)


def _series(
    names: AfterExposure, given: Sequence[str], rest: Remaining, zone: tzinfo, *, begun: bool
) -> Series:
    if names.last in given:
        # Whoever recorded the last dose knows the product; what the intervals say against it is told.
        return Series(
            names,
            left_out=frozenset(names.doses) - set(given),
            ends_with=names.last,
            fault=_fault(rest),
        )
    if not rest.ahead:
        ends = given[-1] if given else ""
        return Series(names, left_out=frozenset(names.doses) - set(given), ends_with=ends)
    ids: list[str] = []
    for dose in rest.ahead:
        if not given and not ids:
            ids.append(names.first)
        elif dose is rest.ahead[-1]:
            ids.append(names.last)
        else:
            ids.append(names.later[min(dose.number - 2, len(names.later) - 1)])
    planned = tuple(
        PlannedDose(id_, dose, ids[at - 1] if at else "")
        for at, (id_, dose) in enumerate(zip(ids, rest.ahead, strict=True))
    )
    windows = {p.action: Window(None, None, None, p.after) for p in planned[1:]}
    if begun:
        windows[planned[0].action] = _window(planned[0].dose, zone)
    return Series(
        names,
        planned if begun else (),
        frozenset(names.doses) - set(ids) - set(given),
        frozenset(ids) & set(given),
        ids[-1],
        windows=windows,
    )


def _window(dose: DoseAhead, zone: tzinfo) -> Window:
    opens, best = _midnight(dose.earliest, zone), _midnight(dose.target, zone)
    return Window(opens, best, None, put_off_to=best)


def _midnight(day: date, zone: tzinfo) -> datetime:
    return on_the_wall(day, time(0), zone)


def _fault(rest: Remaining) -> str:
    if not rest.ahead:
        return ""
    day = calendar_day(rest.ahead[0].earliest)
    return (
        "The last dose of the hepatitis B series is on record, but by the intervals of a three-dose "
        f"product the series is not complete: another dose counts from {day}. Unless the product has "
        "fewer doses, give one more."
    )
