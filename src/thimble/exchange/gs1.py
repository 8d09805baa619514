"""What a scanner reads from a GS1 barcode on a vaccine: product, lot and expiry.

An element string is a row of application identifiers (AI), each followed by its value. A value of fixed
length ends by itself; any other ends at the separator (FNC1, sent as ASCII 29) or with the string. A
keyboard cannot always carry ASCII 29, so a character that no value may hold counts as the separator too.

Sources: the AIs 00 to 240, their lengths and which need a separator: GS1, list of application
identifiers, www.gs1.org/standards/barcodes/application-identifiers (read in part); the other AIs, the
check digit, the characters and the century of dates: GS1 General Specifications, sections 3, 7.9, 7.11
and 7.12 (memory).
"""

from __future__ import annotations

import calendar
import re
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date

SEPARATORS = "\x1d\u241d|^~"
"""ASCII 29, its picture, and characters outside the set that values are made of."""

_PREFIX = re.compile(r"\](?:d2|C1|e0|Q3|J1)", re.A)
"""Symbology identifiers of GS1 symbols, which scanners may put before the string."""

_FIXED: Mapping[str, int] = {
    "00": 18, "01": 14, "02": 14, "03": 14, "11": 6, "12": 6, "13": 6, "15": 6, "16": 6, "17": 6,
    "20": 2,
}  # fmt: skip
"""AIs of two digits whose value has a fixed length."""

_DIGITS: Mapping[str, int] = {
    **dict.fromkeys(("10", "21", "22", "30", "37"), 2),
    **dict.fromkeys((str(n) for n in range(90, 100)), 2),
    **dict.fromkeys(("23", "24", "25", "40", "42", "71"), 3),
    **dict.fromkeys(("39", "43", "70", "72", "80", "81", "82"), 4),
}
"""How many digits an AI has by its first two, where its value ends at a separator."""

_LONGEST: Mapping[str, int] = {"10": 20, "21": 20, "22": 20, "240": 30}
_VALUE = re.compile(r"[!\"%&'()*+,\-./0-9:;<=>?A-Z_a-z]+", re.A)


class NotRead(ValueError):
    """A scan that tells no vaccine. The message is a sentence."""


@dataclass(frozen=True, slots=True)
class Scanned:
    """What the code says: GTIN of 14 digits, lot and last usable day; "" and None where it does not."""

    gtin: str
    lot: str
    expires: date | None


def looks_like_gs1(text: str) -> bool:
    """Whether a scan can be an element string at all: it begins as one with a GTIN does."""
    bare = _PREFIX.sub("", text.strip(), count=1).lstrip(SEPARATORS)
    return re.match(r"(?:\(01\)|01)[0-9]{14}", bare, re.A) is not None or bool(_PREFIX.match(text))


def read_vaccine(text: str, today: date) -> Scanned:
    """Product, lot and expiry from an element string, as scanned or typed with brackets.

    Raises:
        NotRead: it is no element string, names no product, or a value cannot be.

    >>> read_vaccine("0105060917510011" "10628S93R" "\x1d" "17241000", date(2024, 1, 1)).lot
    '628S93R'
    """
    found = _elements(text)
    gtin = found.get("01", "")
    if not gtin:
        raise NotRead(
            "This code names no product (AI 01). Scan the one on the carton or the syringe."
        )
    if not gtin.isdecimal() or not _check_digit_fits(gtin):
        raise NotRead("The product number in this code is damaged. Scan it again.")
    expires = _day(found["17"], today) if "17" in found else None
    return Scanned(gtin, found.get("10", ""), expires)


def _elements(text: str) -> dict[str, str]:
    bare = _PREFIX.sub("", text.strip(" \r\n\t"), count=1)
    if bare.startswith("("):
        return _in_brackets(bare)
    found: dict[str, str] = {}
    at = 0
    while at < len(bare):
        if bare[at] in SEPARATORS:
            at += 1
            continue
        two = bare[at : at + 2]
        if two in _FIXED:
            end = at + 2 + _FIXED[two]
            ai, value = two, bare[at + 2 : end]
            if len(value) < _FIXED[two] or any(c in SEPARATORS for c in value):
                raise NotRead(f"The code is cut short after ({two}). Scan it again.")
        elif two in _MEASURES or two == "41":
            # Measures have four digits and a value of six, (41…) three digits and a value of thirteen.
            size, length = (4, 6) if two in _MEASURES else (3, 13)
            end = at + size + length
            ai, value = bare[at : at + size], bare[at + size : end]
            if len(value) < length:
                raise NotRead(f"The code is cut short after ({ai}). Scan it again.")
        elif two in _DIGITS:
            size = _DIGITS[two]
            end = next((i for i in range(at, len(bare)) if bare[i] in SEPARATORS), len(bare))
            ai, value = bare[at : at + size], bare[at + size : end]
        else:
            raise NotRead("This code could not be read to its end. Scan it again, or type the lot.")
        _keep(found, ai, value)
        at = end
    return found


_MEASURES = frozenset(str(n) for n in range(31, 37))


def _in_brackets(text: str) -> dict[str, str]:
    found: dict[str, str] = {}
    parts = re.findall(r"\(([0-9]{2,4})\)([^(]*)", text, re.A)
    if "".join(f"({ai}){value}" for ai, value in parts) != text:
        raise NotRead("Between brackets stand application identifiers, as in (01)…(17)…(10)….")
    for ai, said in parts:
        value = said.strip()
        if ai in _FIXED and len(value) != _FIXED[ai]:
            raise NotRead(f"({ai}) has {_FIXED[ai]} characters; found {len(value)}.")
        _keep(found, ai, value)
    return found


def _keep(found: dict[str, str], ai: str, value: str) -> None:
    if ai in found and found[ai] != value:
        raise NotRead(f"The code says ({ai}) twice and not the same. Scan one code at a time.")
    if not value or _VALUE.fullmatch(value) is None:
        raise NotRead(f"What stands after ({ai}) cannot be. Scan it again.")
    if len(value) > _LONGEST.get(ai, 90):
        raise NotRead(
            f"({ai}) has at most {_LONGEST[ai]} characters; found {len(value)}. The scanner may leave "
            "out separators: see how it is set, or type the lot."
        )
    found[ai] = value


def _check_digit_fits(gtin: str) -> bool:
    """Weights 3 and 1 in turn from the right of the digits before the check digit."""
    total = sum(int(c) * (3 if i % 2 == 0 else 1) for i, c in enumerate(reversed(gtin[:-1])))
    return (total + int(gtin[-1])) % 10 == 0


def _day(text: str, today: date) -> date:
    """YYMMDD; the day 00 is the last of the month. The century is the one that lies within 49 years
    behind and 50 ahead of this year."""
    if not text.isdecimal():
        raise NotRead("The expiry in this code cannot be a day. Scan it again.")
    year, month, day = int(text[:2]), int(text[2:4]), int(text[4:])
    apart = year - today.year % 100
    century = today.year // 100 + (-1 if apart >= 51 else 1 if apart <= -50 else 0)
    try:
        whole = century * 100 + year
        return date(whole, month, day or calendar.monthrange(whole, month)[1])
    except (ValueError, calendar.IllegalMonthError) as error:
        raise NotRead("The expiry in this code cannot be a day. Scan it again.") from error
