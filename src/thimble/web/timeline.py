"""The picture of a case over time: windows as bars, events as marks, now as a line.

Three scales, each honest in itself: the first six hours and the first three days in elapsed time, and
the months to the last window in calendar months. An event stands in the finest scale that reaches it; a
window in each that one of its limits falls in. Drawn twice, wide and narrow, so that the words keep
their size on a phone; the style sheet shows one. Everything in the picture is also in `text`.

A pure function of its arguments. The picture holds no style of its own: colours come from the classes
of `worklist.css`, so that it follows the dark mode, prints, and passes a strict content policy.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime, time, timedelta, tzinfo
from html import escape

from thimble.clinical.durations import Duration, add, on_the_wall
from thimble.clinical.saying import day, minute
from thimble.clinical.windows import span_down
from thimble.ledger.assess import moment_of
from thimble.ledger.exposed import say
from thimble.ledger.next_thing import short
from thimble.ledger.plan import TO_DO, Action, Plan, Situation, State

HOURS_SCALE = timedelta(hours=6)
DAYS_SCALE = timedelta(hours=72)
"""How long the first and the second scale run."""

HOUR_TICKS = (0, 1, 2, 3, 4, 5, 6)
DAY_TICKS = (0, 6, 12, 24, 36, 48, 60, 72)
STATES = {
    State.OPEN: "to do",
    State.DONE: "done",
    State.LATE: "past its window",
    State.NO_LONGER_NEEDED: "no longer needed",
    State.DEPARTED: "decided otherwise",
}
STEPS = {
    "asked": "Source patient asked",
    "consented": "Source patient consented",
    "refused": "Source patient refused",
    "lacks_capacity": "Source patient cannot decide now",
    "sampled": "Blood of the source patient taken",
    "died": "Source patient died",
    "discharged": "Source patient went home",
    "not_identified": "Nobody knows who the source is",
    "authorised": "Decided that the source may be tested",
}


@dataclass(frozen=True, slots=True)
class Line:
    """One line of the text: an event (with `at`) or a window (with its limits), and its state.

    `mark` is the number that the event has in the picture.
    """

    what: str
    when: str
    state: str
    mark: int | None = None


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


@dataclass(frozen=True, slots=True)
class Event:
    """Something that happened."""

    at: datetime
    what: str


@dataclass(frozen=True, slots=True)
class Scale:
    """Instants to places on a line. `x(at)` is linear in elapsed time and clipped to the ends."""

    start: datetime
    end: datetime
    left: float
    right: float

    def x(self, at: datetime) -> float:
        """The place of an instant, in the picture's own units."""
        share = (_utc(at) - _utc(self.start)) / (_utc(self.end) - _utc(self.start))
        return self.left + (self.right - self.left) * min(1.0, max(0.0, share))

    def holds(self, at: datetime) -> bool:
        """Whether an instant lies on the line."""
        return _utc(self.start) <= _utc(at) <= _utc(self.end)


@dataclass(frozen=True, slots=True)
class Size:
    """The measures of one drawing, in its own units."""

    name: str
    width: float
    text: float
    small: float
    margin: float = 12.0

    @property
    def row(self) -> float:
        """Height of one window with its words above it."""
        return self.text * 2.9


WIDE = Size("wide", 960.0, 15.0, 13.0)
NARROW = Size("narrow", 360.0, 14.5, 13.0)


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
    numbered = {index: number for number, index in enumerate(range(len(events)), start=1)}
    event_lines = tuple(
        Line(event.what, minute(event.at, zone), "", numbered[index])
        for index, event in enumerate(events)
    )
    windows = tuple(_window_line(action, plan, now, zone) for action in plan.actions)
    if start is None:
        summary = (
            "There is no instant to draw from: neither the exposure nor the report has a time."
        )
        return Timeline("", summary, event_lines, windows)

    summary = _summary(situation, plan, start, exact, now, zone)
    shown = [a for a in plan.actions if _limits(a) or a.done_at is not None]
    begin_words = "exposure" if exact else "report"
    frame = _Frame(start, begin_words, unsure_to, now, zone, plan, shown, events, summary)
    return Timeline(
        svg=frame.svg(WIDE) + frame.svg(NARROW),
        summary=summary,
        events=event_lines,
        windows=windows,
    )


