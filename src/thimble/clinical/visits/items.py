"""What is to be held at a visit: items, their windows in days, and the rules between them."""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, time, timedelta
from functools import lru_cache
from graphlib import CycleError, TopologicalSorter

from thimble.clinical.durations import Duration, add

_LONGEST = {"days": 1, "weeks": 7, "months": 31, "years": 366}


@dataclass(frozen=True, slots=True)
class After:
    """An item is held at least so long after another, and at most so long if that is given.

    Whole days, weeks, months or years; both limits are included. `P0D` lets both be held on one day.
    """

    item: str
    at_least: Duration
    at_most: Duration | None = None

    def __post_init__(self) -> None:
        """Refuse hours: the calendar day of a visit says nothing about them."""
        for span in (self.at_least, self.at_most):
            if span is not None and span.unit not in _LONGEST:
                raise ValueError(
                    f"Time after {self.item!r} is counted in days, weeks, months or years; "
                    f"found {span.words}"
                )


Span = tuple[datetime, datetime]
"""From its first moment to its last."""


@dataclass(frozen=True, slots=True)
class PartOfDay:
    """The hours of one day that lie in a window: `opens` included; `closes` too, where the window ends
    then, but never past the end of the last session. `spans` are its sessions one by one, where there are
    several."""

    day: date
    opens: datetime
    closes: datetime
    spans: tuple[Span, ...] = field(default=(), compare=False)

    @property
    def moments(self) -> tuple[Span, ...]:
        """Every stretch in which it can be held."""
        return self.spans or ((self.opens, self.closes),)


def shared(parts: Iterable[PartOfDay]) -> tuple[Span, ...]:
    """The stretches that lie in each of these parts of one day; () for parts that never meet.

    Parts of which any two meet have a moment in common, all of them: each is what a window leaves of
    the same sessions, so the last to open and the first to close settle it.
    """
    found: tuple[Span, ...] | None = None
    for part in parts:
        met = part.moments
        if found is not None:
            met = tuple(
                (max(one[0], two[0]), min(one[1], two[1]))
                for one in found
                for two in met
                if max(one[0], two[0]) <= min(one[1], two[1])
            )
        found = met
    return found or ()


@dataclass(frozen=True, slots=True)
class Item:
    """One test, dose or review that is not done yet.

    Args:
        id: its name in the plan.
        earliest: not before this day; None: from now on.
        target: best on this day; None: no day of the window is better than another.
        latest: not after this day; None: no limit.
        after: rules towards other items, planned or done.
        alone: shares its visit with nothing.
        apart_from: items that it may not share a visit with. Said once, it holds for both.
        hours: the days of its window of which only these hours count; of any other day, all do.
        hard: False when a clinician allows a day outside the window to be chosen by hand. The planner
            itself never leaves a window.

    A window with `earliest` after `latest` holds no day: such an item is reported, not planned.
    """

    id: str
    earliest: date | None = None
    target: date | None = None
    latest: date | None = None
    after: tuple[After, ...] = ()
    alone: bool = False
    apart_from: tuple[str, ...] = ()
    hard: bool = True
    hours: tuple[PartOfDay, ...] = ()


def checked(items: Iterable[Item], done: Mapping[str, date]) -> tuple[Item, ...]:
    """The items in order of their ids: no answer may hang on the order in which they are passed.

    Raises:
        ValueError: an id twice or also done, a rule that names itself or nothing known, a circle of
            rules, a limit below the minimum.
    """
    found: dict[str, Item] = {}
    for item in sorted(items, key=lambda each: each.id):
        if item.id in found:
            raise ValueError(f"Item {item.id!r} is listed twice; pass each item once")
        if item.id in done:
            raise ValueError(f"Item {item.id!r} is done; pass what remains to be done")
        found[item.id] = item
    for item in found.values():
        for rule in item.after:
            if rule.item == item.id:
                raise ValueError(f"Item {item.id!r} cannot come after itself")
            if rule.item not in found and rule.item not in done:
                raise ValueError(
                    f"Item {item.id!r} comes after {rule.item!r}, which is neither planned nor done"
                )
        for other in item.apart_from:
            if other == item.id:
                raise ValueError(f"Item {item.id!r} cannot be kept apart from itself")
    in_order(tuple(found.values()))
    return tuple(found.values())


