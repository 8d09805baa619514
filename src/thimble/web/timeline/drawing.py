"""The picture drawn: stretch under stretch, wide or narrow."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import datetime
from html import escape

from thimble.clinical.saying import day, minute
from thimble.ledger.next_thing import short
from thimble.ledger.plan import Action, State
from thimble.web.timeline.marks import MARK_TEXT, marks
from thimble.web.timeline.scales import Scale, Size, utc
from thimble.web.timeline.stretches import Picture, Stretch, stretches
from thimble.web.timeline.svg import LETTER, fitted, number, tag, words
from thimble.web.timeline.telling import end_of, window_line


def drawn(picture: Picture, summary: str, size: Size) -> str:
    """One drawing; `summary` is what it is to whoever cannot see it."""
    sheet = _Sheet(picture, size)
    for stretch in stretches(picture, size):
        sheet.stretch(stretch)
    height = math.ceil(sheet.y + size.margin)
    ids = (f"tl-title-{size.name}", f"tl-desc-{size.name}")
    return tag(
        "svg",
        tag("title", "The case over time", id=ids[0])
        + tag("desc", escape(summary), id=ids[1])
        + "".join(sheet.drawn),
        xmlns="http://www.w3.org/2000/svg",
        viewBox=f"0 0 {number(size.width)} {height}",
        class_=f"tl-{size.name}",
        role="img",
        aria_labelledby=" ".join(ids),
    )


@dataclass(slots=True)
class _Sheet:
    """What has been drawn so far, and down to where."""

    picture: Picture
    size: Size
    y: float = 0.0
    drawn: list[str] = field(default_factory=list)

    def add(self, *elements: str) -> None:
        self.drawn.extend(elements)

    def stretch(self, drawn: Stretch) -> None:
        """One stretch under what has been drawn so far."""
        size, scale = self.size, drawn.scale
        self.y += size.text * (2.2 if self.drawn else 1.2)
        self.add(words(drawn.title, scale.left, self.y, size.text * 1.15, "tl-head"))
        self.y += size.small * 1.5
        self.add(words(drawn.axis, scale.left, self.y, size.small, "tl-quiet"))
        self.y += size.small * 1.6
        self._ticks(scale, drawn.ticks)
        self.y += size.small * 0.6
        line_y = self.y
        backdrop = len(self.drawn)
        if self.picture.unsure_to is not None:
            self._unsure(scale, self.picture.unsure_to)
        self._events(scale, drawn.events_after)
        for action in drawn.rows:
            self._row(scale, action)
        bottom = self.y + size.small * 0.4
        behind = [
            tag("line", x1=scale.x(at), x2=scale.x(at), y1=line_y, y2=bottom, class_="tl-grid")
            for at, _ in drawn.ticks
        ]
        if scale.holds(self.picture.now):
            at_now = scale.x(self.picture.now)
            behind.append(tag("line", x1=at_now, x2=at_now, y1=line_y, y2=bottom, class_="tl-now"))
        # Behind the words, whose pale edge keeps them readable.
        self.drawn[backdrop:backdrop] = behind
        self.add(tag("line", x1=scale.left, x2=scale.right, y1=line_y, y2=line_y, class_="tl-axis"))
        self.y = bottom
        self._days(scale, drawn.midnights, bottom)
        if scale.holds(self.picture.now):
            self._now(scale)
        self.y += size.small * 0.4

    def _ticks(self, scale: Scale, ticks: Sequence[tuple[datetime, str]]) -> None:
        for place, (at, label) in enumerate(ticks):
            anchor = "start" if place == 0 else "end" if place == len(ticks) - 1 else "middle"
            x = scale.x(at)
            if anchor == "end" and x < scale.right - 1:
                anchor = "middle"
            self.add(words(label, x, self.y, self.size.small, "tl-quiet", anchor=anchor))

    def _unsure(self, scale: Scale, until: datetime) -> None:
        """A shade over the time in which the exposure may have been."""
        x, end = scale.x(self.picture.start), scale.x(until)
        height = self.size.small * 1.6
        self.add(
            tag("rect", x=x, y=self.y, width=max(2.0, end - x), height=height, class_="tl-unsure")
        )

    def _events(self, scale: Scale, after: datetime) -> None:
        """Numbered marks on one line. Those that would cover each other are one mark with all their
        numbers; a tick on the axis stands for each event at its own place.

        What a finer scale has shown (up to `after`) is left out, but for the very start.
        """
        size = self.size
        shown = [
            (number, event)
            for number, event in enumerate(self.picture.events, start=1)
            if scale.holds(event.at)
            and (utc(event.at) > utc(after) or utc(event.at) == utc(self.picture.start))
        ]
        if not shown:
            return
        radius = size.small * 0.72
        top = self.y + 5
        for _, event in shown:
            x = scale.x(event.at)
            self.add(tag("line", x1=x, x2=x, y1=self.y, y2=top + 1, class_="tl-tick"))
        for mark in marks([(n, scale.x(e.at)) for n, e in shown], scale, size):
            said = "; ".join(
                f"{number}: {event.what}, {minute(event.at, self.picture.zone)}"
                for number, event in shown
                if number in mark.numbers
            )
            self.add(
                tag(
                    "g",
                    tag("title", escape(said))
                    + tag(
                        "rect", x=mark.left, y=top, width=mark.width, height=2 * radius, rx=radius,
                        class_="tl-mark",
                    )
                    + words(
                        mark.label, mark.left + mark.width / 2, top + radius + size.small * 0.33,
                        size.small * MARK_TEXT, anchor="middle",
                    ),
                    class_="tl-event",
                )
            )  # fmt: skip
        self.y = top + 2 * radius + 4

    def _row(self, scale: Scale, action: Action) -> None:
        """One window: its words, and under them its bar with target and doing."""
        size = self.size
        end = end_of(action) or self.picture.start
        x, x_end = scale.x(action.window.earliest or self.picture.start), scale.x(end)
        label_y = self.y + size.text * 1.25
        label, label_end = self._label(action, scale, x, x_end, label_y, size)
        y = label_end + size.text * 0.42
        height = size.text * 0.72
        middle = y + height / 2
        line = window_line(action, self.picture.plan, self.picture.now, self.picture.zone)
        elements = [
            tag("title", escape(f"{line.what}: {line.when}; {line.state}")),
            label,
            tag(
                "rect",
                x=x,
                y=y,
                width=max(3.0, x_end - x),
                height=height,
                rx=2.0,
                class_=f"tl-bar {_bar_class(action)}",
            ),
        ]
        if utc(end) > utc(scale.end):
            # The window goes on beyond this scale: an arrow head, not an end.
            at = f"M{number(scale.right + 1)} {number(middle - 5.0)}l6 5l-6 5"
            elements.append(tag("path", d=at, class_="tl-on"))
        target = action.window.target
        if target is not None and scale.holds(target):
            at_target = scale.x(target)
            elements.append(
                tag("line", x1=at_target, x2=at_target, y1=y - 3, y2=y + height + 3,
                    class_="tl-target")
            )  # fmt: skip
        if action.done_at is not None and scale.holds(action.done_at):
            at_done = scale.x(action.done_at)
            elements.append(tag("circle", cx=at_done, cy=middle, r=height * 0.55, class_="tl-done"))
        self.add(tag("g", "".join(elements), class_="tl-window", data_action=action.id))
        self.y = y + height + size.text * 0.35

    def _label(
        self, action: Action, scale: Scale, x: float, x_end: float, y: float, size: Size
    ) -> tuple[str, float]:
        """What a bar is, above it, and the last line's height: from the bar's start on where there
        is room, else up to its end, else over the whole width on two lines."""
        state = window_line(action, self.picture.plan, self.picture.now, self.picture.zone).state
        if action.done_at is not None:
            near = day(action.done_at, self.picture.zone) == day(
                self.picture.now, self.picture.zone
            )
            clock = f"{action.done_at.astimezone(self.picture.zone):%H:%M}"
            state = f"done {clock if near else day(action.done_at, self.picture.zone)}"
        text = f"{short(action.what)} · {state}"
        length = len(text) * size.text * LETTER
        if x + length <= scale.right:
            return words(text, x, y, size.text), y
        if x_end - length >= scale.left:
            return words(text, x_end, y, size.text, anchor="end"), y
        width = scale.right - scale.left
        below = y + size.text * 1.2
        lines = words(fitted(short(action.what), width, size.text), scale.left, y, size.text)
        lines += words(fitted(state, width, size.small), scale.left, below, size.small, "tl-quiet")
        return lines, below

    def _days(
        self,
        scale: Scale,
        days: Sequence[tuple[datetime, str]],
        bottom: float,
    ) -> None:
        if not days:
            return
        size = self.size
        self.y += size.small * 1.1
        taken = scale.left - size.small
        for at, label in days:
            x = scale.x(at)
            self.add(
                tag("line", x1=x, x2=x, y1=bottom - 4, y2=bottom + 5, class_="tl-axis tl-midnight")
            )
            length = len(label) * size.small * LETTER
            begin = min(x + 4, scale.right - length)
            # A label that would run into the one before is left out; its tick stays.
            if begin > taken:
                self.add(words(label, begin, self.y + size.small * 0.35, size.small, "tl-quiet"))
                taken = begin + length + size.small * 0.4
        self.y += size.small * 0.4

    def _now(self, scale: Scale) -> None:
        """The words under the line for now."""
        size = self.size
        x = scale.x(self.picture.now)
        self.y += size.small * 1.2
        label = f"now, {self.picture.now.astimezone(self.picture.zone):%H:%M}"
        anchor = "start" if x < scale.left + size.small * 4 else "middle"
        if x > scale.right - size.small * 4:
            anchor = "end"
        self.add(words(label, x, self.y, size.small, "tl-now-text", anchor=anchor))


def _bar_class(action: Action) -> str:
    if action.state is State.DONE:
        return "tl-bar--done"
    if action.state is State.LATE:
        return "tl-bar--late"
    if action.state in (State.NO_LONGER_NEEDED, State.DEPARTED):
        return "tl-bar--off"
    return "tl-bar--open" if action.stands else "tl-bar--maybe"
