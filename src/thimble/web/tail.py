"""What is new at the end of a ledger since it was last read, for whoever keeps its present in memory."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Generic

from thimble.ledger.entries import GENESIS, Entry, K

Since = Callable[[int], Sequence[Entry[K]]]
"""Every entry from this number on, by number; from 0 all of them."""


class Tail(Generic[K]):
    """Reads what is new, in one query. Not safe between threads: its keeper holds a lock.

    The ledger is append-only, so what was read once stays true; the digest of the last entry seen is
    compared each time, and a ledger that is another one is read from its start.
    """

    def __init__(self, since: Since[K]) -> None:
        self._since = since
        self._last = 0
        self._digest = GENESIS

    def read(self) -> tuple[bool, Sequence[Entry[K]]]:
        """Whether it is another ledger, so that what is kept must be forgotten; and the new entries."""
        news = self._since(self._last)
        another = False
        if self._last:
            another = not news or news[0].digest != self._digest
            news = self._since(0) if another else news[1:]
        if news:
            self._last, self._digest = news[-1].number, news[-1].digest
        elif another:
            self._last, self._digest = 0, GENESIS
        return another, news
