"""From a stored message to entries of the ledger, or to a person with the reasons.

A message is recorded whole or not at all. Its digest stands in the entries, so that a process that
died between the ledger and the inbox records nothing twice.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from datetime import datetime

from thimble import actions
from thimble.actions import Doubtful, IdentityStore, Refused
from thimble.clinical.site import Site
from thimble.exchange.hl7v2.model import Message
from thimble.exchange.inbox import Inbox, Received, State
from thimble.exchange.matching import Matched, Sample, read_message
from thimble.ledger.entries import Kind
from thimble.protocol.protocol import Protocol
from thimble.web.laboratory.directory import Directory
from thimble.web.store import DjangoStore

Writer = Mapping[str, str]
"""The account and role that entries name, by `by` and `role`."""

BY: Writer = {"by": "laboratory", "role": "laboratory"}


class LedgerProcessor:
    """See `thimble.exchange.receiving.Processor`."""

    def __init__(
        self,
        inbox: Inbox,
        store: DjangoStore,
        identities: IdentityStore,
        protocol: Protocol,
        site: Site,
        clock: Callable[[], datetime],
    ) -> None:
        self._inbox, self._store, self._identities = inbox, store, identities
        self._protocol, self._site, self._clock = protocol, site, clock
        self._directory = Directory(store, identities, protocol)

    def process(self, received: Received, message: Message) -> None:
        """Record what the message says, or hold it with the reasons."""
        self.take(received, message)

    def take(
        self,
        received: Received,
        message: Message,
        *,
        sample: Sample | None = None,
        looked_at: str = "",
        doubts_shown: bool = True,
        by: Writer | None = None,
    ) -> tuple[str, ...]:
        """Record a message; with `sample`, as a person found out whose it is.

        Returns:
            Why it was not recorded; () if it was. The inbox says the same.
        """
        read = read_message(
            message,
            self._directory.up_to_date(),
            zone=self._site.zone,
            received_at=received.received_at,
            local=self._site.laboratory,
            sample=sample,
        )
        if received.reused and sample is None:
            reasons: tuple[str, ...] = (
                "Another message came under the same control id.", *read.reasons,
            )  # fmt: skip
        else:
            reasons = read.reasons
        if not reasons:
            reasons = self._record(read.matched, received.digest, looked_at, doubts_shown, by or BY)
        state = State.HELD if reasons else State.MATCHED
        said = " ".join(reasons or [m.check for m in read.matched if m.check])
        self._inbox.settle(received.id, state, said)
        return reasons

    def _record(
        self,
        matched: Sequence[Matched],
        digest: str,
        looked_at: str,
        doubts_shown: bool,
        by: Writer,
    ) -> tuple[str, ...]:
        now = self._clock()
        waiting = [m for m in matched if not self._is_recorded(m, digest)]
        doubts: list[str] = []
        # One that is doubtful holds them all: what was written before it is rolled back.
        with self._store.transaction():
            try:
                for each in waiting:
                    actions.record_results(
                        self._store, each.sample.case, each.results, protocol=self._protocol,
                        site=self._site, now=now, drawn_for=each.sample.drawn_for,
                        action=each.sample.action or None, text=each.check,
                        laboratory=each.laboratory, looked_at=looked_at,
                        doubts_shown=doubts_shown, message=digest,
                        by=by["by"], role=by["role"],
                    )  # fmt: skip
            except (Doubtful, Refused) as refused:
                doubts += refused.faults
                _roll_back()
        return tuple(doubts)

    def _is_recorded(self, each: Matched, digest: str) -> bool:
        wanted = [result.analyte.value for result in each.results]
        return any(
            entry.kind is Kind.RESULT_RECEIVED
            and entry.body.get("message") == digest
            and [one["analyte"] for one in entry.body.get("results", ())] == wanted
            for entry in self._store.entries(each.sample.case)
        )


def _roll_back() -> None:
    from django.db import transaction

    transaction.set_rollback(True)
