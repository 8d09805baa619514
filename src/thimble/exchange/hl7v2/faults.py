"""Why a message cannot be taken as it is. Every message is a sentence without anybody's identity."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Place:
    """Where in a message: segment, which of them (from 1), field (from 1; 0: the segment itself)."""

    segment: str
    sequence: int = 1
    field: int = 0


class Unreadable(Exception):
    """The message cannot be read; it is kept as it came, for a person."""

    def __init__(self, reason: str, place: Place | None = None) -> None:
        super().__init__(reason)
        self.reason, self.place = reason, place


class Undecodable(Unreadable):
    """The bytes are not in the character set that they should be in."""


class CaseNotification(Unreadable):
    """A report of a case to an authority in the shape of a result: it holds no results."""
