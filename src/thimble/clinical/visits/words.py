"""A plan of visits in sentences, for the worker and the nurse."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from thimble.clinical.saying import calendar_day, counted
from thimble.clinical.visits.plan import (
    Because,
    Bound,
    Cause,
    Nearest,
    Overdue,
    Placement,
    Refusal,
    Refused,
    Unplaceable,
    Visit,
    VisitPlan,
    Why,
)

Names = Mapping[str, str]
"""What people call the items, by id; an item without a name is called by its id."""


def sentences(plan: VisitPlan, names: Names | None = None) -> tuple[str, ...]:
    """The whole plan: what has no day first, because a human has to act on it; then each visit."""
    known = names or {}
    said = [overdue(each, known) for each in plan.overdue]
    said += [unplaceable(each, known) for each in plan.unplaceable]
    said += [refusal(each, known) for each in plan.refused]
    for each in plan.visits:
        said += visit(each, known)
    said += [f"The agreed date {calendar_day(day)} is no longer needed." for day in plan.dropped]
    if plan.added > 0:
        said.append(f"The chosen days cost {counted(plan.added, 'more visit')}.")
    return tuple(said)


def visit(found: Visit, names: Names | None = None) -> tuple[str, ...]:
    """One visit: what is held, its limits, and each item that is not on its target."""
    known = names or {}
    told = " (as agreed)" if found.agreed else ""
    said = [f"{calendar_day(found.day)}{told}: {_listed(found.items, known)}."]
    said.append(f"Not before {calendar_day(found.opens.day)}: {bound(found.opens, known)}.")
    if found.closes is not None:
        said.append(
            f"No later than {calendar_day(found.closes.day)}: {bound(found.closes, known, closing=True)}."
        )
    said += [text for each in found.placements if (text := placement(each, known))]
    return tuple(said)


def bound(found: Bound, names: Names | None = None, *, closing: bool = False) -> str:
    """What sets a first day, or with `closing` a last one, as half a sentence."""
    known = names or {}
    item = _name(found.item, known)
    if found.cause is Cause.TODAY:
        return "that is the first day planned"
    if found.cause is Cause.WINDOW:
        return f"the window of {item} {'closes' if closing else 'opens'}"
    other = _name(found.other, known)
    on = "" if found.other_day is None else f" ({calendar_day(found.other_day)})"
    span = "" if found.span is None else found.span.words
    if found.cause is Cause.AFTER:
        return f"{item} comes at least {span} after {other}{on}"
    if found.cause is Cause.WITHIN:
        return f"{item} comes at most {span} after {other}{on}"
    if found.cause is Cause.BEFORE:
        return f"{other}{on} comes at least {span} after {item}"
    return f"{other}{on} comes at most {span} after {item}"


def placement(found: Placement, names: Names | None = None) -> str:
    """Why an item is not on its target; "" when it is, or when it has none and nobody chose its day."""
    known = names or {}
    name = _name(found.item, known)
    if found.why is Why.CHOSEN:
        said = f"{name}: this day was chosen{_away(found)}"
        if found.outside:
            side = "before its window opens" if found.outside < 0 else "after its window closes"
            said += f"; {counted(abs(found.outside), 'day')} {side}"
        return f"{said}."
    if found.why in (Why.NO_TARGET, Why.ON_TARGET) or found.target is None:
        return ""
    start = f"{name}: moved from {calendar_day(found.target)} to {calendar_day(found.day)}{_away(found)}"
    if found.why is Why.PAST:
        return f"{start}, because the target is past."
    if found.why is Why.WINDOW:
        closed = f"; nearer to it: {found.note}" if found.note else ""
        return f"{start}, because the target lies outside its window{closed}."
    if found.why is Why.CLOSED:
        return f"{start}: {found.note}."
    if found.why is Why.RULE and found.bound is not None:
        return f"{start}, because {bound(found.bound, known)}."
    if found.why is Why.APART:
        return f"{start}, because it may not share a visit with {_listed(found.others, known)}."
    return f"{start}, to share the visit with {_listed(found.others, known)}."


def unplaceable(found: Unplaceable, names: Names | None = None) -> str:
    """An item without a day, and the nearest choices."""
    known = names or {}
    name, others = _name(found.item, known), _listed(found.others, known)
    window = f"from {calendar_day(found.opens.day)}"
    if found.closes is not None:
        window += f" to {calendar_day(found.closes.day)}"
    why = {
        Because.NO_OPEN_DAY: f"no open day lies in its window ({window})",
        Because.RULE: f"its distance from {others} leaves no day in its window",
        Because.BEYOND: f"its window ({window}) opens after the last day planned",
        Because.WAITS: f"it waits for {others}, which has no day",
        Because.CONFLICT: f"its rules or hours and those of {others} cannot all be kept",
    }[found.because]
    return f"{name} is not planned: {why}. {_choices(found.before, found.after)}"


def overdue(found: Overdue, names: Names | None = None) -> str:
    """An item that is late, and the first day it can be held."""
    name = _name(found.item, names or {})
    said = f"{name} is overdue by {counted(found.days_late, 'day')}: its last day was "
    said += f"{calendar_day(found.closes.day)}."
    if found.proposal is None:
        return f"{said} No open day can be proposed; a clinician decides."
    return f"{said} First open day: {calendar_day(found.proposal)}; a clinician decides."


def refusal(found: Refusal, names: Names | None = None) -> str:
    """Why a chosen day is not taken."""
    known = names or {}
    start = f"{_name(found.item, known)} cannot be held on {calendar_day(found.day)}"
    if found.because is Refused.CLOSED:
        return f"{start}: {found.note}."
    if found.because is Refused.CONFLICT:
        return f"{start}: together with it, {_listed(found.others, known)} would have no day."
    if found.bound is None:
        return f"{start}."
    late = found.because is Refused.TOO_LATE
    side = "no later than" if late else "not before"
    said = bound(found.bound, known, closing=late)
    return f"{start}: {side} {calendar_day(found.bound.day)}, because {said}."


def _choices(before: Nearest | None, after: Nearest | None) -> str:
    found = []
    if before is not None:
        found.append(f"{calendar_day(before.day)}, {counted(before.outside, 'day')} too early")
    if after is not None:
        found.append(f"{calendar_day(after.day)}, {counted(after.outside, 'day')} too late")
    if not found:
        return "A clinician decides."
    return f"Nearest open days: {'; '.join(found)}. A clinician decides."


def _away(found: Placement) -> str:
    if not found.off:
        return ""
    side = "before" if found.off < 0 else "after"
    return f" ({counted(abs(found.off), 'day')} {side} its target)"


def _name(item: str, names: Names) -> str:
    return names.get(item, item)


def _listed(items: Iterable[str], names: Names) -> str:
    found = [_name(item, names) for item in items]
    if len(found) < 2:
        return "".join(found)
    return f"{', '.join(found[:-1])} and {found[-1]}"
