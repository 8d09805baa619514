"""Windows, opening hours and table cells in words, the same on every sheet."""

from __future__ import annotations

import re
from datetime import datetime, timedelta, tzinfo

from thimble.clinical.durations import parse
from thimble.clinical.saying import DAY_NAMES, day, minute
from thimble.clinical.site import Hours
from thimble.ledger.plan import Window

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

    def told(at: datetime) -> str:
        return minute(at, zone) if abs(at - now) <= NEAR else day(at, zone)

    if window.waits_for:
        return f"The date follows once this is done: {waits_for or window.waits_for}"
    earliest, target, latest = window.earliest, window.target, window.latest
    if latest is not None and latest < now:
        return f"Was due by {told(latest)}. Ask today whether it is still of use."
    if earliest is None or earliest <= now:
        best = f", best by {told(target)}" if target is not None and target > now else ""
        if latest is not None:
            return f"As soon as you can{best}, no later than {told(latest)}"
        return f"As soon as you can{best}"
    best = (
        f", best on {told(target)}"
        if target is not None and target not in (earliest, latest)
        else ""
    )
    if latest is None:
        return f"On {told(earliest)} or soon after{best}"
    if told(earliest) == told(latest):
        return f"On {told(latest)}"
    return f"Between {told(earliest)} and {told(latest)}{best}"


def window_in_full(
    window: Window, now: datetime, zone: tzinfo, waits_for: str = ""
) -> dict[str, str]:
    """Earliest, target and latest to the minute, for a clinician; "–" where there is no limit."""
    if window.waits_for:
        after = f"after: {waits_for or window.waits_for}"
        return {"earliest": after, "target": "–", "latest": "–"}

    def told(at: datetime | None) -> str:
        return minute(at, zone) if at is not None else "–"

    started = window.earliest is not None and window.earliest <= now
    return {
        "earliest": "now" if started else told(window.earliest),
        "target": told(window.target),
        "latest": told(window.latest),
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


_NUMBER = r"-?\d+(?:\.\d+)?"
_COMPARISON = re.compile(rf"^(<=|>=|<|>)\s*({_NUMBER})\s*(.*)$")
_RANGE = re.compile(rf"^([\[(\]])\s*({_NUMBER})\s*\.\.\s*({_NUMBER})\s*([\])\[])\s*(.*)$")
_COMPARED = {"<=": "{} or less", ">=": "{} or more", "<": "less than {}", ">": "more than {}"}


def split_list(cell: str) -> list[str]:
    """The members of a list cell; commas inside brackets do not part it."""
    parts, depth, current = [], 0, ""
    for character in cell:
        depth += (character in "([") - (character in ")]")
        if character == "," and depth <= 0:
            parts.append(current.strip())
            current = ""
        else:
            current += character
    parts.append(current.strip())
    return parts


def cell_in_words(cell: str, labels: dict[str, str], unit: str = "") -> str:
    """An input cell of a decision table as a person says it.

    >>> cell_in_words("(24..168] h", {})
    'more than 24 h, up to and including 168 h'
    >>> cell_in_words("not(blood, urine)", {"blood": "Blood", "urine": "Urine"})
    'any but Blood or Urine'
    """
    cell = cell.strip()
    if cell == "-":
        return "any"
    negated = re.fullmatch(r"not\((.*)\)", cell)
    if negated:
        return f"any but {cell_in_words(negated[1], labels, unit)}"
    parts = split_list(cell)
    if len(parts) > 1:
        members = [cell_in_words(part, labels, unit) for part in parts]
        return ", ".join(members[:-1]) + f" or {members[-1]}"
    compared = _COMPARISON.match(cell)
    if compared:
        return _COMPARED[compared[1]].format(_with_unit(compared[2], compared[3] or unit))
    ranged = _RANGE.match(cell)
    if ranged:
        opening, low, high, closing, own = ranged.groups()
        low, high = _with_unit(low, own or unit), _with_unit(high, own or unit)
        start = f"{low} or more" if opening == "[" else f"more than {low}"
        end = f"up to and including {high}" if closing == "]" else f"less than {high}"
        return f"{start}, {end}"
    return labels.get(cell, cell.replace("_", " "))


def _with_unit(number: str, unit: str) -> str:
    return f"{number} {unit}".strip()