def events_of(situation: Situation, plan: Plan) -> tuple[Event, ...]:
    """What happened, in order of time: report, steps with the source, things done, signatures."""
    found: list[Event] = []
    if situation.occurred_at is not None:
        words = {"hour": "Exposure (to the hour)", "date": "Exposure (on this day)"}
        found.append(
            Event(situation.occurred_at, words.get(situation.occurred_at_precision, "Exposure"))
        )
    if situation.reported_at is not None:
        found.append(Event(situation.reported_at, "Reported"))
    found += [
        Event(at, say(STEPS.get(step, step), situation))
        for step, at in situation.source_steps.items()
    ]
    found += [
        Event(action.done_at, f"Done: {action.what}")
        for action in plan.actions
        if action.done_at is not None
    ]
    found += [Event(signed.at, "Plan signed") for signed in situation.signed]
    found += [
        Event(departure.at, f"Decided otherwise: {departure.decided}")
        for departure in situation.departures
    ]
    if situation.closed_at is not None:
        found.append(Event(situation.closed_at, "Case closed"))
    return tuple(sorted(found, key=lambda event: _utc(event.at)))


def _start(
    situation: Situation, zone: tzinfo, now: datetime
) -> tuple[datetime | None, bool, datetime | None]:
    """Where the picture begins, whether that is the exposure, and up to when it may have been."""
    moment = moment_of(situation, zone, now)
    if moment.first is not None:
        unsure = moment.last if moment.last != moment.first else None
        return moment.first, True, unsure
    return situation.reported_at, False, None


def _limits(action: Action) -> tuple[datetime, ...]:
    window = action.window
    return tuple(at for at in (window.earliest, window.target, window.latest) if at is not None)


def end_of(action: Action) -> datetime | None:
    """Where a window's bar ends: its latest instant, else its target; None if it has neither."""
    return action.window.latest or action.window.target


def _window_line(action: Action, plan: Plan, now: datetime, zone: tzinfo) -> Line:
    window = action.window
    said = [
        f"{word} {minute(at, zone)}"
        for word, at in (
            ("from", window.earliest),
            ("best by", window.target),
            ("no later than", window.latest),
        )
        if at is not None
    ]
    if not said:
        waits = next((a.what for a in plan.actions if a.id == window.waits_for), window.waits_for)
        said = [f"after: {waits}" if window.waits_for else "no time limit"]
    state = STATES[action.state]
    if action.state is State.DONE and action.done_at is not None:
        state = f"done {minute(action.done_at, zone)}"
    elif action.state is State.OPEN:
        state = _left(action, now)
    if not action.stands and action.done_at is None:
        state = f"may be needed; {state}"
    return Line(action.what, ", ".join(said), state)


def _left(action: Action, now: datetime) -> str:
    """An open action in few words."""
    window = action.window
    if window.earliest is not None and window.earliest > now:
        return "not yet open"
    if window.latest is not None:
        return f"to do, {span_down(max(window.latest - now, timedelta(0)))} left"
    if window.target is not None and window.target < now:
        return "to do, past its target"
    return "to do"


def _summary(
    situation: Situation, plan: Plan, start: datetime, exact: bool, now: datetime, zone: tzinfo
) -> str:
    begins = "the exposure" if exact else "the report, as the time of the exposure is not known"
    to_do = [a for a in plan.actions if a.state in TO_DO]
    done = sum(a.state is State.DONE for a in plan.actions)
    words = (
        f"The case over time, from {begins} on {minute(start, zone)}; now is {minute(now, zone)}. "
    )
    words += f"{_count(done, 'thing')} done, {_count(len(to_do), 'thing')} to do."
    closing = [(at, a) for a in to_do if (at := end_of(a)) is not None and _utc(at) >= _utc(now)]
    if closing:
        at, action = min(closing, key=lambda pair: _utc(pair[0]))
        words += f" Next to close: {action.what}, {minute(at, zone)}."
    if situation.closed_at is not None:
        words += f" Closed on {minute(situation.closed_at, zone)}."
    return words


