"""When the next monitoring test is due, from the intervals of the rule set. Days, no instants."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, date, datetime, time
from itertools import product

from thimble.clinical.durations import add, parse
from thimble.protocol import Finding, Reason

from .tables import put, tables

COUNTED = {"hbv": "hbv_sample", "hcv": "hcv_treatment_end", "hiv": "hiv_sample"}
"""What the interval of each infection is counted from: a key of `days`."""

NONE, NOT_PRINTED = "none", "not_printed"
IN_TIME, OVERDUE = "in_time", "overdue"


@dataclass(frozen=True, slots=True)
class Due:
    """The next test of one infection: it is in time from `opens` to `closes`, both included."""

    infection: str
    opens: date
    on: date
    closes: date
    because: tuple[Reason, ...]

    def overdue(self, today: date) -> bool:
        """Whether the window has closed before `today`."""
        return self.closes < today


Way = Due | str | None
"""How the next test of an infection may come out: due, not to be told (with why), or none is due."""


@dataclass(frozen=True, slots=True)
class Schedule:
    """What is due, and the infections whose next test cannot be told, with why.

    `ways` holds, for each infection, what every completion of the missing facts may make of it;
    `missing` the facts that this hangs on.
    """

    due: tuple[Due, ...]
    open: tuple[tuple[str, str], ...]
    ways: tuple[tuple[Way, ...], ...]
    missing: frozenset[str]

    def monitoring(self, today: date, said: str | None) -> frozenset[str]:
        """What monitoring may be, `in_time` or `overdue`, over every completion of the missing facts.

        What was `said` of it counts only where a test that may be overdue cannot be told.
        """
        may: set[str] = set()
        for way in product(*self.ways):
            if any(isinstance(one, Due) and one.overdue(today) for one in way):
                may.add(OVERDUE)
            elif any(isinstance(one, str) for one in way):
                may |= {said} if said else {IN_TIME, OVERDUE}
            else:
                may.add(IN_TIME)
        return frozenset(may)


def schedule(facts: Mapping[str, object], days: Mapping[str, date]) -> Schedule:
    """The next tests of a worker.

    Args:
        facts: of the fitness vocabulary, known in part.
        days: `hbv_sample`, `hiv_sample` (the last monitoring samples), `hcv_treatment_end`; what is
            missing is not known.

    Raises:
        ValueError: a fact is not known, or its value does not fit.
    """
    found = put(facts).findings
    due: list[Due] = []
    untold: list[tuple[str, str]] = []
    all_ways: list[tuple[Way, ...]] = []
    missing: set[str] = set()
    for infection, counted in COUNTED.items():
        interval, grace = found[f"{infection}_interval"], found[f"{infection}_grace"]
        label = tables().outputs[f"{infection}_clearance"].label
        ways = tuple(dict.fromkeys(
            _way(label, interval, days.get(counted), *printed)
            for printed in product(interval.possible, grace.possible)
        ))  # fmt: skip
        all_ways.append(ways)
        if len(ways) > 1:
            missing |= {*interval.open_facts, *grace.open_facts}
            untold.append((label, "facts are missing"))
        elif isinstance(ways[0], Due):
            due.append(ways[0])
        elif ways[0] is not None:
            untold.append((label, ways[0]))
    return Schedule(tuple(due), tuple(untold), tuple(all_ways), frozenset(missing))


def _way(label: str, interval: Finding, counted: date | None, every: str, grace: str) -> Way:
    if every == NONE:
        return None
    if every == NOT_PRINTED:
        return tables().outputs[interval.decision].words(NOT_PRINTED)
    if counted is None:
        return "the day that it is counted from is missing"
    on = _after(counted, every)
    closes = _after(on, grace)
    return Due(label, on - (closes - on), on, closes, interval.because)


def _after(day: date, duration: str) -> date:
    return add(datetime.combine(day, time(12), UTC), parse(duration), UTC).date()
