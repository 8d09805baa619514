"""Windows, opening hours and table cells in words, the same on every sheet."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime, timedelta, tzinfo

from thimble.clinical.durations import parse
from thimble.clinical.saying import DAY_NAMES, day, minute
from thimble.clinical.site import Hours
from thimble.ledger.plan import Window
from thimble.protocol.feel import Interval, UnaryTest
from thimble.protocol.protocol import Protocol

ABOUT = {"exposure": "The exposure", "source": "The source patient", "worker": "The worker"}
"""What facts are about, in the order of a sheet."""

WHOM = {"worker": "Worker", "source": "Source patient", "department": "Department"}
"""Whom an action is for."""

NEAR = timedelta(days=7)
"""Within this much of now a person is told the hour, further off the day alone."""


def window_for_a_person(window: Window, now: datetime, zone: tzinfo, waits_for: str = "") -> str:
    """When to do something, for the one who does it.

    Near limits are told to the minute, far ones by day. `waits_for` is the wording of the action
    whose completion starts the clock, while it has not been done.
    """

    def opens(at: datetime) -> str:
        return _from(at, zone) if abs(at - now) <= NEAR else day(at, zone)

    def closes(at: datetime) -> str:
        return _until(at, zone) if abs(at - now) <= NEAR else day(at, zone)

    if window.waits_for:
        return f"The date follows once this is done: {waits_for or window.waits_for}"
    earliest, target, latest = window.earliest, window.target, window.latest
    if latest is not None and latest < now:
        return f"Was due by {closes(latest)}. Ask today whether it is still of use."
    if earliest is None or earliest <= now:
        best = f", best by {closes(target)}" if target is not None and target > now else ""
        if latest is not None:
            return f"As soon as you can{best}, no later than {closes(latest)}"
        return f"As soon as you can{best}"
    best = (
        f", best on {opens(target)}"
        if target is not None and target not in (earliest, latest)
        else ""
    )
    if latest is None:
        return f"On {opens(earliest)} or soon after{best}"
    if opens(earliest) == opens(latest) or closes(latest) == f"the end of {opens(earliest)}":
        return f"On {opens(earliest)}"
    return f"Between {opens(earliest)} and {closes(latest)}{best}"


def _midnight(at: datetime, zone: tzinfo) -> bool:
    """Whether an instant is where a day begins: so is every limit counted from a date alone."""
    return f"{at.astimezone(zone):%H:%M}" == "00:00"


def _from(at: datetime, zone: tzinfo) -> str:
    return day(at, zone) if _midnight(at, zone) else minute(at, zone)


def _until(at: datetime, zone: tzinfo) -> str:
    """A last instant: 00:00 is the end of the day before, which nobody reads as a whole day more."""
    if _midnight(at, zone):
        return f"the end of {day(at - timedelta(minutes=1), zone)}"
    return minute(at, zone)


def window_in_full(
    window: Window, now: datetime, zone: tzinfo, waits_for: str = ""
) -> dict[str, str]:
    """Earliest, target and latest to the minute, for a clinician; "–" where there is no limit."""
    if window.waits_for:
        after = f"after: {waits_for or window.waits_for}"
        return {"earliest": after, "target": "–", "latest": "–"}

    earliest = window.earliest

    def opens(at: datetime | None) -> str:
        return _from(at, zone) if at is not None else "–"

    def closes(at: datetime | None) -> str:
        # At once: a limit that is the beginning itself is no end of the day before.
        return opens(at) if at is None or at == earliest else _until(at, zone)

    return {
        "earliest": "now" if earliest is not None and earliest <= now else opens(earliest),
        "target": closes(window.target),
        "latest": closes(window.latest),
    }


def hours_in_words(hours: Hours) -> str:
    """Opening hours on one line, days with the same hours together: "Mon–Fri 08:00–16:30"."""
    if hours.always:
        return "Day and night, every day"
    told: list[tuple[int, int, str]] = []
    for number, sessions in enumerate(hours.week):
        words = " and ".join(f"{s.opens:%H:%M}–{s.closes:%H:%M}" for s in sessions)
        if not words:
            continue
        if told and told[-1][1] == number - 1 and told[-1][2] == words:
            told[-1] = (told[-1][0], number, words)
        else:
            told.append((number, number, words))
    if not told:
        return "No fixed hours"
    days = [
        f"{DAY_NAMES[first]} {words}"
        if first == last
        else f"{DAY_NAMES[first]}–{DAY_NAMES[last]} {words}"
        for first, last, words in told
    ]
    return f"{', '.join(days)}; closed on public holidays"


def duration_in_words(duration: str) -> str:
    """A duration of a protocol's table: "PT72H" reads "72 hours", "P6W" "6 weeks", "-" "".

    Raises:
        ValueError: the text is no duration.
    """
    text = duration.strip()
    return "" if text == "-" else parse(text).words


def cell_in_words(test: UnaryTest, labels: Mapping[str, str], unit: str = "") -> str:
    """What an input cell of a decision table asks for, as a person says it.

    >>> from thimble.protocol.feel import parse_codes, parse_numbers
    >>> cell_in_words(parse_numbers("(24..168] h", "h"), {}, "h")
    'more than 24 h, up to and including 168 h'
    >>> codes = parse_codes("not(blood, urine)", ("blood", "urine", "saliva"))
    >>> cell_in_words(codes, {"blood": "Blood", "urine": "Urine"})
    'any but Blood or Urine'
    """
    if test.any:
        return "any"
    members = [labels.get(code, code.replace("_", " ")) for code in test.codes]
    members += [_interval_in_words(interval, unit) for interval in test.intervals]
    said = ", ".join(members[:-1]) + f" or {members[-1]}" if len(members) > 1 else members[0]
    return f"any but {said}" if test.negated else said


def input_in_words(column: str, test: UnaryTest, protocol: Protocol) -> str:
    """An input cell under its column: a fact, a member of a set fact, or an earlier decision."""
    id_, _, member = column.partition(".")
    if id_ in protocol.outputs:
        return cell_in_words(test, protocol.outputs[id_].labels)
    if member or id_ not in protocol.vocabulary:
        return cell_in_words(test, _YES_NO)
    fact = protocol.vocabulary[id_]
    return cell_in_words(test, fact.labels, fact.unit)


_YES_NO = {"yes": "Yes", "no": "No"}


def _interval_in_words(interval: Interval, unit: str) -> str:
    low = None if interval.low is None else f"{interval.low:f} {unit}".strip()
    high = None if interval.high is None else f"{interval.high:f} {unit}".strip()
    if low is not None and low == high:
        return low
    if high is None:
        return f"{low} or more" if interval.low_closed else f"more than {low}"
    if low is None:
        return f"{high} or less" if interval.high_closed else f"less than {high}"
    start = f"{low} or more" if interval.low_closed else f"more than {low}"
    end = f"up to and including {high}" if interval.high_closed else f"less than {high}"
    return f"{start}, {end}"
