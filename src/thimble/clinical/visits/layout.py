"""Every item on its day, or a report of why it has none."""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date

from thimble.clinical.visits.bounds import closes, opens
from thimble.clinical.visits.days import OpenDays
from thimble.clinical.visits.days_for import best_days, tied, without_fewest
from thimble.clinical.visits.items import (
    Item,
    in_order,
)
from thimble.clinical.visits.plan import (
    Because,
    Bound,
    Cause,
    Nearest,
    Overdue,
    Unplaceable,
)
from thimble.clinical.visits.problem import Window


@dataclass(frozen=True, slots=True)
class Layout:
    """Each item's day, and what has none."""

    held: Mapping[str, date]
    unplaceable: tuple[Unplaceable, ...]
    overdue: tuple[Overdue, ...]


def lay_out(
    items: Sequence[Item],
    days: OpenDays,
    done: Mapping[str, date],
    agreed: frozenset[date],
    fixed: Mapping[str, date],
) -> Layout:
    """Every item with its day or its report."""
    listed = {
        item.id: replace(item, earliest=fixed[item.id], latest=fixed[item.id])
        if item.id in fixed
        else item
        for item in items
    }
    windows: dict[str, Window] = {}
    unplaceable: dict[str, Unplaceable] = {}
    overdue: dict[str, Overdue] = {}
    for name in in_order(items):
        item = listed[name]
        soonest, last = opens(item, done, days.first), closes(item, done)
        missing = [each.item for each in item.after if each.item in unplaceable | overdue]
        if last is not None and last.day < days.first:
            proposal = None if missing else days.from_day(soonest.day)
            overdue[name] = Overdue(name, last, (days.first - last.day).days, proposal)
            continue
        if missing:
            unplaceable[name] = _report(Because.WAITS, soonest, last, days, missing)
            continue
        window = _window(soonest, last, days)
        if window[0] > window[1]:
            because, others = _no_day(soonest, last, days)
            unplaceable[name] = _report(because, soonest, last, days, others)
            continue
        # What comes before it is held on its first possible day at the soonest.
        earlier = {
            each.item: days.days[windows[each.item][0]]
            for each in item.after
            if each.item in windows
        }
        pushed = opens(item, {**done, **earlier}, days.first)
        low = bisect_left(days.days, pushed.day)
        if low > window[1]:
            unplaceable[name] = _report(Because.RULE, pushed, last, days, [pushed.other])
            continue
        windows[name] = (low, window[1])
    held = best_days(listed, windows, days, agreed)
    if held is None:
        held, left = without_fewest(listed, windows, days, agreed)
        for name in left:
            item = listed[name]
            others = sorted(left & {each.item for each in item.after})
            because = Because.WAITS if others else Because.CONFLICT
            unplaceable[name] = _report(
                because,
                opens(item, done, days.first),
                closes(item, done),
                days,
                others or sorted(tied(listed, windows)[name]),
            )
    return Layout(
        held,
        tuple(unplaceable[name] for name in sorted(unplaceable)),
        tuple(overdue[name] for name in sorted(overdue)),
    )


def _window(soonest: Bound, last: Bound | None, days: OpenDays) -> Window:
    end = len(days.days) if last is None else bisect_right(days.days, last.day)
    return bisect_left(days.days, soonest.day), end - 1


def _no_day(soonest: Bound, last: Bound | None, days: OpenDays) -> tuple[Because, list[str]]:
    """Why an item's own window, with what is done, holds no open day."""
    if last is not None and soonest.day > last.day:
        others = [
            bound.other for bound in (soonest, last) if bound.cause in (Cause.AFTER, Cause.WITHIN)
        ]
        if others:
            return Because.RULE, sorted(set(others))
    return (Because.BEYOND if soonest.day > days.last else Because.NO_OPEN_DAY), []


def _report(
    because: Because, soonest: Bound, last: Bound | None, days: OpenDays, others: Iterable[str]
) -> Unplaceable:
    """With the nearest open days before and after the window."""
    place = bisect_left(days.days, soonest.day)
    before = days.days[place - 1] if place else None
    place = len(days.days) if last is None else bisect_right(days.days, last.day)
    after = days.days[place] if place < len(days.days) else None
    return Unplaceable(
        item=soonest.item,
        because=because,
        opens=soonest,
        closes=last,
        before=None if before is None else Nearest(before, (soonest.day - before).days),
        after=None if after is None or last is None else Nearest(after, (after - last.day).days),
        others=tuple(others),
    )
