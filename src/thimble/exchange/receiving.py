"""What is done with one frame: judge it, store it, answer it, hand it on.

The answer is decided by what can be seen in the message itself, is stored with it, and is given
only after both are on the disk. What becomes of the results is decided later, by a `Processor`.
"""

from __future__ import annotations

import logging
import threading
from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime
from typing import Final, Protocol

from thimble.exchange.hl7v2.answering import (
    Header,
    Refusal,
    Verdict,
    answers,
    batch_of,
    header_of,
)
from thimble.exchange.hl7v2.decoding import Batch, is_utf_16, split_batch
from thimble.exchange.hl7v2.faults import CaseNotification, Place, Unreadable
from thimble.exchange.hl7v2.message import read_bytes
from thimble.exchange.hl7v2.model import Message
from thimble.exchange.inbox import Arrival, Inbox, Received, State, Stored

PRODUCTION: Final = frozenset({"P"})
"""Table 0103: only production messages become results of people."""

UTF_16: Final = (
    "The message is in UTF-16, which is not read. Ask the sender to send it in UTF-8, with "
    "UNICODE UTF-8 in MSH-18."
)

log = logging.getLogger(__name__)


@dataclass(frozen=True, slots=True)
class Outcome:
    """The answers to one frame, each to be sent in a frame of its own; none where none is wanted."""

    answers: tuple[bytes, ...]


class Sink(Protocol):
    """Where frames go."""

    def take(self, raw: bytes, received_at: datetime, peer: str) -> Outcome:
        """Store this frame durably, then return. Called from several threads.

        Raises:
            Exception: it was not stored; the sender is told to send it again.
        """
        ...


class Processor(Protocol):
    """What becomes of a stored message of results. It settles the message in the inbox."""

    def process(self, received: Received, message: Message) -> None:
        """Called after the message was stored and before it is answered, one message at a time.

        Be quick, or put the work off (`thimble.exchange.recording`). A message that is not settled
        stays new.
        """
        ...


class LeaveNew:
    """Does nothing: messages stay new until somebody looks."""

    def process(self, received: Received, message: Message) -> None:
        pass


@dataclass(frozen=True, slots=True)
class _Judged:
    header: Header | None
    state: State
    reason: str = ""
    refusal: Refusal | None = None
    message: Message | None = None


