"""Which stored messages name somebody of the register whose time is over, and what is left of them.

As for sources, a message goes as a whole: what was recorded of others in it is in their own files.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping

from thimble.exchange.hl7v2.decoding import split_batch
from thimble.exchange.hl7v2.erasing import without_identity
from thimble.exchange.hl7v2.faults import Unreadable
from thimble.exchange.hl7v2.message import read_bytes
from thimble.exchange.inbox import Inbox, Received, State
from thimble.exchange.stored import digest_of
from thimble.exchange.whose import names, sample_keys
from thimble.people.identity import PersonIdentity
from thimble.people.names import number_key
from thimble.web.laboratory.register import Register


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
    left: dict[int, bytes] = {}
    gone: set[str] = set()
    batches: list[Received] = []
    for received in inbox.with_people():
        if received.raw.lstrip().startswith((b"BHS", b"FHS")):
            batches.append(received)
        elif received.digest in recorded or (
            received.state is not State.NEW and _is_about(received, register, person, who)
        ):
            left[received.id] = without_identity(received.raw)
            gone.add(received.digest)
    for received in batches:
        # A batch that is kept whole beside its messages names whom they name.
        if gone & {digest_of(raw) for raw in split_batch(received.raw).messages}:
            left[received.id] = without_identity(received.raw)
    return left


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
