"""Stored messages are recorded after they were answered, as many together as wait.

A sender waits for one write, that of the inbox: what was answered is on the disk there, and stays new
until what it says is in the ledger. The inbox is the queue. What is kept of it in memory saves reading
a message twice; it may be lost at any moment, and the next start takes up whatever is still new.
"""

from __future__ import annotations

import logging
import threading
import time
from collections import deque
from collections.abc import Callable, Sequence
from typing import Final, Protocol

from thimble.exchange.hl7v2.faults import Unreadable
from thimble.exchange.hl7v2.model import Message
from thimble.exchange.inbox import Inbox, Received, Settled, State

TOGETHER: Final = 64
"""Messages that share one write; others who write to the ledger wait meanwhile."""
AT_HAND: Final = 512
"""Messages kept in memory; those beyond are read from the inbox when their turn comes."""
AGAIN_SECONDS: Final = 60.0
"""After which what failed is tried again."""
LONGEST_PAUSE: Final = 64

log = logging.getLogger(__name__)


class Together(Protocol):
    """Records messages."""

    def process_all(self, messages: Sequence[tuple[Received, Message]]) -> int:
        """Record each whole or not at all, in one write for all of them; settle them in the inbox.

        One that is no longer new is left alone. One that fails is left new and hurts no other.

        Returns:
            How many were left new because they failed.

        Raises:
            Exception: nothing was written, for example because the disk is full.
        """
        ...


class Recorder:
    """A `Processor` that puts the work off to a thread of its own, from `start` to `stop`.

    Args:
        inbox: where the messages are stored.
        together: records them; called from one thread at a time.
        read: a message's bytes as a message; raises `Unreadable`.
        again_seconds: after which what failed is tried again, one message at a time; twice as long
            after each time that was in vain, up to `LONGEST_PAUSE` times.
    """

    def __init__(
        self,
        inbox: Inbox,
        together: Together,
        *,
        read: Callable[[bytes], Message],
        again_seconds: float = AGAIN_SECONDS,
    ) -> None:
        self._inbox, self._together, self._read = inbox, together, read
        self._again_seconds = again_seconds
        self._changed = threading.Condition()
        self._at_hand: deque[tuple[Received, Message]] = deque()
        self._behind = False  # the inbox may hold new ones that are not at hand
        self._stopping = False
        self._again_at: float | None = None
        self._pause = again_seconds
        self._thread = threading.Thread(target=self._run, name="recording", daemon=True)

    def process(self, received: Received, message: Message) -> None:
        """See `thimble.exchange.receiving.Processor`. Returns at once."""
        with self._changed:
            # While older ones wait in the inbox, this one waits there behind them.
            if self._behind or len(self._at_hand) >= AT_HAND:
                self._behind = True
            else:
                self._at_hand.append((received, message))
            self._changed.notify()

    def start(self) -> None:
        """Begin to record what comes."""
        self._thread.start()

    def stop(self, seconds: float) -> bool:
        """Record what is at hand, then end; whether it did so in time.

        What is not recorded stays new in the inbox, for the next start.
        """
        with self._changed:
            self._stopping = True
            self._changed.notify()
        self._thread.join(seconds)
        return not self._thread.is_alive()

    def catch_up(self) -> int:
        """Record whatever is new in the inbox; how many messages were looked at."""
        return self._catch_up(TOGETHER)

    # -- the thread -------------------------------------------------------------------------------

    def _run(self) -> None:
        while True:
            with self._changed:
                self._changed.wait_for(self._has_work, self._patience())
                again = self._again_at is not None and time.monotonic() >= self._again_at
                behind = (self._behind or again) and not self._at_hand
                if self._stopping and not self._at_hand:
                    return
                if behind:
                    # Said before the inbox is read: whatever comes meanwhile is kept at hand.
                    self._behind, self._again_at = False, None
                take = 0 if behind else min(TOGETHER, len(self._at_hand))
                messages = [self._at_hand.popleft() for _ in range(take)]
            try:
                if behind:
                    self._catch_up(1 if again else TOGETHER)
                elif messages:
                    self._record(messages)
            except Exception as error:  # the inbox itself: a thread that ends would record no more
                log.error("the inbox could not be read: %s", type(error).__name__)
                self._try_again()

    def _has_work(self) -> bool:
        return bool(self._at_hand) or self._behind or self._stopping

    def _patience(self) -> float | None:
        return None if self._again_at is None else max(0.0, self._again_at - time.monotonic())

    def _catch_up(self, most: int) -> int:
        count = 0
        messages: list[tuple[Received, Message]] = []
        for received in self._inbox.unprocessed():
            if self._stopping:
                break
            count += 1
            try:
                messages.append((received, self._read(received.raw)))
            except Unreadable as fault:
                self._inbox.settle_new([Settled(received.id, State.HELD, fault.reason)])
            if len(messages) == most:
                self._record(messages)
                messages = []
        if messages:
            self._record(messages)
        return count

    def _record(self, messages: Sequence[tuple[Received, Message]]) -> None:
        try:
            failed = self._together.process_all(messages)
        except Exception as error:  # stored and acknowledged: they stay new, whatever went wrong
            # Not the text of the error: it may hold what a message says of a person.
            log.error("%d messages were not recorded: %s", len(messages), type(error).__name__)
            failed = len(messages)
        if failed:
            self._try_again()
        else:
            self._pause = self._again_seconds

    def _try_again(self) -> None:
        """Later: what is wrong now, a full disk above all, may be right then."""
        self._again_at = time.monotonic() + self._pause
        self._pause = min(2 * self._pause, LONGEST_PAUSE * self._again_seconds)