class Receiver:
    """The sink that keeps everything in an `Inbox`.

    Args:
        inbox: where to.
        control_id: gives a new control id for each answer; at most 19 characters.
        single_byte: as for `decode`.
        processing: the processing ids (MSH-11) that are taken.
        processor: what becomes of messages of results.
        answer_unasked: as for `answers`.
    """

    def __init__(
        self,
        inbox: Inbox,
        *,
        control_id: Callable[[], str],
        single_byte: str | None = None,
        processing: frozenset[str] = PRODUCTION,
        processor: Processor | None = None,
        answer_unasked: bool = False,
    ) -> None:
        self._inbox, self._control_id = inbox, control_id
        self._single_byte, self._processing = single_byte, processing
        self._processor: Processor = processor or LeaveNew()
        self._answer_unasked = answer_unasked
        self._one_at_a_time = threading.Lock()

    def take(self, raw: bytes, received_at: datetime, peer: str) -> Outcome:  # noqa: ARG002
        """See `Sink`. `peer` is an address and is not kept: it says nothing of the sender."""
        batch = split_batch(raw)
        judged = [self._judge(each) for each in batch.messages]
        arrivals = [
            self._arrival(each, of, received_at)
            for each, of in zip(batch.messages, judged, strict=True)
        ]
        if batch.fault:
            arrivals.append(self._envelope(raw, batch, received_at))
        stored = self._inbox.store(arrivals)
        for kept, arrival, of in zip(stored, arrivals, judged, strict=False):
            self._hand_on(kept, arrival, of)
        return Outcome(self._answers(batch, stored, received_at))

    # -- one message ------------------------------------------------------------------------------

    def _judge(self, raw: bytes) -> _Judged:
        header = header_of(raw)
        refusal = self._refused_by_header(header)
        if header is None and is_utf_16(raw):
            refusal = Refusal(Verdict.REJECTED, 199, UTF_16)
            return _Judged(header, State.HELD, UTF_16, refusal)
        if header is None or refusal:
            reason = refusal.reason if refusal else ""
            return _Judged(header, State.REFUSED, reason, refusal)
        try:
            message = read_bytes(raw, self._single_byte)
        except CaseNotification as fault:
            refusal = Refusal(Verdict.ERROR, 200, fault.reason, fault.place)
            return _Judged(header, State.REFUSED, fault.reason, refusal)
        except Unreadable as fault:
            # It was received: the sender has done its part, a person here has to look.
            return _Judged(header, State.HELD, fault.reason)
        return _Judged(header, State.NEW, message=message)

    def _refused_by_header(self, header: Header | None) -> Refusal | None:
        if header is None:
            return Refusal(
                Verdict.REJECTED, 100, "The message does not begin with MSH.", Place("MSH")
            )
        kind, event = header.component(9), header.component(9, 2)
        if kind != "ORU":
            return Refusal(
                Verdict.REJECTED, 200, "Only results (ORU^R01) are taken.", Place("MSH", 1, 9)
            )
        if event != "R01":
            return Refusal(
                Verdict.REJECTED, 201, "Only results (ORU^R01) are taken.", Place("MSH", 1, 9)
            )
        if header.component(11) not in self._processing:
            return Refusal(
                Verdict.REJECTED,
                202,
                "Only messages for production (MSH-11 P) are taken.",
                Place("MSH", 1, 11),
            )
        version = header.component(12)
        if version and not version.startswith("2"):
            return Refusal(
                Verdict.REJECTED, 203, "Only version 2 is understood.", Place("MSH", 1, 12)
            )
        if not header.control_id.strip():
            return Refusal(
                Verdict.ERROR, 101, "MSH-10, the control id, is missing.", Place("MSH", 1, 10)
            )
        return None

    def _arrival(self, raw: bytes, judged: _Judged, at: datetime) -> Arrival:
        header = judged.header
        if header and header.component(9) in {"ACK", "MCF"}:
            # Nobody acknowledges an acknowledgement: two systems would never stop.
            built: tuple[bytes, ...] = ()
        else:
            built = answers(
                header, judged.refusal, at=at, control_id=self._control_id(),
                unasked=self._answer_unasked,
            )  # fmt: skip
        return Arrival(
            sender=header.sender if header else "",
            control_id=header.control_id if header else "",
            raw=raw,
            received_at=at,
            state=judged.state,
            reason=judged.reason,
            answers=built,
        )

    def _hand_on(self, stored: Stored, arrival: Arrival, judged: _Judged) -> None:
        if not stored.fresh:
            log.info("message %d came again and was answered as before", stored.id)
            return
        log.info("message %d stored: %s", stored.id, arrival.state)
        if stored.reused:
            log.warning("message %d has the control id of another message", stored.id)
        if judged.message:
            self._process(
                Received(
                    stored.id,
                    arrival.sender,
                    arrival.control_id,
                    arrival.raw,
                    arrival.received_at,
                    arrival.state,
                    arrival.reason,
                    stored.reused,
                    arrival.digest,
                ),
                judged.message,
            )

    def _process(self, received: Received, message: Message) -> None:
        try:
            with self._one_at_a_time:
                self._processor.process(received, message)
        except Exception as error:  # stored and acknowledged: it stays new, whatever went wrong
            # Not the text of the error: it may hold what the message says of a person.
            log.error("message %d was not processed: %s", received.id, type(error).__name__)

    # -- batches ----------------------------------------------------------------------------------

    def _envelope(self, raw: bytes, batch: Batch, at: datetime) -> Arrival:
        """A batch that does not agree with its own count is kept whole beside its messages."""
        header = header_of(batch.header, batch.header[:3])
        return Arrival(
            sender=header.sender if header else "",
            control_id=header[11] if header else "",
            raw=raw,
            received_at=at,
            state=State.HELD,
            reason=batch.fault,
            answers=(),
        )

    def _answers(self, batch: Batch, stored: list[Stored], at: datetime) -> tuple[bytes, ...]:
        of_messages = stored[: len(batch.messages)]
        built = tuple(answer for each in of_messages for answer in each.answers)
        if not batch.enveloped:
            # A sender waits for one frame after each of its own.
            return built if len(of_messages) == 1 else tuple([b"".join(built)] if built else [])
        if of_messages and not built and not batch.fault:
            return ()  # none of its messages asked for an answer
        header = header_of(batch.header, batch.header[:3])
        return (batch_of(header, built, at=at, control_id=self._control_id(), comment=batch.fault),)
