"""From a stored message to entries of cases or people's files, or to somebody with the reasons.

A message is recorded whole or not at all. Its digest stands in the entries, so that a process that
died between the ledger and the inbox records nothing twice.
"""

from __future__ import annotations

import logging
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import date, datetime

from thimble import actions
from thimble.actions import Doubtful, IdentityStore, Refused
from thimble.actions.reported import record_reports
from thimble.clinical.site import Site
from thimble.exchange.hl7v2.model import Message
from thimble.exchange.inbox import Inbox, Received, Settled, State
from thimble.exchange.known import Sample
from thimble.exchange.matching import Matched, Read, Reports, read_message
from thimble.ledger.entries import Kind
from thimble.ledger.gathering import Gathering
from thimble.people.entries import Kind as PersonKind
from thimble.protocol.protocol import Protocol
from thimble.web.laboratory.comparing import refusal
from thimble.web.laboratory.directory import Directory
from thimble.web.laboratory.recorded import Stands, places_of, what_stands
from thimble.web.laboratory.register import Register
from thimble.web.store import DjangoStore

Writer = Mapping[str, str]
"""The account and role that entries name, by `by` and `role`."""

log = logging.getLogger(__name__)

BY: Writer = {"by": "laboratory", "role": "laboratory"}


@dataclass(frozen=True, slots=True)
class Told:
    """What a person found out about a message: whose it is, how they know, and what they were shown.

    `whose` is a sample of a case or the reference of a file of the register; `drawn_on` the day of the
    draw, where no session tells it.
    """

    whose: Sample | str | None = None
    looked_at: str = ""
    doubts_shown: bool = True
    by: Writer = field(default_factory=lambda: BY)
    drawn_on: date | None = None


NOBODY = Told()
MEANWHILE = "Somebody settled this message meanwhile: look at what became of it."
ELSEWHERE = "It stands in another file or case. Withdraw it there first, then place it here."


