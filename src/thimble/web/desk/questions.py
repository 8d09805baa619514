"""A question as it is asked, and an answer as it is read. Pure."""

from __future__ import annotations

import math
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, tzinfo
from typing import Literal

from thimble.ledger.clocks import HOURS
from thimble.protocol.protocol import Protocol
from thimble.protocol.vocabulary import Fact, Value
from thimble.web.moments import far_off

UNKNOWN = "unknown"
NONE_OF_THESE = "none_of_these"
MANY = 8
"""From this many answers on they are shown smaller, side by side."""

ROLE_WORDS = {
    "actions": "what is to be done",
    "cautions": "what to watch for",
    "reasons": "whether an expert is asked",
}


class BadAnswer(ValueError):
    """An answer that could not be read; its text is a sentence for whoever typed it."""


@dataclass(frozen=True, slots=True)
class Choice:
    """One button or checkbox."""

    value: str
    label: str
    chosen: bool = False


@dataclass(frozen=True, slots=True)
class QuestionView:
    """One question with everything that its form shows.

    `kind` is code, number, set or moment (the time of the exposure). `unknown` is the label of the
    button for what cannot be known: always there.
    """

    fact: str
    kind: Literal["code", "number", "set", "moment"]
    text: str
    help: str
    can_change: str
    choices: tuple[Choice, ...]
    unknown: str
    unit: str
    allowed: str
    answered: str
    error: str
    typed: Mapping[str, str]
    about: str
    none_chosen: bool = False

    @property
    def many(self) -> bool:
        """Whether there are so many answers that they are shown smaller."""
        return len(self.choices) > MANY

    @classmethod
    def of(
        cls,
        fact: Fact,
        changes: Sequence[str] = (),
        *,
        protocol: Protocol,
        answered: Value | None = None,
        never: str | None = None,
        error: str = "",
        typed: Mapping[str, Sequence[str]] | None = None,
    ) -> QuestionView:
        """The form of a fact; `typed` is what came back with an error.

        `answered` is what stands now; `never` is the reason, or "", where nobody could answer it.
        """
        given = typed or {}
        before = set(given.get("value", ()))
        if isinstance(answered, frozenset) and not typed:
            before = set(answered) or {NONE_OF_THESE}
        elif isinstance(answered, str) and not typed:
            before = {answered}
        kind: Literal["code", "number", "set", "moment"] = fact.kind
        if fact.id == HOURS:
            kind = "moment"
        values = [value for value in fact.values if value != UNKNOWN]
        single = {key: values_[-1] for key, values_ in given.items() if values_}
        if isinstance(answered, float) and not typed:
            single["value"] = f"{answered:g}"
        return cls(
            fact=fact.id,
            kind=kind,
            text="When did it happen?" if kind == "moment" else fact.question,
            help="" if kind == "moment" else fact.help,
            can_change=can_change(changes, protocol),
            choices=tuple(Choice(v, fact.label(v), v in before) for v in values),
            unknown=fact.labels.get(UNKNOWN, "Cannot be known"),
            unit=fact.unit,
            allowed=_allowed(fact),
            answered=_stands(fact, answered, never),
            error=error,
            typed=single,
            about=fact.about,
            none_chosen=bool(given.get("none")) or NONE_OF_THESE in before,
        )


def _stands(fact: Fact, answered: Value | None, never: str | None) -> str:
    if answered is not None:
        return fact.label(answered)
    if never is None:
        return ""
    return f"Cannot be known: {never}" if never else "Cannot be known"


def _allowed(fact: Fact) -> str:
    if fact.kind != "number":
        return ""
    unit = f" {fact.unit}" if fact.unit else ""
    if math.isinf(fact.high):
        return f"{fact.low:g}{unit} or more"
    return f"{fact.low:g} to {fact.high:,.0f}{unit}"


def can_change(changes: Sequence[str], protocol: Protocol) -> str:
    """What an answer can still change, in words: decisions by their label, the rest by what it is.

    >>> can_change((), None)  # type: ignore[arg-type]
    ''
    """
    if not changes:
        return ""
    tables = {table.id: table for table in protocol.tables}
    decisions: dict[str, None] = {}
    others: dict[str, None] = {}
    for name in changes:
        table = tables.get(name)
        output = protocol.outputs.get(name)
        if table is not None and table.hit_policy == "COLLECT":
            others[ROLE_WORDS.get(table.role, table.question)] = None
        elif output is not None:
            decisions[_label((output.label or name.replace("_", " ")).rstrip("?"))] = None
        else:
            decisions[name.replace("_", " ")] = None
    return "; ".join([*decisions, *others])