def _count(number: int, thing: str) -> str:
    return f"{number} {thing}{'' if number == 1 else 's'}"


def _utc(at: datetime) -> datetime:
    return at.astimezone(UTC)


# -- drawing --------------------------------------------------------------------------------------


def tag(name: str, content: str = "", **attributes: object) -> str:
    """An element. `content` is markup; attributes are escaped; `class_` is `class`."""
    written = "".join(
        f' {key.rstrip("_").replace("_", "-")}="{escape(_number(value), quote=True)}"'
        for key, value in attributes.items()
    )
    return f"<{name}{written}>{content}</{name}>" if content else f"<{name}{written}/>"


def _number(value: object) -> str:
    return f"{value:.2f}".rstrip("0").rstrip(".") if isinstance(value, float) else str(value)


def words(text: str, x: float, y: float, size: float, *classes: str, anchor: str = "") -> str:
    """A line of text."""
    more = {"text_anchor": anchor} if anchor else {}
    names = " ".join(("tl-text", *classes))
    return tag("text", escape(text), x=x, y=y, font_size=size, class_=names, **more)


LETTER = 0.53
"""The width of a letter on average, as a share of its size: to keep words inside the picture."""


def fitted(text: str, width: float, size: float) -> str:
    """A text cut to what fits a width, at a word, with … where something is left out.

    The whole of it stands in the text beside the picture.
    """
    most = max(8, int(width / (size * LETTER)))
    if len(text) <= most:
        return text
    cut = text[: most - 1].rsplit(" ", 1)[0].rstrip(" ,;:(·")
    return f"{cut}…"


_MARK_TEXT = 0.92
"""The size of a number in its mark, as a share of the small words."""


@dataclass(frozen=True, slots=True)
class _Mark:
    """One mark for events that stand close together: their numbers, and where it is drawn."""

    numbers: tuple[int, ...]
    first: float
    last: float
    left: float
    width: float

    @property
    def label(self) -> str:
        """The numbers, runs of them as "3–9"."""
        return numbers_in_words(self.numbers)

    @classmethod
    def of(
        cls, numbers: tuple[int, ...], first: float, last: float, scale: Scale, size: Size
    ) -> _Mark:
        """A mark in the middle of its events, inside the picture."""
        least = size.small * 0.72 * 2
        label = numbers_in_words(numbers)
        long = len(label) * size.small * _MARK_TEXT * LETTER + size.small * 0.9
        width = least if len(label) <= 2 else max(least, long)
        left = min(max((first + last - width) / 2, scale.left), scale.right - width)
        return cls(numbers, first, last, left, width)


def _marks(places: Sequence[tuple[int, float]], scale: Scale, size: Size) -> list[_Mark]:
    """Marks from left to right, none over another. `places` are numbers and where they stand."""
    marks: list[_Mark] = []
    for number, x in places:
        mark = _Mark.of((number,), x, x, scale, size)
        while marks and marks[-1].left + marks[-1].width + 2 > mark.left:
            before = marks.pop()
            numbers = before.numbers + mark.numbers
            mark = _Mark.of(numbers, before.first, mark.last, scale, size)
        marks.append(mark)
    return marks


def numbers_in_words(numbers: Sequence[int]) -> str:
    """Ascending numbers, with a dash for what follows on: "1, 3–9"; two in a row are named both.

    >>> numbers_in_words((1, 3, 4, 5, 8, 9))
    '1, 3–5, 8, 9'
    """
    runs: list[list[int]] = []
    for number in numbers:
        if runs and number == runs[-1][-1] + 1:
            runs[-1].append(number)
        else:
            runs.append([number])
    return ", ".join(
        f"{run[0]}–{run[-1]}" if len(run) > 2 else ", ".join(str(number) for number in run)
        for run in runs
    )


