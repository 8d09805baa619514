"""From a stored message to entries of the ledger, or to a person with the reasons.

A message is recorded whole or not at all. Its digest stands in the entries, so that a process that
died between the ledger and the inbox records nothing twice.
"""

from __future__ import annotations

import logging
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime

from thimble import actions
from thimble.actions import Doubtful, IdentityStore, Refused
from thimble.clinical.site import Site
from thimble.exchange.hl7v2.model import Message
from thimble.exchange.inbox import Inbox, Received, Settled, State
from thimble.exchange.matching import Matched, Sample, read_message
from thimble.ledger.entries import Kind
from thimble.ledger.gathering import Gathering
from thimble.protocol.protocol import Protocol
from thimble.web.laboratory.directory import Directory
from thimble.web.store import DjangoStore

Writer = Mapping[str, str]
"""The account and role that entries name, by `by` and `role`."""

log = logging.getLogger(__name__)

BY: Writer = {"by": "laboratory", "role": "laboratory"}


@dataclass(frozen=True, slots=True)
class Told:
    """What a person found out about a message: whose it is, how they know, and what they were shown."""

    sample: Sample | None = None
    looked_at: str = ""
    doubts_shown: bool = True
    by: Writer = field(default_factory=lambda: BY)


NOBODY = Told()


class LedgerProcessor:
    """See `thimble.exchange.receiving.Processor` and `thimble.exchange.recording.Together`."""

    def __init__(
        self,
        inbox: Inbox,
        store: DjangoStore,
        identities: IdentityStore,
        protocol: Protocol,
        site: Site,
        clock: Callable[[], datetime],
    ) -> None:
        self._inbox, self._store = inbox, store
        self._protocol, self._site, self._clock = protocol, site, clock
        self._directory = Directory(store, identities, protocol)

    def process(self, received: Received, message: Message) -> None:
        """Record what the message says, or hold it with the reasons."""
        self.process_all([(received, message)])

    def process_all(self, messages: Sequence[tuple[Received, Message]]) -> int:
        """See `Together`. The inbox is asked for what is new while no other writer can record it."""
        settled: list[Settled] = []
        failed = 0
        with self._store.gathering() as ledger:
            self._directory.up_to_date()
            new = self._inbox.still_new([received.id for received, _ in messages])
            for received, message in messages:
                if received.id not in new:
                    continue
                try:
                    settled.append(self._taken(ledger, received, message, NOBODY)[0])
                except Exception as error:  # one message that goes wrong holds up no other
                    # Not the text of the error: it may hold what the message says of a person.
                    log.error("message %d was not processed: %s", received.id, type(error).__name__)
                    failed += 1
        self._inbox.settle_new(settled)
        return failed

    def take(self, received: Received, message: Message, told: Told) -> tuple[str, ...]:
        """Record a message as a person found out whose it is.

        Returns:
            Why it was not recorded; () if it was. The inbox says the same.
        """
        with self._store.gathering() as ledger:
            self._directory.up_to_date()
            settled, reasons = self._taken(ledger, received, message, told)
        self._inbox.settle(settled.id, settled.state, settled.reason)
        return reasons

    def _taken(
        self, ledger: Gathering[Kind], received: Received, message: Message, told: Told
    ) -> tuple[Settled, tuple[str, ...]]:
        """What becomes of one message, and the reasons why it was not recorded."""
        read = read_message(
            message,
            self._directory,
            zone=self._site.zone,
            received_at=received.received_at,
            local=self._site.laboratory,
            sample=told.sample,
        )
        reasons = read.reasons
        if received.reused and told.sample is None:
            reasons = ("Another message came under the same control id.", *reasons)
        if not reasons:
            reasons = self._record(ledger, read.matched, received.digest, told)
        state = State.HELD if reasons else State.MATCHED
        said = " ".join(reasons or [m.check for m in read.matched if m.check])
        return Settled(received.id, state, said), reasons

    def _record(
        self, ledger: Gathering[Kind], matched: Sequence[Matched], digest: str, told: Told
    ) -> tuple[str, ...]:
        now = self._clock()
        waiting = [m for m in matched if not _is_recorded(ledger, m, digest)]
        try:
            # One that is doubtful holds them all: what was written before it is taken back.
            with ledger.whole():
                for each in waiting:
                    actions.record_results(
                        ledger, each.sample.case, each.results, protocol=self._protocol,
                        site=self._site, now=now, drawn_for=each.sample.drawn_for,
                        action=each.sample.action or None, text=each.check,
                        laboratory=each.laboratory, looked_at=told.looked_at,
                        doubts_shown=told.doubts_shown, message=digest,
                        by=told.by["by"], role=told.by["role"],
                    )  # fmt: skip
        except (Doubtful, Refused) as refused:
            return refused.faults
        return ()


def _is_recorded(ledger: Gathering[Kind], each: Matched, digest: str) -> bool:
    wanted = [result.analyte.value for result in each.results]
    return any(
        entry.kind is Kind.RESULT_RECEIVED
        and entry.body.get("message") == digest
        and [one["analyte"] for one in entry.body.get("results", ())] == wanted
        for entry in ledger.entries(each.sample.case)
    )
