"""When the next monitoring test is due, from the intervals of the rule set. Days, no instants."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, date, datetime, time

from thimble.clinical.durations import add, parse
from thimble.protocol import Reason

from .tables import put, tables

COUNTED = {"hbv": "hbv_sample", "hcv": "hcv_treatment_end", "hiv": "hiv_sample"}
"""What the interval of each infection is counted from: a key of `days`."""

NONE, NOT_PRINTED = "none", "not_printed"


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


@dataclass(frozen=True, slots=True)
class Schedule:
    """What is due, and the infections whose next test cannot be told, with why."""

    due: tuple[Due, ...]
    open: tuple[tuple[str, str], ...]

    def monitoring(self, today: date) -> str | None:
        """`overdue`, `in_time`, or None while a test that may be overdue cannot be told."""
        if any(one.overdue(today) for one in self.due):
            return "overdue"
        return None if self.open else "in_time"


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
    for infection, counted in COUNTED.items():
        interval, grace = found[f"{infection}_interval"], found[f"{infection}_grace"]
        label = tables().outputs[f"{infection}_clearance"].label
        if interval.value == NONE:
            continue
        if interval.value is None or grace.value is None:
            untold.append((label, "facts are missing"))
        elif interval.value == NOT_PRINTED:
            untold.append((label, tables().outputs[interval.decision].words(NOT_PRINTED)))
        elif counted not in days:
            untold.append((label, "the day that it is counted from is missing"))
        else:
            on = _after(days[counted], interval.value)
            closes = _after(on, grace.value)
            due.append(Due(label, on - (closes - on), on, closes, interval.because))
    return Schedule(tuple(due), tuple(untold))


def _after(day: date, duration: str) -> date:
    return add(datetime.combine(day, time(12), UTC), parse(duration), UTC).date()
