"""The file that `thimble assess` reads: one situation, as TOML. See `docs/assess.md`."""

from __future__ import annotations

import difflib
import tomllib
from collections.abc import Iterable, Mapping
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

from thimble.clinical.durations import hours_between
from thimble.clinical.vocabulary import VOCABULARY
from thimble.commands import NotUnderstood
from thimble.ledger.assess import HOURS
from thimble.protocol import Value

KEYS = ("occurred_at", "facts")
EXAMPLE = "2026-03-02T02:40:00+01:00"
AGREEMENT = timedelta(minutes=1)
"""How far the hours in a file may stand from those between its instants: they are often rounded."""
YEARS = range(1900, 2200)
"""The years of an instant; any other is a slip of the pen."""


def read_situation(path: Path) -> tuple[dict[str, Value], datetime | None]:
    """The facts of a file and when the exposure was.

    Raises:
        NotUnderstood: every fault of the file, with the key, the value found and what is allowed.
    """
    raw = _toml(path)
    faults = [
        f"{path}: {key}: unknown key, found with {value!r}; allowed are {', '.join(KEYS)}."
        for key, value in raw.items()
        if key not in KEYS
    ]
    facts: dict[str, Value] = {}
    given = raw.get("facts", {})
    if "facts" not in raw:
        faults.append(f"{path}: facts: is missing; write a table [facts], even an empty one.")
    elif not isinstance(given, dict):
        faults.append(f"{path}: facts: is a table; found {given!r}. Write [facts] on a line.")
        given = {}
    for id_, value in given.items():
        try:
            facts[id_] = _checked(id_, value)
        except ValueError as error:
            faults.append(f"{path}: facts.{id_}: {error}.")
    occurred_at = None
    if "occurred_at" in raw:
        try:
            occurred_at = _occurred(raw["occurred_at"])
        except ValueError as error:
            faults.append(f"{path}: occurred_at: {error}.")
    if faults:
        raise NotUnderstood("\n".join(faults))
    return facts, occurred_at


def _toml(path: Path) -> dict[str, Any]:
    try:
        # An editor may have put a byte order mark before the first key.
        return tomllib.loads(path.read_bytes().decode("utf-8-sig"))
    except OSError as error:
        raise NotUnderstood(f"{path}: cannot be read: {error.strerror}.") from error
    except UnicodeDecodeError as error:
        raise NotUnderstood(f"{path}: is not UTF-8 at byte {error.start}; save it so.") from error
    except (ValueError, RecursionError) as error:
        # tomllib lets Python's own limits on digits and depth through as they are.
        raise NotUnderstood(f"{path}: is not TOML: {error}.") from error


def _checked(id_: str, value: object) -> Value:
    fact = VOCABULARY.get(id_)
    if fact is None:
        near = difflib.get_close_matches(id_, VOCABULARY, n=1)
        meant = f" Is it {near[0]}?" if near else ""
        raise ValueError(
            f"unknown fact, found with {value!r}.{meant} Allowed are {', '.join(VOCABULARY)}"
        )
    try:
        return fact.check(value)
    except OverflowError as error:
        raise ValueError(
            f"{id_} lies between {fact.low:g} and {fact.high:g}; found a number beyond reach"
        ) from error


def _occurred(value: object) -> datetime:
    if not isinstance(value, datetime) or value.utcoffset() is None:
        raise ValueError(
            f"is an instant with its offset, for example {EXAMPLE}, not quoted; "
            f"found {value if isinstance(value, bool) else str(value)!r}"
        )
    if value.year not in YEARS:
        raise ValueError(f"lies in the years {YEARS[0]} to {YEARS[-1]}; found {value.isoformat()}")
    return value


def as_of(text: str) -> datetime:
    """The instant that `--as-of` names.

    Raises:
        NotUnderstood: it is no instant, or has no offset.
    """
    try:
        instant = datetime.fromisoformat(text)
    except ValueError:
        instant = None
    if instant is None or instant.utcoffset() is None or instant.year not in YEARS:
        raise NotUnderstood(
            f"--as-of: is an instant with its offset in the years {YEARS[0]} to {YEARS[-1]}, for "
            f"example {EXAMPLE}; found {text!r}."
        )
    return instant


def moment(
    path: Path,
    facts: Mapping[str, Value],
    occurred_at: datetime | None,
    asked: datetime | None,
    clock: datetime,
) -> datetime:
    """The moment to decide for: as asked, else as the file's own hours say, else the clock's.

    Raises:
        NotUnderstood: the exposure lies after that moment, or hours and instants disagree.
    """
    hours = facts.get(HOURS)
    now = asked or clock
    if occurred_at is None:
        return now
    if asked is None and isinstance(hours, float):
        ends = occurred_at + timedelta(hours=hours)
        if ends > clock + AGREEMENT:
            raise NotUnderstood(
                f"{path}: occurred_at: {occurred_at.isoformat()} and {hours:g} hours after it lie "
                f"in the future; now it is {clock.isoformat(timespec='seconds')}. Correct one, or "
                "give the moment with --as-of."
            )
        return ends
    if occurred_at > now:
        raise NotUnderstood(
            f"{path}: occurred_at: {occurred_at.isoformat()} lies after the moment to decide for, "
            f"{now.isoformat(timespec='seconds')}. Correct it, or give a later --as-of."
        )
    elapsed = hours_between(occurred_at, now)
    if isinstance(hours, float) and abs(hours - elapsed) > AGREEMENT / timedelta(hours=1):
        raise NotUnderstood(
            f"{path}: facts.{HOURS}: {hours:g} h, but from occurred_at to --as-of it is "
            f"{elapsed:g} h. Leave one of them out, or make them agree."
        )
    return now


def told(ids: Iterable[str], facts: Mapping[str, Value]) -> str:
    """The answers to these facts as the file gives them."""
    return " and ".join(f"{id_} = {facts[id_]!r}" for id_ in ids)


def clock() -> datetime:
    """This moment, in the zone of the machine."""
    return datetime.now(UTC).astimezone()
