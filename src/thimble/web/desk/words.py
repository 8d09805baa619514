"""Instants, windows and reasons as the desk says them. Pure."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime, timedelta, tzinfo

from thimble.clinical.prophylaxis import tables as course_tables
from thimble.clinical.saying import day, elapsed, minute, opening
from thimble.clinical.source_law import tables as source_tables
from thimble.clinical.windows import WindowKind, best_within, span_down, window_state
from thimble.ledger.plan import Window
from thimble.protocol.citing import Cited, cited
from thimble.protocol.finding import STANDINGS, Reason
from thimble.protocol.protocol import Protocol
from thimble.protocol.vocabulary import Fact, Value

RuleLink = Callable[[str, str], str]
"""Takes a table and a rule; returns the address where both are shown, or "" for none."""


def no_link(table: str, rule: str) -> str:
    """There is no page for rules."""
    del table, rule
    return ""


def point(at: datetime, now: datetime, zone: tzinfo) -> str:
    """An instant without its distance: "02:40" today, "tomorrow 02:40", "Sat 28 Nov 2026, 02:40"."""
    local, today = at.astimezone(zone), now.astimezone(zone).date()
    for ahead, word in ((0, ""), (1, "tomorrow "), (-1, "yesterday ")):
        if local.date() == today + timedelta(days=ahead):
            return f"{word}{local:%H:%M}"
    return minute(at, zone)


_HOURS_UP_TO = timedelta(hours=96)


def left(span: timedelta) -> str:
    """A length of time that is left, in whole hours to four days: a limit of 72 h is counted in hours.

    >>> left(timedelta(hours=70, minutes=48)), left(timedelta(hours=96))
    ('70 h', '4 days')
    """
    if timedelta(hours=48) <= span < _HOURS_UP_TO:
        return f"{span // timedelta(hours=1)} h"
    return span_down(span)


def gone(since: datetime, now: datetime) -> str:
    """How long something is past: to four days in hours and minutes, as limits are counted in them."""
    span = now - since
    if timedelta(hours=72) <= span < _HOURS_UP_TO:
        return f"{span // timedelta(hours=1)} h {span // timedelta(minutes=1) % 60} min"
    return elapsed(since, now)


@dataclass(frozen=True, slots=True)
class Clock:
    """How long ago the exposure was, and when. `known` is False where nobody has said."""

    since: str
    at: str
    known: bool

    @classmethod
    def of(
        cls,
        occurred_at: datetime | None,
        precision: str,
        now: datetime,
        zone: tzinfo,
        *,
        cannot_be_known: bool = False,
    ) -> Clock:
        """The clock of a case. An exposure known to the hour or the day counts from its first moment."""
        if occurred_at is None:
            if cannot_be_known:
                return cls("Time of the exposure cannot be known", "", False)
            return cls("Time of the exposure not known yet", "", False)
        if occurred_at > now:
            return cls(
                "The exposure is recorded as later than now", minute(occurred_at, zone), False
            )
        local = occurred_at.astimezone(zone)
        if precision == "date":
            at = (
                f"on {day(occurred_at, zone)}; the hour is not known, so time counts from the "
                "start of that day"
            )
            return cls(f"Up to {gone(occurred_at, now)} since the exposure", at, True)
        if precision == "hour":
            # As the plan counts: from the first moment that it may have been.
            start = local.replace(minute=0, second=0, microsecond=0)
            at = f"in the hour from {point(start, now, zone)}"
            return cls(f"Up to {gone(start, now)} since the exposure", at, True)
        where = (
            f"{local:%H:%M}"
            if local.date() == now.astimezone(zone).date()
            else minute(occurred_at, zone)
        )
        return cls(f"{gone(occurred_at, now)} since the exposure", f"at {where}", True)


@dataclass(frozen=True, slots=True)
class WindowWords:
    """A window: how much is left, until when, and the share left (1 to 0) for a ring, if it has one.

    `closed` is the state after the last moment: it is said, and never reads as "too late to help".
    """

    left: str
    until: str
    share: float | None
    closed: bool = False
    opens: str = ""

    @classmethod
    def of(
        cls,
        window: Window,
        now: datetime,
        zone: tzinfo,
        *,
        since: datetime | None = None,
        waits_for: str = "",
    ) -> WindowWords:
        """The words for a window at `now`; `waits_for` is the wording of the action it counts from."""
        if window.waits_for:
            after = waits_for or window.waits_for.replace("_", " ")
            return cls(f"Counts from: {after}", "", None)
        if window.earliest is None and window.target is None and window.latest is None:
            return cls("", "", None)
        state = window_state(window.earliest, window.target, window.latest, now, since=since)
        share = state.fraction_left
        if state.kind is WindowKind.NOT_YET and window.earliest is not None:
            ends = window.latest or window.target
            until = (
                "" if ends is None else f"{minute(window.earliest, zone)} to {minute(ends, zone)}"
            )
            if ends == window.earliest or ends is None:
                until = f"from {minute(window.earliest, zone)}"
            return cls(opening(state.words), until, None, opens=state.words)
        if state.kind is WindowKind.LATE and window.latest is not None:
            over = "" if state.span is None else span_down(state.span)
            return cls(f"{over} late", f"was due by {minute(window.latest, zone)}", 0.0, True)
        return _open(window, share, now, zone, since)


def _open(
    window: Window, share: float | None, now: datetime, zone: tzinfo, since: datetime | None
) -> WindowWords:
    """A window that has opened and has not closed: the limit that comes next stands first."""
    target, latest = window.target, window.latest
    last = "" if latest is None else f"no later than {point(latest, now, zone)}"
    if target is not None and target != latest and now <= target:
        # A target in 44 minutes is not "71 hours left".
        best = f"best by {point(target, now, zone)}"
        until = f"{best}; {last} ({left(latest - now)})" if latest is not None else best
        return WindowWords(
            best_within(target - now, left).capitalize(),
            until,
            _share(window.earliest or since, target, now),
        )
    if latest is not None:
        if target is None or target == latest:
            return WindowWords(f"{left(latest - now)} left", last, share)
        passed = f"best time passed at {point(target, now, zone)}"
        return WindowWords("Now", f"{passed}; {last} ({left(latest - now)} left)", share)
    if target is not None:
        return WindowWords("Now", f"best time passed at {point(target, now, zone)}", None)
    return WindowWords("As soon as it can be done", "", None)


def _share(start: datetime | None, end: datetime, now: datetime) -> float | None:
    if start is None or start >= end:
        return None
    return max(0.0, min(1.0, (end - now) / (end - start)))


@dataclass(frozen=True, slots=True)
class ReasonWords:
    """One rule as it opens: which, from where, how well known."""

    rule: str
    question: str
    href: str
    sources: tuple[Cited, ...]
    standing: str
    confirmed: bool
    note: str

    @classmethod
    def of(cls, reason: Reason, protocol: Protocol, link: RuleLink = no_link) -> ReasonWords:
        """A reason in words."""
        # A course and the chase of the source have tables that every site uses beside its protocol.
        beside = (course_tables(), source_tables())
        own = (p for p in beside if any(table.id == reason.table for table in p.tables))
        home = next(own, protocol)
        try:
            question = home.table(reason.table).question
        except KeyError:
            question = reason.table.replace("_", " ")
        return cls(
            rule=reason.rule,
            question=question,
            href=link(reason.table, reason.rule) if home is protocol else "",
            sources=cited(reason.source, home.sources),
            standing=STANDINGS[reason.standing],
            confirmed=reason.confirmed,
            note=reason.note,
        )


def join(parts: tuple[str, ...] | list[str], word: str = "or") -> str:
    """ "a", "a or b", "a, b or c"."""
    if len(parts) < 2:
        return "".join(parts)
    return f"{', '.join(parts[:-1])} {word} {parts[-1]}"


def value_words(fact: Fact, value: Value) -> str:
    """A value as people say it: of years only the whole ones, never rounded up.

    The tables read the value itself.
    """
    if fact.unit != "years" or not isinstance(value, int | float):
        return fact.label(value)
    whole = int(value)
    if not whole:
        return "less than a year"
    return f"{whole} {'year' if whole == 1 else 'years'}"
