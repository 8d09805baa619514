"""The fewest attendances that put every item inside its window on an open day.

In this order of preference:

1. every item has a day, or as many as possible: what cannot have one is reported, never moved;
2. fewest attendances;
3. smallest sum, over items with a target, of the days between item and target. An item without a
   target adds nothing: its protocol prefers no day of the window, so it must not draw others away from
   theirs;
4. most agreed days kept, so that nobody is told a new date for nothing;
5. earliest: smallest sum of the days of all items. Here an item without a target goes to the first day
   that the rest leaves it, because an infection found early is treated early.

How it is found: `search`. Same input in any order, same plan.
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from itertools import combinations

from thimble.clinical.visits.bounds import closes, opens
from thimble.clinical.visits.days import OpenDays
from thimble.clinical.visits.items import (
    After,
    Item,
    checked,
    clashes,
    in_order,
    pairs_apart,
    shifted,
)
from thimble.clinical.visits.plan import (
    Because,
    Bound,
    Cause,
    Nearest,
    Overdue,
    Refusal,
    Refused,
    Unplaceable,
    VisitPlan,
)
from thimble.clinical.visits.reasons import visits_of
from thimble.clinical.visits.search import Problem, Rule, Task, Window, fewest


def plan_visits(
    items: Iterable[Item],
    days: OpenDays,
    *,
    done: Mapping[str, date] | None = None,
    kept: Iterable[date] = (),
    chosen: Mapping[str, date] | None = None,
) -> VisitPlan:
    """The visits that remain.

    Args:
        items: what is still to be done.
        days: open days from today on; `last_day_needed` says how far. An item without a last day is
            planned by the last of them.
        done: items done already and when; rules may refer to them.
        kept: days that people were told.
        chosen: items whose day somebody chose. Such a day must be open and keep every rule; it must
            lie in the window, unless that is not hard. What cannot be honoured is refused with the
            reason and planned as if it had not been chosen.

    Raises:
        ValueError: items or rules that contradict each other by name, a choice for no item.
    """
    past = dict(done or {})
    listed = checked(items, past)
    wanted = dict(chosen or {})
    for name in wanted:
        if all(item.id != name for item in listed):
            raise ValueError(f"A day is chosen for {name!r}, which is not among the items to plan")
    agreed = frozenset(kept)
    free = _layout(listed, days, past, agreed, {})
    honoured, refused = _honoured(listed, days, past, agreed, wanted, free)
    found = _layout(listed, days, past, agreed, honoured) if honoured else free
    held = found.held
    return VisitPlan(
        items=listed,
        days=days,
        done=past,
        agreed=agreed,
        chosen=honoured,
        visits=visits_of(listed, days, past, held, agreed, honoured),
        unplaceable=found.unplaceable,
        overdue=found.overdue,
        refused=refused,
        distance=sum(
            abs((held[item.id] - item.target).days)
            for item in listed
            if item.id in held and item.target is not None
        ),
        added=len(set(held.values())) - len(set(free.held.values())),
    )


@dataclass(frozen=True, slots=True)
class _Layout:
    held: Mapping[str, date]
    unplaceable: tuple[Unplaceable, ...]
    overdue: tuple[Overdue, ...]


def _honoured(
    items: Sequence[Item],
    days: OpenDays,
    done: Mapping[str, date],
    agreed: frozenset[date],
    wanted: Mapping[str, date],
    free: _Layout,
) -> tuple[dict[str, date], tuple[Refusal, ...]]:
    """The choices that can be kept together, taken in order of their ids, and why the others cannot."""
    accepted: dict[str, date] = {}
    refused: list[Refusal] = []
    placed = set(free.held)
    for item in items:
        if item.id not in wanted:
            continue
        day = wanted[item.id]
        refusal = _refusal(item, day, days, done)
        if refusal is None:
            tried = accepted | {item.id: day}
            layout = _layout(items, days, done, agreed, tried)
            lost = (placed | {item.id}) - set(layout.held)
            if not lost:
                accepted, placed = tried, placed | set(layout.held)
                continue
            others = lost - {item.id} or {
                name
                for report in layout.unplaceable
                if report.item in lost
                for name in report.others
            }
            refusal = Refusal(
                item.id, day, Refused.CONFLICT, others=tuple(sorted(others - {item.id}))
            )
        refused.append(refusal)
    return accepted, tuple(refused)


def _refusal(item: Item, day: date, days: OpenDays, done: Mapping[str, date]) -> Refusal | None:
    """Why an item cannot be held on a day, whatever the others do."""
    first = opens(item, done, days.first, window=item.hard)
    last = closes(item, done, window=item.hard)
    if day < first.day:
        return Refusal(item.id, day, Refused.TOO_EARLY, bound=first)
    if last is not None and day > last.day:
        return Refusal(item.id, day, Refused.TOO_LATE, bound=last)
    if day not in days:
        return Refusal(item.id, day, Refused.CLOSED, note=days.why_closed(day))
    return None


def _layout(
    items: Sequence[Item],
    days: OpenDays,
    done: Mapping[str, date],
    agreed: frozenset[date],
    fixed: Mapping[str, date],
) -> _Layout:
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
    held = _search(listed, windows, days, agreed)
    if held is None:
        held, left = _without_fewest(listed, windows, days, agreed)
        for name in left:
            item = listed[name]
            others = sorted(left & {each.item for each in item.after})
            because = Because.WAITS if others else Because.CONFLICT
            unplaceable[name] = _report(
                because,
                opens(item, done, days.first),
                closes(item, done),
                days,
                others or sorted(_tied(listed, windows)[name]),
            )
    return _Layout(
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


def _search(
    listed: Mapping[str, Item],
    windows: Mapping[str, Window],
    days: OpenDays,
    agreed: Collection[date],
) -> dict[str, date] | None:
    """The best days for the items that have a window."""
    names = sorted(windows)
    number = {name: place for place, name in enumerate(names)}
    rules = [
        _rule(number[each.item], number[name], each, days.days)
        for name in names
        for each in listed[name].after
        if each.item in number
    ]
    problem = Problem(
        days=[day.toordinal() for day in days.days],
        tasks=[
            Task(
                windows[name],
                None if (target := listed[name].target) is None else target.toordinal(),
            )
            for name in names
        ],
        rules=rules,
        apart=[
            (number[one], number[two]) for one, two in pairs_apart([listed[name] for name in names])
        ],
        clashes=[
            (number[one], number[two], bisect_left(days.days, day))
            for one, two, day in clashes([listed[name] for name in names])
            if day in days
        ],
        kept=frozenset(bisect_left(days.days, day) for day in agreed if day in days),
        alone=frozenset(number[name] for name in names if listed[name].alone),
    )
    found = fewest(problem)
    if found is None:
        return None
    return {name: days.days[day] for name, day in zip(names, found, strict=True)}


def _rule(first: int, second: int, after: After, days: Sequence[date]) -> Rule:
    def soonest(day: int) -> int:
        return bisect_left(days, shifted(days[day], after.at_least))

    most = after.at_most
    if most is None:
        return Rule(first, second, len(days), soonest)
    return Rule(
        first,
        second,
        len(days),
        soonest,
        lambda day: bisect_right(days, shifted(days[day], most)) - 1,
    )


def _tied(listed: Mapping[str, Item], windows: Mapping[str, Window]) -> dict[str, set[str]]:
    """Who has a rule towards whom."""
    tied: dict[str, set[str]] = {name: set() for name in windows}
    pairs = [*pairs_apart([listed[name] for name in sorted(windows)])]
    pairs += [(each.item, name) for name in windows for each in listed[name].after]
    pairs += [(one, two) for one, two, _ in clashes([listed[name] for name in sorted(windows)])]
    for one, two in pairs:
        if one in tied and two in tied:
            tied[one].add(two)
            tied[two].add(one)
    return tied


def _without_fewest(
    listed: Mapping[str, Item],
    windows: Mapping[str, Window],
    days: OpenDays,
    agreed: Collection[date],
) -> tuple[dict[str, date], set[str]]:
    """The best plan without as few items as possible, and these; what comes after one goes with it.

    Among as few, those whose windows end last: they leave most time to decide; then by id.
    """
    tied = [name for name, others in _tied(listed, windows).items() if others]
    tied.sort(key=lambda name: (windows[name][1], name), reverse=True)
    for size in range(1, len(tied) + 1):
        for left in map(set, combinations(tied, size)):
            whole = all(
                name in left or not left.intersection(each.item for each in listed[name].after)
                for name in windows
            )
            if not whole:
                continue
            rest = {name: window for name, window in windows.items() if name not in left}
            held = _search(listed, rest, days, agreed)
            if held is not None:
                return held, left
    raise AssertionError("items without rules between them always have days")
