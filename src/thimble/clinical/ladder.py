"""The steps after a missed visit: data of the protocols' folder, or of the site, read strictly."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from thimble.clinical.library import SHIPPED

SHIPPED_LADDER = SHIPPED / "reaching" / "ladder.toml"
STANDINGS = ("read", "secondary", "memory", "derived", "unread")
MOST_DAYS = 366


class LadderError(ValueError):
    """Faults of a ladder's file. `faults` holds one sentence each."""

    def __init__(self, faults: list[str]) -> None:
        self.faults = tuple(faults)
        super().__init__("\n".join(faults))


@dataclass(frozen=True, slots=True)
class Step:
    """One step: due `after_days` calendar days after the missed visit, taken by an attempt in one of
    the ways `how`; without any it is a physician's decision."""

    id: str
    what: str
    how: tuple[str, ...]
    after_days: int

    @property
    def decides(self) -> bool:
        return not self.how


@dataclass(frozen=True, slots=True)
class Ladder:
    """The steps in order, the last a decision; and how long after an attempt the next one is made
    while a physician has decided to keep trying."""

    title: str
    source: str
    standing: str
    again_after_days: int
    steps: tuple[Step, ...]


def load_ladder(path: Path, ways: Mapping[str, str]) -> Ladder:
    """The ladder of a TOML file.

    Args:
        ways: ids of the ways in which a worker can be contacted.

    Raises:
        LadderError: the file cannot be read or has faults; every one is listed.
    """
    try:
        read = tomllib.loads(path.read_text(encoding="utf-8"))
    except (OSError, UnicodeDecodeError, tomllib.TOMLDecodeError) as error:
        raise LadderError([f"{path.name} cannot be read: {error}"]) from error
    return parse_ladder(read, ways, where=path.name)


def parse_ladder(read: Mapping[str, Any], ways: Mapping[str, str], where: str = "ladder") -> Ladder:
    """The ladder that a table describes; see `load_ladder`."""
    faults: list[str] = []

    def text(table: Mapping[str, Any], key: str, at: str) -> str:
        found = table.get(key)
        if isinstance(found, str) and found.strip():
            return found.strip()
        faults.append(f"{where}: {at}{key} is a text that is not empty; found {found!r}")
        return ""

    def days(table: Mapping[str, Any], key: str, at: str, low: int) -> int:
        found = table.get(key)
        whole = isinstance(found, int) and not isinstance(found, bool)
        if whole and low <= found <= MOST_DAYS:  # type: ignore[operator]
            return int(found)  # type: ignore[arg-type]
        faults.append(
            f"{where}: {at}{key} is a whole number of days from {low} to {MOST_DAYS}; found {found!r}"
        )
        return low

    def unknown(table: Mapping[str, Any], allowed: tuple[str, ...], at: str) -> None:
        faults.extend(
            f"{where}: {at}{key} is not a key here; allowed: {', '.join(allowed)}"
            for key in table
            if key not in allowed
        )

    def step(table: Mapping[str, Any], at: str) -> Step:
        unknown(table, ("id", "what", "how", "after_days"), at)
        how = table.get("how")
        if not isinstance(how, list) or any(way not in ways for way in how):
            faults.append(f"{where}: {at}how lists any of {', '.join(ways)}; found {how!r}")
            how = []
        return Step(
            text(table, "id", at),
            text(table, "what", at),
            tuple(how),
            days(table, "after_days", at, 0),
        )

    unknown(read, ("title", "source", "standing", "again_after_days", "steps"), "")
    listed = read.get("steps")
    if not isinstance(listed, list) or any(not isinstance(one, Mapping) for one in listed):
        faults.append(f"{where}: steps is a list of tables; found {listed!r}")
        listed = []
    steps = tuple(step(one, f"steps[{number}].") for number, one in enumerate(listed, start=1))
    if listed and not faults:
        if [one.decides for one in steps] != [False] * (len(steps) - 1) + [True]:
            faults.append(f"{where}: the last step, and no other, has no way: a physician decides")
        if [one.after_days for one in steps] != sorted(one.after_days for one in steps):
            faults.append(f"{where}: after_days never falls from one step to the next")
        if len({one.id for one in steps}) < len(steps):
            faults.append(f"{where}: each step has an id of its own")
    elif not listed and not faults:
        faults.append(f"{where}: steps names no step; the last one at least is needed")
    standing = text(read, "standing", "")
    if standing and standing not in STANDINGS:
        faults.append(f"{where}: standing is one of {', '.join(STANDINGS)}; found {standing!r}")
    ladder = Ladder(
        text(read, "title", ""), text(read, "source", ""), standing,
        days(read, "again_after_days", "", 1), steps,
    )  # fmt: skip
    if faults:
        raise LadderError(faults)
    return ladder
