"""Faults of a protocol folder: each one a sentence with the file, row and column it stands in."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass


@dataclass(frozen=True, slots=True, order=True)
class Fault:
    """One thing that is wrong. `row` is the line in the file, 0 where there is none."""

    file: str
    row: int
    column: str
    message: str

    def __str__(self) -> str:
        place = self.file
        if self.row:
            place += f", row {self.row}"
        if self.column:
            place += f", column {self.column!r}"
        return f"{place}: {self.message}"


class ProtocolFaults(ValueError):
    """A protocol folder that is refused; carries every fault that was found in it."""

    def __init__(self, faults: Iterable[Fault]) -> None:
        self.faults = tuple(faults)
        super().__init__("\n".join(map(str, self.faults)))
