"""The words on the laboratory's pages. Pure."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, tzinfo

from thimble.clinical.laboratory import Local
from thimble.clinical.saying import calendar_day, minute
from thimble.exchange.hl7v2.model import Message, Patient
from thimble.exchange.hl7v2.reading import Held
from thimble.exchange.hl7v2.values import NOTHING_DECLARED, read_value
from thimble.exchange.inbox import Received, State
from thimble.exchange.rows import passed_over
from thimble.people.identity import PersonIdentity

STATES = {
    State.NEW: "Not looked at yet",
    State.HELD: "Held for you",
    State.MATCHED: "Recorded",
    State.REFUSED: "Refused: the sender was told",
    State.DUPLICATE: "Settled by hand",
}


@dataclass(frozen=True, slots=True)
class Line:
    """One message in the list."""

    number: int
    at: str
    sender: str
    reason: str


@dataclass(frozen=True, slots=True)
class ListPart:
    """The messages of one state."""

    title: str
    lines: tuple[Line, ...]


@dataclass(frozen=True, slots=True)
class RowView:
    """One row of results, in the sender's own words and as it was read."""

    test: str
    words: str
    read: str


@dataclass(frozen=True, slots=True)
class PatientView:
    """Whose results the sender says these are."""

    who: tuple[str, ...]
    numbers: tuple[str, ...]
    rows: tuple[RowView, ...]


@dataclass(frozen=True, slots=True)
class Candidate:
    """Somebody of the register whom a message may be about, and what speaks for them."""

    person: str
    who: str
    why: str


@dataclass(frozen=True, slots=True)
class MessagePage:
    """One message."""

    number: int
    at: str
    sender: str
    state: str
    open: bool
    reason: str
    patients: tuple[PatientView, ...]
    unread: str
    fault: str
    typed: dict[str, str]
    erased: str = ""
    digest: str = ""
    candidates: tuple[Candidate, ...] = ()


def listed(received: Iterable[Received], title: str, zone: tzinfo) -> ListPart:
    """The messages of one state, as they came."""
    return ListPart(
        title,
        tuple(
            Line(
                each.id, minute(each.received_at, zone), each.sender.replace("|", ", "), each.reason
            )
            for each in received
        ),
    )


def message_page(
    received: Received,
    message: Message | None,
    unread: str,
    zone: tzinfo,
    *,
    fault: str = "",
    typed: dict[str, str] | None = None,
    local: Local = NOTHING_DECLARED,
    candidates: Iterable[Candidate] = (),
) -> MessagePage:
    """One message in words; `unread` says why nothing of it could be read."""
    return MessagePage(
        received.id,
        minute(received.received_at, zone),
        received.sender.replace("|", ", "),
        STATES[received.state],
        received.state in (State.NEW, State.HELD),
        received.reason,
        tuple(_patient(patient, local) for patient in message.patients) if message else (),
        unread,
        fault,
        typed or {},
        _erased(received, zone),
        received.digest,
        tuple(candidates),
    )


def candidate(person: str, who: PersonIdentity | None, why: str) -> Candidate:
    """Somebody of the register, to be compared with whom the message names."""
    known = who or PersonIdentity()
    parts = [known.name or "Name erased"]
    if known.birth_date:
        parts.append(f"born {calendar_day(known.birth_date)}")
    if known.number:
        parts.append(f"number {known.number}")
    return Candidate(person, " · ".join(parts), why)


def _erased(received: Received, zone: tzinfo) -> str:
    if received.erased_at is None:
        return ""
    day = calendar_day(received.erased_at.astimezone(zone).date())
    return (
        f"Who this is about was erased on {day}, when the time for keeping who the source patient was "
        "had ended. Numbers and coded answers are left as they came, texts are not. What was recorded "
        "of it stands in the case. SHA-256 of the message as it came:"
    )


def _patient(patient: Patient, local: Local) -> PatientView:
    born: date | None = patient.birth_date.day if patient.birth_date is not None else None
    who = [f"{name.family}, {name.given}".strip(", ") for name in patient.names]
    who += [f"number {each.id}" for each in patient.ids if each.id]
    if born is not None:
        who.append(f"born {calendar_day(born)}")
    numbers: dict[str, None] = {}
    rows = []
    for order in patient.orders:
        for label, number in (("request", order.placer), ("laboratory's number", order.filler)):
            if number is not None and number.id:
                numbers[f"{label} {number.id}"] = None
        for each in order.specimen_numbers:
            numbers[f"specimen {each.id}"] = None
        for row in order.observations:
            reading = read_value(row, local)
            if passed_over(row, local):
                said = "passed over: nobody follows it here, says the site"
            elif isinstance(reading, Held):
                said = f"held: {reading.reason}"
            elif reading.no_result:
                said = reading.no_result
            else:
                parts = [
                    reading.outcome.value if reading.outcome else "",
                    str(reading.quantity or ""),
                ]
                said = f"{' '.join(p for p in parts if p)} ({reading.standing.value})"
            rows.append(RowView(next(iter(row.test.texts), ""), row.words, said))
    return PatientView(tuple(who), tuple(numbers), tuple(rows))