@dataclass(slots=True)
class _Sheet:
    """What has been drawn so far, and down to where."""

    size: Size
    y: float = 0.0
    drawn: list[str] = field(default_factory=list)

    def add(self, *elements: str) -> None:
        self.drawn.extend(elements)


@dataclass(frozen=True, slots=True)
class _Frame:
    start: datetime
    begins: str
    unsure_to: datetime | None
    now: datetime
    zone: tzinfo
    plan: Plan
    actions: Sequence[Action]
    events: tuple[Event, ...]
    summary: str

    def svg(self, size: Size) -> str:
        """One drawing, of both scales where there is something for the second."""
        sheet = _Sheet(size)
        self._hours(sheet)
        self._days_after(sheet)
        self._months(sheet)
        height = math.ceil(sheet.y + size.margin)
        ids = (f"tl-title-{size.name}", f"tl-desc-{size.name}")
        return tag(
            "svg",
            tag("title", "The case over time", id=ids[0])
            + tag("desc", escape(self.summary), id=ids[1])
            + "".join(sheet.drawn),
            xmlns="http://www.w3.org/2000/svg",
            viewBox=f"0 0 {_number(size.width)} {height}",
            class_=f"tl-{size.name}",
            role="img",
            aria_labelledby=" ".join(ids),
        )

    def _hours(self, sheet: _Sheet) -> None:
        """The first hours: where most of what happens happens."""
        rows = self._rows(timedelta(0), HOURS_SCALE)
        title, axis = "The first six hours", f"Hours since the {self.begins}"
        scale = self._from_start(sheet.size, _utc(self.start) + HOURS_SCALE)
        self._scale(sheet, scale, title, axis, self._ticks_at(HOUR_TICKS), rows, (), self.start)

    def _days_after(self, sheet: _Sheet) -> None:
        rows = self._rows(HOURS_SCALE, DAYS_SCALE)
        after = _utc(self.start) + HOURS_SCALE
        if not rows and max([_utc(self.now), *(_utc(e.at) for e in self.events)]) <= after:
            return
        title, axis = "The first three days", f"Hours since the {self.begins}"
        scale = self._from_start(sheet.size, _utc(self.start) + DAYS_SCALE)
        ticks = DAY_TICKS if sheet.size is WIDE else (0, 12, 24, 48, 72)
        midnights = self._midnights(scale)
        self._scale(sheet, scale, title, axis, self._ticks_at(ticks), rows, midnights, after)

    def _months(self, sheet: _Sheet) -> None:
        after = _utc(self.start) + DAYS_SCALE
        rows = self._rows(DAYS_SCALE, None)
        ends = [_utc(at) for action in self.actions for at in _limits(action)]
        ends += [_utc(event.at) for event in self.events]
        last = max([*ends, _utc(self.now)])
        if last <= after:
            return
        months = 1
        while _utc(self._month(months)) < last:
            months += 1
        scale = self._from_start(sheet.size, self._month(months))
        step = math.ceil(months / (12 if sheet.size is WIDE else 6))
        ticks = [(self._month(n), f"{n} mo" if n else "0") for n in range(0, months + 1, step)]
        title = "The months after" if rows else "Until now"
        axis = f"Months since the {self.begins}"
        self._scale(sheet, scale, title, axis, ticks, rows, (), after)

    def _from_start(self, size: Size, end: datetime) -> Scale:
        return Scale(self.start, end, size.margin, size.width - size.margin)

    def _ticks_at(self, hours: Iterable[int]) -> list[tuple[datetime, str]]:
        return [(_utc(self.start) + timedelta(hours=hour), f"{hour} h") for hour in hours]

    def _rows(self, after: timedelta, until: timedelta | None) -> list[Action]:
        """The windows with a limit in this stretch after the start; its end is included."""
        begin = _utc(self.start) + after
        end = None if until is None else _utc(self.start) + until
        return [
            action
            for action in self.actions
            if end_of(action) is not None
            and any(
                _utc(at) > begin and (end is None or _utc(at) <= end)
                for at in (action.window.target, action.window.latest)
                if at is not None
            )
        ]

    def _month(self, count: int) -> datetime:
        return add(self.start, Duration(count, "months"), self.zone)

    def _midnights(self, scale: Scale) -> tuple[tuple[datetime, str], ...]:
        """The midnights on a scale, as the clocks of the site have them: a day may be 23 or 25 h."""
        found = []
        first = scale.start.astimezone(self.zone).date()
        for ahead in range(1, 5):
            at = on_the_wall(first + timedelta(days=ahead), time(0), self.zone)
            if scale.holds(at):
                found.append((at, day(at, self.zone).rsplit(" ", 1)[0]))
        return tuple(found)

    def _scale(
        self,
        sheet: _Sheet,
        scale: Scale,
        title: str,
        axis: str,
        ticks: Iterable[tuple[datetime, str]],
        rows: Sequence[Action],
        days: Iterable[tuple[datetime, str]],
        events_after: datetime,
    ) -> None:
        size = sheet.size
        sheet.y += size.text * (2.2 if sheet.drawn else 1.2)
        sheet.add(words(title, scale.left, sheet.y, size.text * 1.15, "tl-head"))
        sheet.y += size.small * 1.5
        sheet.add(words(axis, scale.left, sheet.y, size.small, "tl-quiet"))
        sheet.y += size.small * 1.6
        self._ticks(sheet, scale, list(ticks))
        sheet.y += size.small * 0.6
        line_y = sheet.y
        backdrop = len(sheet.drawn)
        if self.unsure_to is not None:
            self._unsure(sheet, scale, self.unsure_to)
        self._events(sheet, scale, events_after)
        for action in rows:
            self._row(sheet, scale, action)
        bottom = sheet.y + size.small * 0.4
        behind = [
            tag("line", x1=scale.x(at), x2=scale.x(at), y1=line_y, y2=bottom, class_="tl-grid")
            for at, _ in ticks
        ]
        if scale.holds(self.now):
            at_now = scale.x(self.now)
            behind.append(tag("line", x1=at_now, x2=at_now, y1=line_y, y2=bottom, class_="tl-now"))
        # Behind the words, whose pale edge keeps them readable.
        sheet.drawn[backdrop:backdrop] = behind
        sheet.add(
            tag("line", x1=scale.left, x2=scale.right, y1=line_y, y2=line_y, class_="tl-axis")
        )
        sheet.y = bottom
        self._days(sheet, scale, days, bottom)
        if scale.holds(self.now):
            self._now(sheet, scale)
        sheet.y += size.small * 0.4

    def _ticks(self, sheet: _Sheet, scale: Scale, ticks: Sequence[tuple[datetime, str]]) -> None:
        for place, (at, label) in enumerate(ticks):
            anchor = "start" if place == 0 else "end" if place == len(ticks) - 1 else "middle"
            x = scale.x(at)
            if anchor == "end" and x < scale.right - 1:
                anchor = "middle"
            sheet.add(words(label, x, sheet.y, sheet.size.small, "tl-quiet", anchor=anchor))

    def _unsure(self, sheet: _Sheet, scale: Scale, until: datetime) -> None:
        """A shade over the time in which the exposure may have been."""
        x, end = scale.x(self.start), scale.x(until)
        height = sheet.size.small * 1.6
        sheet.add(
            tag("rect", x=x, y=sheet.y, width=max(2.0, end - x), height=height, class_="tl-unsure")
        )

    def _events(self, sheet: _Sheet, scale: Scale, after: datetime) -> None:
        """Numbered marks on one line. Those that would cover each other are one mark with all their
        numbers; a tick on the axis stands for each event at its own place.

        What a finer scale has shown (up to `after`) is left out, but for the very start.
        """
        size = sheet.size
        shown = [
            (number, event)
            for number, event in enumerate(self.events, start=1)
            if scale.holds(event.at)
            and (_utc(event.at) > _utc(after) or _utc(event.at) == _utc(self.start))
        ]
        if not shown:
            return
        radius = size.small * 0.72
        top = sheet.y + 5
        for _, event in shown:
            x = scale.x(event.at)
            sheet.add(tag("line", x1=x, x2=x, y1=sheet.y, y2=top + 1, class_="tl-tick"))
        for mark in _marks([(n, scale.x(e.at)) for n, e in shown], scale, size):
            said = "; ".join(
                f"{number}: {event.what}, {minute(event.at, self.zone)}"
                for number, event in shown
                if number in mark.numbers
            )
            sheet.add(
                tag(
                    "g",
                    tag("title", escape(said))
                    + tag(
                        "rect", x=mark.left, y=top, width=mark.width, height=2 * radius, rx=radius,
                        class_="tl-mark",
                    )
                    + words(
                        mark.label, mark.left + mark.width / 2, top + radius + size.small * 0.33,
                        size.small * _MARK_TEXT, anchor="middle",
                    ),
                    class_="tl-event",
                )
            )  # fmt: skip
        sheet.y = top + 2 * radius + 4

    def _row(self, sheet: _Sheet, scale: Scale, action: Action) -> None:
        """One window: its words, and under them its bar with target and doing."""
        size = sheet.size
        end = end_of(action) or self.start
        x, x_end = scale.x(action.window.earliest or self.start), scale.x(end)
        label_y = sheet.y + size.text * 1.25
        label, label_end = self._label(action, scale, x, x_end, label_y, size)
        y = label_end + size.text * 0.42
        height = size.text * 0.72
        middle = y + height / 2
        line = _window_line(action, self.plan, self.now, self.zone)
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
        if _utc(end) > _utc(scale.end):
            # The window goes on beyond this scale: an arrow head, not an end.
            at = f"M{_number(scale.right + 1)} {_number(middle - 5.0)}l6 5l-6 5"
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
        sheet.add(tag("g", "".join(elements), class_="tl-window", data_action=action.id))
        sheet.y = y + height + size.text * 0.35

    def _label(
        self, action: Action, scale: Scale, x: float, x_end: float, y: float, size: Size
    ) -> tuple[str, float]:
        """What a bar is, above it, and the last line's height: from the bar's start on where there
        is room, else up to its end, else over the whole width on two lines."""
        state = _window_line(action, self.plan, self.now, self.zone).state
        if action.done_at is not None:
            near = day(action.done_at, self.zone) == day(self.now, self.zone)
            clock = f"{action.done_at.astimezone(self.zone):%H:%M}"
            state = f"done {clock if near else day(action.done_at, self.zone)}"
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
        sheet: _Sheet,
        scale: Scale,
        days: Iterable[tuple[datetime, str]],
        bottom: float,
    ) -> None:
        listed = list(days)
        if not listed:
            return
        size = sheet.size
        sheet.y += size.small * 1.1
        taken = scale.left - size.small
        for at, label in listed:
            x = scale.x(at)
            sheet.add(
                tag("line", x1=x, x2=x, y1=bottom - 4, y2=bottom + 5, class_="tl-axis tl-midnight")
            )
            length = len(label) * size.small * LETTER
            begin = min(x + 4, scale.right - length)
            # A label that would run into the one before is left out; its tick stays.
            if begin > taken:
                sheet.add(words(label, begin, sheet.y + size.small * 0.35, size.small, "tl-quiet"))
                taken = begin + length + size.small * 0.4
        sheet.y += size.small * 0.4

    def _now(self, sheet: _Sheet, scale: Scale) -> None:
        """The words under the line for now."""
        size = sheet.size
        x = scale.x(self.now)
        sheet.y += size.small * 1.2
        label = f"now, {self.now.astimezone(self.zone):%H:%M}"
        anchor = "start" if x < scale.left + size.small * 4 else "middle"
        if x > scale.right - size.small * 4:
            anchor = "end"
        sheet.add(words(label, x, sheet.y, size.small, "tl-now-text", anchor=anchor))


def _bar_class(action: Action) -> str:
    if action.state is State.DONE:
        return "tl-bar--done"
    if action.state is State.LATE:
        return "tl-bar--late"
    if action.state in (State.NO_LONGER_NEEDED, State.DEPARTED):
        return "tl-bar--off"
    return "tl-bar--open" if action.stands else "tl-bar--maybe"
