"""The days among which a worker chooses."""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from datetime import date

from thimble.clinical.visits.items import clashes, pairs_apart
from thimble.clinical.visits.plan import Alternative, Visit, VisitPlan
from thimble.clinical.visits.reasons import limits


def alternatives(plan: VisitPlan, visit: Visit) -> tuple[Alternative, ...]:
    """Other days for a visit that add no attendance, leave no window and break no rule.

    The other visits stay where they are. Days with the least change of distance come first, then the
    earliest. A day of another visit is among them where both may be held together: one attendance
    fewer, which only choices can have left possible.

    Raises:
        ValueError: the visit is not one of the plan's.
    """
    if visit not in plan.visits:
        raise ValueError(f"The plan has no such visit on {visit.day.isoformat()}")
    held = plan.held
    placed = [item for item in plan.items if item.id in held]
    group = [item for item in placed if item.id in visit.items]
    first, last = limits(group, placed, plan.days, plan.done, held, plan.chosen)
    inside = set(visit.items)
    taken = {
        held[two if one in inside else one]
        for one, two in pairs_apart(placed)
        if (one in inside) != (two in inside)
    }
    open_ = plan.days.days
    low = bisect_left(open_, first.day)
    high = len(open_) if last is None else bisect_right(open_, last.day)
    targets = [item.target for item in group if item.target is not None]

    def distance(day: date) -> int:
        return sum(abs((day - target).days) for target in targets)

    now = distance(visit.day)
    # Whoever else is held on that day, and those who come along, must have an hour in common there.
    clash = {
        day
        for one, two, day in clashes(placed)
        if (one in inside or held[one] == day)
        and (two in inside or held[two] == day)
        and (one in inside or two in inside)
    }
    found = [
        Alternative(day, distance(day) - now)
        for day in open_[low:high]
        if day != visit.day and day not in taken | clash
    ]
    return tuple(sorted(found, key=lambda each: (each.change, each.day)))


def choice(visit: Visit, day: date) -> dict[str, date]:
    """The whole visit on another day, to pass as `chosen` to `plan_visits`."""
    return dict.fromkeys(visit.items, day)
