"""The case over time: the picture, and its words beside it."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, tzinfo

from thimble.clinical.saying import minute
from thimble.ledger.assess import moment_of
from thimble.ledger.plan import Plan
from thimble.ledger.situation import Situation
from thimble.web.timeline.drawing import drawn
from thimble.web.timeline.scales import NARROW, WIDE
from thimble.web.timeline.stretches import Picture
from thimble.web.timeline.telling import Line, events_of, limits, summary_of, window_line


@dataclass(frozen=True, slots=True)
class Timeline:
    """The picture and its words. `svg` is escaped markup; "" where there is nothing to draw.

    `events` and `windows` say everything that the picture shows, and what it cannot show.
    """

    svg: str
    summary: str
    events: tuple[Line, ...]
    windows: tuple[Line, ...]

    @property
    def text(self) -> tuple[Line, ...]:
        """Every line: events first."""
        return (*self.events, *self.windows)


def draw(situation: Situation, plan: Plan, now: datetime, zone: tzinfo) -> Timeline:
    """The case over time as a picture and as text.

    Args:
        situation: what happened.
        plan: its windows; `plan.now` need not be `now`, but should be.
        now: the moment that the line stands for.
        zone: in which days and hours are shown.
    """
    start, exact, unsure_to = _start(situation, zone, now)
    events = events_of(situation, plan)
    event_lines = tuple(
        Line(event.what, minute(event.at, zone), "", number)
        for number, event in enumerate(events, start=1)
    )
    windows = tuple(window_line(action, plan, now, zone) for action in plan.actions)
    if start is None:
        summary = (
            "There is no instant to draw from: neither the exposure nor the report has a time."
        )
        return Timeline("", summary, event_lines, windows)

    summary = summary_of(situation, plan, start, exact, now, zone)
    shown = [a for a in plan.actions if limits(a) or a.done_at is not None]
    begin_words = "exposure" if exact else "report"
    picture = Picture(start, begin_words, unsure_to, now, zone, plan, shown, events)
    return Timeline(
        svg=drawn(picture, summary, WIDE) + drawn(picture, summary, NARROW),
        summary=summary,
        events=event_lines,
        windows=windows,
    )


def _start(
    situation: Situation, zone: tzinfo, now: datetime
) -> tuple[datetime | None, bool, datetime | None]:
    """Where the picture begins, whether that is the exposure, and up to when it may have been."""
    moment = moment_of(situation, zone, now)
    if moment.first is not None:
        unsure = moment.last if moment.last != moment.first else None
        return moment.first, True, unsure
    return situation.reported_at, False, None