@dataclass(frozen=True, slots=True)
class _Books:
    """The two ledgers while they gather: both are written, or neither."""

    cases: Gathering[Kind]
    people: Gathering[PersonKind]


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
        register: Register,
    ) -> None:
        self._inbox, self._store, self._register = inbox, store, register
        self._protocol, self._site, self._clock = protocol, site, clock
        self._directory = Directory(store, identities, protocol, register, clock)

    def process(self, received: Received, message: Message) -> None:
        """Record what the message says, or hold it with the reasons."""
        self.process_all([(received, message)])

    def process_all(self, messages: Sequence[tuple[Received, Message]]) -> int:
        """See `Together`. The inbox is asked for what is new while no other writer can record it."""
        settled: list[Settled] = []
        failed = 0
        with self._gathering() as books:
            self._directory.up_to_date()
            new = self._inbox.still_new([received.id for received, _ in messages])
            for received, message in messages:
                if received.id not in new:
                    continue
                try:
                    settled.append(self._taken(books, received, message, NOBODY)[0])
                except Exception as error:  # one message that goes wrong holds up no other
                    # Not the text of the error: it may hold what the message says of a person.
                    log.error("message %d was not processed: %s", received.id, type(error).__name__)
                    failed += 1
        self._inbox.settle_new(settled)
        return failed

    def take(self, received: Received, message: Message, told: Told) -> tuple[str, ...]:
        """Record a message as a person found out whose it is.

        Returns:
            Why it was not recorded; () if it was. The inbox says the same, unless it was settled meanwhile
            or the person named is somebody else: that says nothing of the message.
        """
        if told.whose is not None and (contradicted := self.against(message, told.whose)):
            return (contradicted,)
        with self._gathering() as books:
            self._directory.up_to_date()
            # Who looked at it at the same time may have placed it with somebody else.
            if self._inbox.get(received.id).state not in (State.NEW, State.HELD):
                return (MEANWHILE,)
            if told.whose is not None and self._stands_elsewhere(received.digest, told.whose):
                return (ELSEWHERE,)
            settled, reasons = self._taken(books, received, message, told)
        self._inbox.settle(settled.id, settled.state, settled.reason)
        return reasons

    def _stands_elsewhere(self, digest: str, whose: Sample | str) -> bool:
        target = whose if isinstance(whose, str) else whose.case
        places = places_of(digest, self._register.people, self._store)
        return any(p.stands is Stands.YES and p.reference != target for p in places)

    def against(self, message: Message, whose: Sample | str) -> str:
        """Why results cannot be put where a person says: another date of birth stands there; else ""."""
        if isinstance(whose, str):
            return refusal(message, self._register.born(whose), "file")
        return refusal(message, self._directory.born(whose.case, whose.of), "case")

    @contextmanager
    def _gathering(self) -> Iterator[_Books]:
        # People first, as where leavers are erased: two who write in both never wait for each other.
        with self._register.people.gathering() as people, self._store.gathering() as cases:
            yield _Books(cases, people)

    def _taken(
        self, books: _Books, received: Received, message: Message, told: Told
    ) -> tuple[Settled, tuple[str, ...]]:
        """What becomes of one message, and the reasons why it was not recorded."""
        read = read_message(
            message,
            self._directory,
            zone=self._site.zone,
            received_at=received.received_at,
            local=self._site.laboratory,
            told=told.whose,
        )
        reasons = read.reasons
        if received.reused and told.whose is None:
            reasons = ("Another message came under the same control id.", *reasons)
        if not reasons:
            reasons = self._record(books, read, received.digest, told)
        state = State.HELD if reasons else State.MATCHED
        checks = [*(m.check for m in read.matched), *(r.check for r in read.reports)]
        said = " ".join(reasons or dict.fromkeys(check for check in checks if check))
        return Settled(received.id, state, said), reasons

    def _record(self, books: _Books, read: Read, digest: str, told: Told) -> tuple[str, ...]:
        now = self._clock()
        waiting = [m for m in read.matched if not _is_recorded(books.cases, m, digest, told)]
        reports = [r for r in read.reports if not _is_in_file(books.people, r, digest, told)]
        try:
            # One that is doubtful holds them all: what was written before it is taken back.
            with books.cases.whole(), books.people.whole():
                for each in waiting:
                    actions.record_results(
                        books.cases, each.sample.case, each.results, protocol=self._protocol,
                        site=self._site, now=now, drawn_for=each.sample.drawn_for,
                        action=each.sample.action or None, text=each.check,
                        laboratory=each.laboratory, looked_at=told.looked_at,
                        doubts_shown=told.doubts_shown, message=digest,
                        by=told.by["by"], role=told.by["role"],
                    )  # fmt: skip
                for report in reports:
                    record_reports(
                        books.people, report, born=self._register.born(report.whose.person),
                        zone=self._site.zone, now=now, message=digest, looked_at=told.looked_at,
                        doubts_shown=told.doubts_shown, drawn_on=told.drawn_on,
                        by=told.by["by"], role=told.by["role"],
                    )  # fmt: skip
        except (Doubtful, Refused) as refused:
            return refused.faults
        return ()


def _is_recorded(ledger: Gathering[Kind], each: Matched, digest: str, told: Told) -> bool:
    entries = ledger.entries(each.sample.case)
    if told.whose is not None and what_stands(entries, digest) is not Stands.YES:
        # Whoever places it anew knows that it was withdrawn; a process that goes on does not.
        return False
    wanted = [result.analyte.value for result in each.results]
    return any(
        entry.kind is Kind.RESULT_RECEIVED
        and entry.body.get("message") == digest
        and [one["analyte"] for one in entry.body.get("results", ())] == wanted
        for entry in entries
    )


def _is_in_file(ledger: Gathering[PersonKind], each: Reports, digest: str, told: Told) -> bool:
    """All that a message says of one person is written together."""
    entries = ledger.entries(each.whose.person)
    if told.whose is not None and what_stands(entries, digest) is not Stands.YES:
        return False
    return any(entry.body.get("message") == digest for entry in entries)
