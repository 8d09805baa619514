"""Unary tests: the subset of FEEL that input cells are written in.

Source: OMG, Decision Model and Notation 1.5, clause 7.3.6 (unary tests) and clause 10.3 (FEEL).
The subset: `-`, a value, a list of tests, `not(…)` of a list, `< <= > >=`, and ranges with open and
closed ends (an open end is a round bracket or a square one turned outwards, `]a..b[`). A number may
carry its fact's own unit. Codes stand bare or in double quotes.

A test is judged on elementary cells, never on numbers directly: see `space.py`.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from decimal import Decimal, InvalidOperation


class FeelError(ValueError):
    """A cell that is not a unary test of the subset; the message says what to write instead."""


@dataclass(frozen=True, slots=True)
class Interval:
    """A stretch of numbers. A side that is None is unbounded."""

    low: Decimal | None
    low_closed: bool
    high: Decimal | None
    high_closed: bool

    def contains(self, number: Decimal) -> bool:
        above = self.low is None or number > self.low or (self.low_closed and number == self.low)
        below = (
            self.high is None or number < self.high or (self.high_closed and number == self.high)
        )
        return above and below

    @property
    def cuts(self) -> tuple[Decimal, ...]:
        return tuple(end for end in (self.low, self.high) if end is not None)


@dataclass(frozen=True, slots=True)
class UnaryTest:
    """A parsed cell: any of `codes` or `intervals`, or none of them where `negated`.

    `any` is the cell `-`.
    """

    text: str
    any: bool = False
    negated: bool = False
    codes: tuple[str, ...] = ()
    intervals: tuple[Interval, ...] = ()

    def accepts_code(self, code: str) -> bool:
        return self.any or ((code in self.codes) != self.negated)

    def accepts_number(self, number: Decimal) -> bool:
        return self.any or (any(i.contains(number) for i in self.intervals) != self.negated)

    @property
    def cuts(self) -> tuple[Decimal, ...]:
        return tuple(cut for interval in self.intervals for cut in interval.cuts)


_NUMBER = r"-?(?:[0-9]+(?:\.[0-9]+)?|\.[0-9]+)"
_COMPARISON = re.compile(rf"(<=|>=|<|>)\s*({_NUMBER})\s*(.*)", re.S)
_RANGE = re.compile(rf"([\[\](])\s*({_NUMBER})\s*\.\.\s*({_NUMBER})\s*([\])\[])\s*(.*)", re.S)
_EQUAL = re.compile(rf"({_NUMBER})\s*(.*)", re.S)
_COMMA = re.compile(r',(?=(?:[^"]*"[^"]*")*[^"]*$)')  # not inside double quotes
_CODE = re.compile(r'"([^"]*)"|([A-Za-z0-9_]+)')


def parse_codes(text: str, allowed: tuple[str, ...]) -> UnaryTest:
    """A cell over codes.

    Raises:
        FeelError: names the value found and the values allowed.
    """
    body, negated = _strip_not(text)
    if body == "-":
        return _any(text, negated)
    codes: list[str] = []
    for part in _split(body):
        match = _CODE.fullmatch(part)
        if match is None:
            raise FeelError(
                f"{part!r} is not a value; write one of {', '.join(allowed)}, a list of them "
                "parted by commas, not(…), or - for any"
            )
        code = match[1] if match[1] is not None else match[2]
        if code not in allowed:
            raise FeelError(f"the value {code!r} is not known; allowed are {', '.join(allowed)}")
        if code in codes:
            raise FeelError(f"the value {code!r} is listed twice; list it once")
        codes.append(code)
    return UnaryTest(text, negated=negated, codes=tuple(codes))


def parse_numbers(text: str, unit: str) -> UnaryTest:
    """A cell over numbers in `unit`.

    Raises:
        FeelError: says what is not understood and what to write instead.

    >>> test = parse_numbers("(24..72] h", "h")
    >>> [test.accepts_number(Decimal(n)) for n in ("24", "24.01", "72", "72.01")]
    [False, True, True, False]
    """
    body, negated = _strip_not(text)
    if body == "-":
        return _any(text, negated)
    return UnaryTest(
        text, negated=negated, intervals=tuple(_interval(part, unit) for part in _split(body))
    )


def _any(text: str, negated: bool) -> UnaryTest:
    if negated:
        raise FeelError("not(-) can never hold; remove the rule or write what it excludes")
    return UnaryTest(text, any=True)


def _strip_not(text: str) -> tuple[str, bool]:
    body = text.strip()
    if match := re.fullmatch(r"not\s*\((.*)\)", body, re.S):
        return match[1].strip(), True
    return body, False


def _split(body: str) -> list[str]:
    parts = [part.strip() for part in _COMMA.split(body)]
    if any(not part for part in parts):
        raise FeelError(f"a value is missing beside a comma in {body!r}")
    return parts


def _interval(part: str, unit: str) -> Interval:
    if match := _RANGE.fullmatch(part):
        opening, low, high, closing, rest = match.groups()
        _check_unit(rest, unit, part)
        first, last = _number(low), _number(high)
        low_closed, high_closed = opening == "[", closing == "]"
        if first > last or (first == last and not (low_closed and high_closed)):
            raise FeelError(f"the range {part!r} is empty; write the smaller number first")
        return Interval(first, low_closed, last, high_closed)
    if match := _COMPARISON.fullmatch(part):
        operator, limit, rest = match.groups()
        _check_unit(rest, unit, part)
        number = _number(limit)
        if operator.startswith("<"):
            return Interval(None, False, number, operator == "<=")
        return Interval(number, operator == ">=", None, False)
    if match := _EQUAL.fullmatch(part):
        _check_unit(match[2], unit, part)
        number = _number(match[1])
        return Interval(number, True, number, True)
    in_unit = f" {unit}" if unit else ""
    raise FeelError(
        f"{part!r} is not a test of a number; write for example <= 72{in_unit}, "
        f"> 5{in_unit}, [10..100){in_unit}, or - for any"
    )


def _check_unit(found: str, unit: str, part: str) -> None:
    if found.strip() and found.strip() != unit:
        expected = f"the unit is {unit}" if unit else "this fact has no unit"
        raise FeelError(f"{found.strip()!r} in {part!r} is not understood; {expected}")


def _number(text: str) -> Decimal:
    try:
        return Decimal(text)
    except InvalidOperation as error:  # unreachable through the patterns above
        raise FeelError(f"{text!r} is not a number") from error
