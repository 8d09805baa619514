"""The fewest attendances that put every item inside its window on an open day."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from datetime import date

from thimble.clinical.visits.bounds import closes, opens
from thimble.clinical.visits.days import OpenDays
from thimble.clinical.visits.items import (
    Item,
    checked,
)
from thimble.clinical.visits.layout import Layout, lay_out
from thimble.clinical.visits.plan import (
    Refusal,
    Refused,
    VisitPlan,
)
from thimble.clinical.visits.reasons import visits_of


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
    free = lay_out(listed, days, past, agreed, {})
    honoured, refused = _honoured(listed, days, past, agreed, wanted, free)
    found = lay_out(listed, days, past, agreed, honoured) if honoured else free
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


def _honoured(
    items: Sequence[Item],
    days: OpenDays,
    done: Mapping[str, date],
    agreed: frozenset[date],
    wanted: Mapping[str, date],
    free: Layout,
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
            layout = lay_out(items, days, done, agreed, tried)
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
