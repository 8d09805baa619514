"""Where a moment stands in a window of time, and the words for it.

Limits are inclusive: at exactly 72:00:00 a 72-hour limit is still kept. Words never promise more than
there is: time left is cut down to whole units, time until an opening is counted up.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from enum import StrEnum

from thimble.clinical.durations import aware

_MINUTE = timedelta(minutes=1)
_HOUR = timedelta(hours=1)
_DAY = timedelta(days=1)
_WEEK = timedelta(weeks=1)
_MONTH = timedelta(days=30.4375)
_YEAR = timedelta(days=365.25)
_NOTHING = timedelta(0)


class WindowKind(StrEnum):
    """Before it, in it, after its best time, after its end, or without an end."""

    NOT_YET = "not_yet"
    OPEN = "open"
    PAST_TARGET = "past_target"
    LATE = "late"
    NO_LIMIT = "no_limit"


@dataclass(frozen=True, slots=True)
class WindowState:
    """Where `now` stands in a window.

    `span` is what the words count: until the window opens (not_yet), until its last moment, or its
    target where there is no last moment (open, past_target with an end), since its last moment (late),
    since its target (past_target without an end); None for no_limit.
    `fraction_left` goes from 1 at the start to 0 at the last moment, for a ring that empties; None
    where no start or no end is known. `until` is the limit that comes next, None when none does.
    """

    kind: WindowKind
    span: timedelta | None
    fraction_left: float | None
    until: datetime | None
    words: str


def window_state(
    earliest: datetime | None,
    target: datetime | None,
    latest: datetime | None,
    now: datetime,
    *,
    since: datetime | None = None,
) -> WindowState:
    """The state of a window at `now`.

    Args:
        earliest: not before; inclusive.
        target: best by; inclusive; a target outside the window counts as its nearer limit.
        latest: no later than; inclusive.
        now: the moment.
        since: where the ring starts when there is no `earliest`, for example the exposure.

    Raises:
        ValueError: an instant without a time zone, or a window that ends before it opens.
    """
    opens, best, ends, start = (
        None if instant is None else aware(instant, what).astimezone(UTC)
        for instant, what in (
            (earliest, "The earliest instant"),
            (target, "The target"),
            (latest, "The latest instant"),
            (since, "The start"),
        )
    )
    moment = aware(now, "Now").astimezone(UTC)
    if opens is not None and ends is not None and opens > ends:
        raise ValueError(
            "A window opens before its latest instant; found "
            f"{opens.isoformat()} and {ends.isoformat()}"
        )
    # PT24H may lie an hour beyond P1D when the clocks change: such a target moves to the limit.
    if best is not None:
        best = best if opens is None else max(best, opens)
        best = best if ends is None else min(best, ends)
    fraction = _fraction_left(opens if opens is not None else start, ends or best, moment)

    if opens is not None and moment < opens:
        ahead = opens - moment
        return WindowState(
            WindowKind.NOT_YET, ahead, fraction, earliest, f"opens in {span_up(ahead)}"
        )
    if ends is not None and moment > ends:
        over = moment - ends
        return WindowState(WindowKind.LATE, over, fraction, None, f"{span_down(over)} late")
    if best is not None and moment > best:
        if ends is None:
            over = moment - best
            words = f"{span_down(over)} past the target"
            return WindowState(WindowKind.PAST_TARGET, over, fraction, None, words)
        left = ends - moment
        words = f"{span_down(left)} left, past the target"
        return WindowState(WindowKind.PAST_TARGET, left, fraction, latest, words)
    if ends is not None:
        left = ends - moment
        until = target if target is not None and best == target else latest
        return WindowState(WindowKind.OPEN, left, fraction, until, f"{span_down(left)} left")
    if best is not None:
        left = best - moment
        return WindowState(
            WindowKind.OPEN, left, fraction, target, f"{span_down(left)} to the target"
        )
    return WindowState(WindowKind.NO_LIMIT, None, None, None, "no time limit")


def _fraction_left(start: datetime | None, end: datetime | None, now: datetime) -> float | None:
    if start is None or end is None:
        return None
    if now <= start:
        return 1.0
    # Checked after the start, so that a window of a single moment is full at it and empty after.
    if now >= end:
        return 0.0
    return (end - now) / (end - start)


def span_down(span: timedelta) -> str:
    """A length of time in words, cut down to whole units: for time left and time past.

    Raises:
        ValueError: a negative span.

    >>> span_down(timedelta(hours=5, minutes=59)), span_down(timedelta(minutes=35, seconds=59))
    ('5 h', '35 min')
    """
    return _span(span, up=False)


def best_within(span: timedelta, words: Callable[[timedelta], str] | None = None) -> str:
    """How long it is still best to do something: "best now" in the last minute.

    `words` says a length of time; without it, `span_down`.

    Raises:
        ValueError: a negative span.

    >>> best_within(timedelta(minutes=44)), best_within(timedelta(seconds=59))
    ('best within 44 min', 'best now')
    """
    said = (words or span_down)(span)
    return "best now" if span < _MINUTE else f"best within {said}"


def span_up(span: timedelta) -> str:
    """A length of time in words, counted up to whole units: for time until something opens.

    Raises:
        ValueError: a negative span.

    >>> span_up(timedelta(days=21)), span_up(timedelta(minutes=34, seconds=1))
    ('3 weeks', '35 min')
    """
    return _span(span, up=True)


def ago(then: datetime, now: datetime) -> str:
    """How long ago an instant was: "just now", "35 min ago"; "in 5 h" for one that lies ahead.

    Raises:
        ValueError: an instant without a time zone.
    """
    past = aware(now, "Now").astimezone(UTC) - aware(then).astimezone(UTC)
    if past < _NOTHING:
        return f"in {span_up(-past)}"
    return "just now" if past < _MINUTE else f"{span_down(past)} ago"


def _span(span: timedelta, *, up: bool) -> str:
    if span < _NOTHING:
        raise ValueError(f"A span of time is 0 or more; found {span}")

    def whole(unit: timedelta) -> int:
        return -(-span // unit) if up else span // unit

    minutes = whole(_MINUTE)
    if span < _MINUTE:
        return "less than 1 min"
    if minutes < 60:
        return f"{minutes} min"
    if minutes < 180:
        hours, rest = divmod(minutes, 60)
        return f"{hours} h {rest} min" if rest else f"{hours} h"
    if whole(_HOUR) < 48:
        return f"{whole(_HOUR)} h"
    if whole(_DAY) < 21:
        return f"{whole(_DAY)} days"
    # To 26 weeks inclusive, so that the first count of months is a full six.
    if whole(_WEEK) < 27:
        return f"{whole(_WEEK)} weeks"
    if whole(_MONTH) < 24:
        return f"{whole(_MONTH)} months"
    return f"{whole(_YEAR)} years"