def _label(text: str) -> str:
    return text[:1].lower() + text[1:] if text[1:2].islower() else text


# -- reading an answer ------------------------------------------------------------------------------

_NUMBER = re.compile(r"[+]?\d+(?:[.,]\d+)?")


def read_number(text: str, fact: Fact) -> float:
    """A number as typed, with a point or a comma.

    A comma is a decimal mark, never a mark of thousands: "1,000" could be read either way and is
    refused where both readings would be allowed.

    Raises:
        BadAnswer: no number, or outside the fact's range; the sentence says what is allowed.
    """
    typed = text.strip().replace("\N{NO-BREAK SPACE}", "").replace(" ", "")
    if fact.unit and typed.lower().endswith(fact.unit.lower().replace(" ", "")):
        typed = typed[: -len(fact.unit.replace(" ", ""))]
    if not typed:
        raise BadAnswer(f"Enter a number, {_allowed(fact)}, or choose “cannot be known”.")
    if typed[:1] in "<>≤≥":
        raise BadAnswer(f"Enter a number without {typed[0]}: {fact.help or _allowed(fact)}")
    if not _NUMBER.fullmatch(typed):
        raise BadAnswer(
            f"“{text.strip()}” is not a number. Enter {_allowed(fact)}, such as 72 or 72.5."
        )
    number = decimal(typed, fact.high)
    if not fact.low <= number <= fact.high:
        raise BadAnswer(
            f"{number:g} lies outside {_allowed(fact)}. Look at the number and its unit again."
        )
    return number


def decimal(typed: str, high: float = math.inf) -> float:
    """A number of digits with at most one point or comma. A decimal comma is a decimal point.

    1,250 may mean either; it is refused unless the larger reading lies above `high`.

    Raises:
        BadAnswer: it can be read in two ways.
        ValueError: it is no such number.
    """
    if not _NUMBER.fullmatch(typed):
        raise ValueError(typed)
    whole, _, rest = typed.partition(",")
    if len(rest) == 3 and whole.lstrip("+") != "0" and float(whole + rest) <= high:
        raise BadAnswer(
            f"“{typed}” can be read in two ways. Write {whole}{rest}, or {whole}.{rest}."
        )
    return float(typed.replace(",", "."))


def read_answer(fact: Fact, values: Sequence[str], *, none: bool = False) -> Value:
    """What was posted for a fact, as its value.

    Nothing ticked is no answer: “none of these” must be said.

    Raises:
        BadAnswer: a sentence that says what to do.
    """
    if fact.kind == "number":
        return read_number(values[-1] if values else "", fact)
    if fact.kind == "code":
        if not values or values[-1] not in fact.values:
            raise BadAnswer("Choose one of the answers.")
        return values[-1]
    ticked = [value for value in values if value]
    if none and ticked:
        raise BadAnswer("You ticked “none of these” and also one of them. Untick one or the other.")
    if none:
        return frozenset()
    if not ticked:
        raise BadAnswer("Tick what applies, or “none of these”. Nothing ticked is no answer.")
    if any(value not in fact.values for value in ticked):
        raise BadAnswer("Choose among the answers shown.")
    return frozenset(ticked)


def read_moment(day: str, clock: str, zone: tzinfo, now: datetime) -> datetime:
    """An instant from a day and a time on the wall, in UTC.

    A time that occurs twice when clocks go back is the first of the two, so that no window is shown
    to close later than it may.

    Raises:
        BadAnswer: not a day or time, a year that cannot be meant, a time that the clocks skipped,
            or one that is still to come.
    """
    try:
        on = date.fromisoformat(day.strip())
    except ValueError:
        raise BadAnswer("Enter the day, for example 2026-03-02.") from None
    if far_off(on, now):
        raise BadAnswer("Look at the year of the day again.")
    try:
        at = time.fromisoformat(clock.strip())
    except ValueError:
        raise BadAnswer("Enter the time, for example 14:30.") from None
    if at.tzinfo is not None:
        raise BadAnswer("Enter the time as the clock on the wall showed it, for example 14:30.")
    moment = datetime.combine(on, at, tzinfo=zone)
    utc = moment.astimezone(UTC)
    if utc.astimezone(zone).replace(tzinfo=None) != moment.replace(tzinfo=None):
        raise BadAnswer(f"There was no {at:%H:%M} on that day: the clocks went forward.")
    if utc > now:
        raise BadAnswer(
            f"{at:%H:%M} on that day has not come yet. If it was before midnight, choose the day before."
        )
    return utc
