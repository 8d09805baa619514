"""Where an instant stands in the picture."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime


@dataclass(frozen=True, slots=True)
class Scale:
    """Instants to places on a line. `x(at)` is linear in elapsed time and clipped to the ends."""

    start: datetime
    end: datetime
    left: float
    right: float

    def x(self, at: datetime) -> float:
        """The place of an instant, in the picture's own units."""
        share = (utc(at) - utc(self.start)) / (utc(self.end) - utc(self.start))
        return self.left + (self.right - self.left) * min(1.0, max(0.0, share))

    def holds(self, at: datetime) -> bool:
        """Whether an instant lies on the line."""
        return utc(self.start) <= utc(at) <= utc(self.end)


@dataclass(frozen=True, slots=True)
class Size:
    """The measures of one drawing, in its own units."""

    name: str
    width: float
    text: float
    small: float
    margin: float = 12.0


WIDE = Size("wide", 960.0, 15.0, 13.0)
NARROW = Size("narrow", 360.0, 14.5, 13.0)


def utc(at: datetime) -> datetime:
    """The instant, so that two can be compared whatever their zones."""
    return at.astimezone(UTC)
