"""Why a dose counts or not, in sentences; for an open one, which date would settle it."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date

from thimble.clinical.saying import calendar_day, month_name

from .calendar_days import step
from .judging import Judged
from .schedule import Schedule, products
from .walking import Given, Verdict, walk


def series_sentence(path: str, complete: bool, counted: int, plan: Schedule) -> str:
    """Which series the doses were judged by and how far it is."""
    words = next(way.words for way in plan.paths if way.id == path)
    doses = f"{counted} dose{'s' if counted != 1 else ''} count{'' if counted != 1 else 's'}"
    return f"Judged as the {words}: {doses}, {'complete' if complete else 'not complete'}."


def dose_sentences(
    judged: Judged, second: Judged | None, verdicts: Sequence[Verdict], born: int, plan: Schedule
) -> tuple[str, ...]:
    """One sentence a dose, in order. The last doses are those of the second series, if there is one."""
    begins = len(judged.doses) - (len(second.doses) if second else 0)
    return tuple(
        _sentence(place - begins, dose, verdict, second, born, plan)
        if second is not None and place >= begins
        else _sentence(place, dose, verdict, judged, born, plan)
        for place, (dose, verdict) in enumerate(zip(judged.doses, verdicts, strict=True))
    )


def _sentence(
    place: int, dose: Given, verdict: Verdict, judged: Judged, born: int, plan: Schedule
) -> str:
    product = products()[dose.cvx]
    what = f"The dose of {_when(dose.low, dose.high)} ({product.name})"
    if verdict is Verdict.COUNTS:
        return f"{what} counts."
    if verdict is Verdict.EXTRA:
        return f"{what} is an extra dose: the series was complete."
    if verdict is Verdict.SAME_DAY:
        return f"{what} counts once with the other dose of that day."
    if verdict is Verdict.OTHER_PRODUCT:
        return f"{what} is no dose of this series."
    if verdict is Verdict.INADVERTENT:
        return f"{what} does not count: the product is not for that age. It delays no other dose."
    if verdict is Verdict.TOO_OLD:
        return f"{what} does not count: the product or the series is not for that age."
    if verdict is Verdict.TOO_YOUNG:
        return f"{what} does not count: given before the minimum age."
    from_day = _counts_from(place, judged, born, plan)
    limit = "" if from_day is None else calendar_day(date.fromordinal(from_day))
    if verdict is Verdict.TOO_EARLY:
        if unsure := [_when(d.low, d.high) for d in judged.doses[:place] if d.low != d.high]:
            # Worked out with the latest day that the dose before it can have had.
            days = ", ".join(unsure)
            return f"{what} is not counted: it may have been too early. Find the day of {days}."
        return f"{what} does not count: it was given too early; it would have counted from {limit}."
    if from_day is not None and dose.low < from_day <= dose.high:
        return (
            f"{what} is not counted: its day is not known. It counts if it was on or after {limit}."
        )
    inexact = [_when(d.low, d.high) for d in judged.doses[: place + 1] if d.low != d.high]
    return (
        f"{what} is not counted: it may have been too early or the person too young or too old for it. "
        f"Find the day of {', '.join(inexact) or 'the dose'}."
    )


def _counts_from(place: int, judged: Judged, born: int, plan: Schedule) -> int | None:
    """The first day on which that dose would count on its path, with the allowance."""
    way = next(way for way in plan.paths if way.id == judged.path)
    before = walk(way, judged.doses[:place], born)
    if before.completed is not None:
        return None
    target = way.targets[len(before.counted)]
    days = [step(born, target.min_age)] if target.min_age else [born]
    if target.from_previous and before.previous is not None:
        days.append(step(before.previous, target.from_previous))
    for span, n in ((target.from_first, 0), (target.from_second, 1)):
        if span and len(before.counted) > n:
            days.append(step(judged.doses[before.counted[n]].high, span))
    least = products()[judged.doses[place].cvx].min_age
    if least:
        days.append(step(born, least) - plan.allowance + target.allowance)
    return max(days) - target.allowance


def titre_sentence(low: int, high: int, why: str) -> str:
    """That an anti-HBs was passed over, and why."""
    return f"The anti-HBs of {_when(low, high)} was passed over: {why}."


def _when(first: int, last: int) -> str:
    """The days that it can have been, no more exactly than they are known."""
    low, high = date.fromordinal(first), date.fromordinal(last)
    if low == high:
        return calendar_day(low)
    if (low.year, low.month) == (high.year, high.month):
        return f"{month_name(low.month)} {low.year}, day not known"
    return f"{low.year}, month not known"