def in_order(items: Sequence[Item]) -> tuple[str, ...]:
    """Ids of the items such that each follows what it comes after.

    Raises:
        ValueError: rules go round in a circle.
    """
    ids = {item.id for item in items}
    graph = {item.id: [rule.item for rule in item.after if rule.item in ids] for item in items}
    try:
        return tuple(TopologicalSorter(graph).static_order())
    except CycleError as error:
        circle = ", ".join(repr(name) for name in error.args[1])
        raise ValueError(f"Rules go round in a circle: {circle}; take one away") from error


def pairs_apart(items: Sequence[Item]) -> tuple[tuple[str, str], ...]:
    """Every pair of these items that may not share a visit, each once, in order."""
    ids = {item.id for item in items}
    pairs = set()
    for item in items:
        others = ids - {item.id} if item.alone else ids.intersection(item.apart_from)
        pairs |= {(min(item.id, other), max(item.id, other)) for other in others}
    return tuple(sorted(pairs))


def clashes(items: Sequence[Item]) -> tuple[tuple[str, str, date], ...]:
    """Every pair of these items and day on which their hours never meet, each once, in order."""
    limited = [(item, part) for item in items for part in item.hours]
    found = {
        (min(one.id, two.id), max(one.id, two.id), part.day)
        for at, (one, part) in enumerate(limited)
        for two, other in limited[:at]
        if part.day == other.day and one.id != two.id and not shared((part, other))
    }
    return tuple(sorted(found))


@lru_cache(maxsize=16_384)
def shifted(day: date, by: Duration) -> date:
    """The day so long after `day`; months and years end at the last day of a shorter month.

    >>> shifted(date(2026, 8, 31), Duration(6, "months"))
    datetime.date(2027, 2, 28)
    """
    return add(datetime.combine(day, time(), UTC), by, UTC).date()


def last_that_allows(day: date, at_least: Duration) -> date:
    """The last day from which `at_least` has passed by `day`.

    >>> last_that_allows(date(2027, 2, 28), Duration(6, "months"))
    datetime.date(2026, 8, 31)
    """
    days = _before(day, at_least)
    return days[bisect_right(days, day, key=lambda each: shifted(each, at_least)) - 1]


def first_that_allows(day: date, at_most: Duration) -> date:
    """The first day from which no more than `at_most` has passed by `day`.

    >>> first_that_allows(date(2027, 2, 28), Duration(6, "months"))
    datetime.date(2026, 8, 28)
    """
    days = _before(day, at_most)
    return days[bisect_left(days, day, key=lambda each: shifted(each, at_most))]


def _before(day: date, by: Duration) -> list[date]:
    reach = by.count * _LONGEST[by.unit]
    return [day - timedelta(days=back) for back in range(reach, -1, -1)]


def last_day_needed(
    items: Iterable[Item], first: date, done: Mapping[str, date] | None = None, spare: int = 31
) -> date:
    """How far ahead to look for open days: the last limit of any item, or, where it has none, its
    target or first day, whichever is later, and `spare` days.

    Raises:
        ValueError: as `checked`.
    """
    known = dict(done or {})
    listed = {item.id: item for item in checked(items, known)}
    needed = first
    for name in in_order(tuple(listed.values())):
        item = listed[name]
        soonest = [shifted(known[rule.item], rule.at_least) for rule in item.after]
        known[name] = max([first, *soonest, *([item.earliest] if item.earliest else [])])
        end = item.latest or max(known[name], item.target or known[name])
        needed = max(needed, known[name], end)
    return needed + timedelta(days=spare)
