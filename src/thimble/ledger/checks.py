"""Checks of which the bodies of entries are made: each takes a value's path and the value, and gives
sentences. A ledger's own bodies are maps of them (`ledger/bodies.py`, `people/bodies.py`)."""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime

LONGEST_TEXT = 20_000
LARGEST_WHOLE = 2**53 - 1
"""Beyond it JSON numbers are no longer exact everywhere."""


class BadBody(ValueError):
    """A body that does not fit its kind. `faults` are sentences."""

    def __init__(self, faults: Iterable[str]) -> None:
        self.faults = tuple(faults)
        super().__init__("; ".join(self.faults))


Check = Callable[[str, object], list[str]]
"""Takes the path of a value (for the sentence) and the value."""


@dataclass(frozen=True, slots=True)
class Key:
    """One key of a body: what its value must be, and whether it must be there."""

    check: Check
    required: bool = True


def text(*, required: bool) -> Check:
    def check(path: str, value: object) -> list[str]:
        if not isinstance(value, str):
            return [f"{path} is text; found {value!r}"]
        if required and not value.strip():
            return [f"{path} must say something; found empty text"]
        if len(value) > LONGEST_TEXT:
            return [f"{path} holds at most {LONGEST_TEXT} characters; found {len(value)}"]
        # Surrogates have no UTF-8 form, and not every database stores control characters.
        bad = next(
            (c for c in value if (c < " " and c not in "\n\t\r") or "\ud800" <= c <= "\udfff"), ""
        )
        return [f"{path} holds a character that cannot be kept: {bad!r}"] if bad else []

    return check


def one_of(values: Sequence[str]) -> Check:
    def check(path: str, value: object) -> list[str]:
        if not isinstance(value, str) or value not in values:
            return [f"{path} is one of {', '.join(values)}; found {value!r}"]
        return []

    return check


def boolean(path: str, value: object) -> list[str]:
    return [] if isinstance(value, bool) else [f"{path} is true or false; found {value!r}"]


def whole(*, low: int) -> Check:
    def check(path: str, value: object) -> list[str]:
        if (
            isinstance(value, bool)
            or not isinstance(value, int)
            or not low <= value <= LARGEST_WHOLE
        ):
            return [f"{path} is a whole number, {low} or more; found {value!r}"]
        return []

    return check


def number(path: str, value: object) -> list[str]:
    if isinstance(value, bool) or not isinstance(value, int | float):
        return [f"{path} is a number; found {value!r}"]
    if not math.isfinite(value) or value < 0 or value > LARGEST_WHOLE:
        return [f"{path} is a finite number, 0 or more; found {value!r}"]
    return []


def or_null(check: Check) -> Check:
    return lambda path, value: [] if value is None else check(path, value)


def list_of(check: Check, *, least: int = 0) -> Check:
    def check_all(path: str, value: object) -> list[str]:
        if not isinstance(value, list):
            return [f"{path} is a list; found {value!r}"]
        if len(value) < least:
            return [f"{path} needs at least {least} member; found an empty list"]
        return [
            fault
            for index, member in enumerate(value)
            for fault in check(f"{path}[{index}]", member)
        ]

    return check_all


_ID = re.compile(r"[a-z][a-z0-9_]*(\.[a-z0-9_]+)?")


_CODE = re.compile(r"[A-Za-z0-9][A-Za-z0-9_]*")
_CVX = re.compile(r"[0-9]{2,3}", re.A)


def code(path: str, value: object) -> list[str]:
    if not isinstance(value, str) or not _CODE.fullmatch(value):
        return [f"{path} is a code of the vocabulary; found {value!r}"]
    return []


def cvx(path: str, value: object) -> list[str]:
    if not isinstance(value, str) or not _CVX.fullmatch(value):
        return [f"{path} is a CVX code of two or three digits; found {value!r}"]
    return []


def id_(path: str, value: object) -> list[str]:
    if not isinstance(value, str) or not _ID.fullmatch(value):
        return [f"{path} is an id (small letters, digits, _); found {value!r}"]
    return []


def instant(path: str, value: object) -> list[str]:
    advice = "an instant with its offset, such as 2026-03-02T02:40:00+01:00"
    if not isinstance(value, str):
        return [f"{path} is {advice}; found {value!r}"]
    try:
        at = datetime.fromisoformat(value)
    except ValueError:
        return [f"{path} is {advice}; found {value!r}"]
    return [] if at.utcoffset() is not None else [f"{path} is {advice}; found {value!r}"]


def map_of(keys: Mapping[str, Key]) -> Check:
    def check(path: str, value: object) -> list[str]:
        if not isinstance(value, Mapping):
            return [f"{path} is a map; found {value!r}"]
        prefix = f"{path}." if path else ""
        faults = [
            f"{prefix}{key} is not a key of {path or 'this body'}; allowed: {', '.join(keys) or 'none'}"
            for key in value
            if key not in keys
        ]
        for name, key in keys.items():
            if name in value:
                faults += key.check(f"{prefix}{name}", value[name])
            elif key.required:
                faults.append(f"{prefix}{name} is missing")
        return faults

    return check


def whole_body(path: str, value: object) -> list[str]:
    return [] if isinstance(value, Mapping) else [f"{path} is a whole body; found {value!r}"]


def day(path: str, value: object) -> list[str]:
    advice = "a day such as 2026-03-02"
    if not isinstance(value, str) or not re.fullmatch(r"\d{4}-\d{2}-\d{2}", value):
        return [f"{path} is {advice}; found {value!r}"]
    try:
        date.fromisoformat(value)
    except ValueError:
        return [f"{path} is {advice}; found {value!r}"]
    return []


_REFERENCE = re.compile(r"[2-9A-Z]{4}-[2-9A-Z]{4}")


def reference(path: str, value: object) -> list[str]:
    """The reference of a case."""
    if not isinstance(value, str) or not _REFERENCE.fullmatch(value):
        return [f"{path} is the reference of a case, such as K7QM-2F49; found {value!r}"]
    return []


_HEX = re.compile(r"[0-9a-f]{8,128}")


def digest(path: str, value: object) -> list[str]:
    if not isinstance(value, str) or not _HEX.fullmatch(value):
        return [f"{path} is a digest in hex; found {value!r}"]
    return []


SAY = text(required=True)
MAY = text(required=False)
