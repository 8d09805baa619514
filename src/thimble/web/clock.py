"""The only place in the web project that reads the time."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import UTC, datetime


def _system() -> datetime:
    return datetime.now(UTC)


_read: Callable[[], datetime] = _system


def now() -> datetime:
    """This moment, aware, in UTC."""
    return _read()


@contextmanager
def standing_at(moment: datetime) -> Iterator[None]:
    """Hold the clock at an aware instant: for tests.

    Raises:
        ValueError: the moment has no time zone.
    """
    global _read  # noqa: PLW0603 - the one clock of the process
    if moment.tzinfo is None:
        raise ValueError(f"a moment needs a time zone; {moment.isoformat()} has none")
    before = _read
    _read = lambda: moment  # noqa: E731
    try:
        yield
    finally:
        _read = before
