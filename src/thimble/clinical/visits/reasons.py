"""Why each visit is where it is."""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Collection, Mapping, Sequence
from datetime import date

from thimble.clinical.visits.bounds import closes, opens
from thimble.clinical.visits.days import OpenDays
from thimble.clinical.visits.items import Item, clashes, pairs_apart
from thimble.clinical.visits.plan import Bound, Placement, Visit, Why


def visits_of(
    items: Sequence[Item],
    days: OpenDays,
    done: Mapping[str, date],
    held: Mapping[str, date],
    agreed: Collection[date],
    chosen: Mapping[str, date],
) -> tuple[Visit, ...]:
    """The visits of a layout, in order, with their reasons."""
    placed = [item for item in items if item.id in held]
    apart = pairs_apart(placed)
    found = []
    for day in sorted(set(held.values())):
        group = [item for item in placed if held[item.id] == day]
        soonest, last = limits(group, placed, days, done, held, chosen)
        found.append(
            Visit(
                day=day,
                placements=tuple(
                    _placement(item, group, placed, days, done, held, chosen, apart)
                    for item in group
                ),
                opens=soonest,
                closes=last,
                agreed=day in agreed,
            )
        )
    return tuple(found)


def limits(
    group: Sequence[Item],
    placed: Sequence[Item],
    days: OpenDays,
    done: Mapping[str, date],
    held: Mapping[str, date],
    chosen: Mapping[str, date],
) -> tuple[Bound, Bound | None]:
    """From when and until when a visit with these items can be held, the other items staying."""
    inside = {item.id for item in group}
    others = {**done, **{name: day for name, day in held.items() if name not in inside}}
    # A choice outside a window that is not hard has set that window aside.
    own = {item.id: item.hard or item.id not in chosen for item in group}
    first = max(
        (opens(item, others, days.first, placed, window=own[item.id]) for item in group),
        key=lambda bound: bound.day,
    )
    ends = [closes(item, others, placed, window=own[item.id]) for item in group]
    last = min((end for end in ends if end is not None), key=lambda end: end.day, default=None)
    return first, last


def _placement(
    item: Item,
    group: Sequence[Item],
    placed: Sequence[Item],
    days: OpenDays,
    done: Mapping[str, date],
    held: Mapping[str, date],
    chosen: Mapping[str, date],
    apart: Collection[tuple[str, str]],
) -> Placement:
    day, target = held[item.id], item.target
    mates = tuple(other.id for other in group if other is not item)

    def found(
        why: Why, *, others: tuple[str, ...] = (), note: str = "", bound: Bound | None = None
    ) -> Placement:
        off = None if target is None else (day - target).days
        return Placement(item.id, day, target, off, why, others, note, bound, _outside(item, day))

    if item.id in chosen:
        return found(Why.CHOSEN)
    if target is None:
        return found(Why.NO_TARGET)
    if day == target:
        return found(Why.ON_TARGET)
    away = abs((day - target).days)
    first, last = opens(item, done, days.first), closes(item, done)
    if away == _least(target, first, last, days, ()):
        if target < days.first:
            return found(Why.PAST)
        if target < first.day:
            return found(Why.WINDOW, note=_between(first.day, day, days), bound=first)
        if last is not None and target > last.day:
            return found(Why.WINDOW, note=_between(last.day, day, days), bound=last)
        return found(Why.CLOSED, note=days.why_closed(target))
    others = {**done, **{name: on for name, on in held.items() if name != item.id}}
    first, last = opens(item, others, days.first, placed), closes(item, others, placed)
    if away == _least(target, first, last, days, ()):
        return found(Why.RULE, bound=first if day > target else last)
    foes = {two if one == item.id else one for one, two in apart if item.id in (one, two)}
    foes |= {
        two if one == item.id else one
        for one, two, on in clashes(placed)
        if item.id in (one, two) and held[two if one == item.id else one] == on
    }
    taken = {held[name] for name in foes}
    if away == _least(target, first, last, days, taken):
        there = tuple(name for name in sorted(foes) if abs((held[name] - target).days) < away)
        return found(Why.APART, others=there)
    return found(Why.SHARED, others=mates)


def _least(
    target: date, first: Bound, last: Bound | None, days: OpenDays, taken: Collection[date]
) -> int | None:
    """How near to its target an item can be on an open day between two limits."""
    low = bisect_left(days.days, first.day)
    high = len(days.days) if last is None else bisect_right(days.days, last.day)
    near = [abs((day - target).days) for day in days.days[low:high] if day not in taken]
    return min(near, default=None)


def _between(wanted: date, day: date, days: OpenDays) -> str:
    """Why the wanted day was not taken: "" when it was."""
    return "" if wanted == day else days.why_closed(wanted)


def _outside(item: Item, day: date) -> int:
    if item.earliest is not None and day < item.earliest:
        return (day - item.earliest).days
    if item.latest is not None and day > item.latest:
        return (day - item.latest).days
    return 0
