"""Which stored messages name somebody of the register whose time is over, and what is left of them.

As for sources, a message goes as a whole: what was recorded of others in it is in their own files.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence

from thimble.exchange.hl7v2.decoding import split_batch
from thimble.exchange.hl7v2.erasing import without_identity
from thimble.exchange.hl7v2.faults import Unreadable
from thimble.exchange.hl7v2.message import read_bytes
from thimble.exchange.inbox import Inbox, Received, State
from thimble.exchange.stored import digest_of
from thimble.exchange.whose import names, sample_keys
from thimble.people.identity import PersonIdentity
from thimble.people.names import number_key
from thimble.web.clinic.labels import numbers_of
from thimble.web.laboratory.register import Register

_BETWEEN = bytes(byte for byte in range(256) if not bytes((byte,)).isalnum())
"""Everything but letters and digits of ASCII: a number is written with and without its hyphens."""


def messages_of(
    inbox: Inbox,
    register: Register,
    person: str,
    who: PersonIdentity,
    in_cases: Collection[str] = (),
) -> Mapping[int, bytes]:
    """The stored messages about a person, by number with what is to be left of each.

    One that was recorded is known by its digest in the file. Of the others, which were held, or said what
    was on file already, the person's are those under a label that was printed for them, and those that
    name them by number and date of birth. One that nobody looked at yet stays.

    Args:
        in_cases: digests of the messages that were recorded of them in cases that lose their name too.
    """
    recorded = {entry.body.get("message") for entry in register.people.entries(person)} | set(
        in_cases
    )
    marks = [_plain(number.encode()) for number in numbers_of(person)]
    if who.birth_date is not None:
        marks.append(f"{who.birth_date:%Y%m%d}".encode())
    left: dict[int, bytes] = {}
    gone: set[str] = set()
    batches: list[Received] = []
    for received in inbox.with_people():
        if received.raw.lstrip().startswith((b"BHS", b"FHS")):
            batches.append(received)
        elif received.digest in recorded or (
            _may_name(received, marks) and _is_about(received, register, person, who)
        ):
            left[received.id] = without_identity(received.raw)
            gone.add(received.digest)
    for received in batches:
        # A batch that is kept whole beside its messages names whom they name.
        if gone & {digest_of(raw) for raw in split_batch(received.raw).messages}:
            left[received.id] = without_identity(received.raw)
    return left


def _may_name(received: Received, marks: Sequence[bytes]) -> bool:
    """Whether a message may be about somebody. Of the many that were recorded only those are read that hold
    one of the marks: reading each would take the whole night."""
    if received.state is not State.MATCHED:
        return received.state is not State.NEW
    plain = _plain(received.raw)
    return any(mark in plain for mark in marks)


def _plain(raw: bytes) -> bytes:
    return raw.upper().translate(None, _BETWEEN)


def _is_about(received: Received, register: Register, person: str, who: PersonIdentity) -> bool:
    try:
        message = read_bytes(received.raw)
    except Unreadable:
        return False
    labels = {owner for key in sample_keys(message) if (owner := register.printed(key))}
    if labels:
        return labels == {person}
    # As `Register.registered` finds the file.
    return names(message, who.number, who.birth_date, number_key)
