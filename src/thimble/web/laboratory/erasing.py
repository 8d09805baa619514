"""Which stored messages name a source whose time is over, and what is left of them without the people.

A message goes as a whole: where it holds several people, what was recorded of each is in the ledger, and
none of them is looked up in the message again.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Iterable, Mapping
from datetime import date

from thimble.clinical.serology.results import label_key
from thimble.exchange.hl7v2.decoding import split_batch
from thimble.exchange.hl7v2.erasing import without_identity
from thimble.exchange.hl7v2.faults import Unreadable
from thimble.exchange.hl7v2.message import read_bytes
from thimble.exchange.hl7v2.model import Message
from thimble.exchange.inbox import Inbox, Received, State
from thimble.exchange.known import Person
from thimble.exchange.stored import digest_of
from thimble.exchange.whose import names, sample_keys
from thimble.ledger.entries import Kind
from thimble.web.laboratory.directory import Directory
from thimble.web.store import DjangoStore

Due = Mapping[str, Mapping[int, bytes]]
"""Of each case, the messages by number with what is to be left of each."""


def messages_due(
    inbox: Inbox, store: DjangoStore, directory: Directory, over: Callable[[str], bool]
) -> Due:
    """The stored messages about the source patient of a case whose time is `over`.

    A message that was recorded is known by its digest in the case's entries. Of the others, those
    belong to a case that name one of its samples of the source and no other case's; or that name the
    source by number and date of birth, as long as no case whose time is not over knows that person. One
    that nobody looked at yet stays, and so does one of the worker alone.
    """
    recorded = _recorded(store)
    known = {case: over(case) for case in {c for cases in recorded.values() for c in cases}}
    due: dict[str, dict[int, bytes]] = defaultdict(dict)
    gone: dict[str, str] = {}  # digest → case
    batches: list[Received] = []
    rest: list[Received] = []
    for received in inbox.with_people():
        cases = recorded.get(received.digest, ())
        if case := next((case for case in cases if known[case]), ""):
            due[case][received.id] = without_identity(received.raw)
            gone[received.digest] = case
        elif not cases and received.state not in (State.NEW, State.MATCHED):
            is_batch = received.raw.lstrip().startswith((b"BHS", b"FHS"))
            (batches if is_batch else rest).append(received)
    if rest:
        of_people = _unshared(directory.up_to_date().people(), over)
        for received in rest:
            try:
                message = read_bytes(received.raw)
            except Unreadable:
                continue
            if case := _case_of(message, directory, of_people, over):
                due[case][received.id] = without_identity(received.raw)
                gone[received.digest] = case
    for received in batches:
        # A batch that is kept whole beside its messages names whom they name.
        parts = (digest_of(raw) for raw in split_batch(received.raw).messages)
        if case := next((gone[digest] for digest in parts if digest in gone), ""):
            due[case][received.id] = without_identity(received.raw)
    return due


def _recorded(store: DjangoStore) -> dict[str, set[str]]:
    """The cases in which results of the source came with a message, by its digest."""
    found: dict[str, set[str]] = defaultdict(set)
    for entry in store.all_entries():
        body = entry.body
        if entry.kind is Kind.RESULT_RECEIVED and body.get("of") == "source" and "message" in body:
            found[body["message"]].add(entry.case)
    return found


def _unshared(
    people: Iterable[Person], over: Callable[[str], bool]
) -> Mapping[tuple[str, date], str]:
    """The sources whom only cases know whose time is over, by number and date of birth."""
    cases: dict[tuple[str, date], set[str]] = defaultdict(set)
    for person in people:
        if person.of == "source":
            cases[label_key(person.number), person.born].add(person.case)
    return {key: min(of) for key, of in cases.items() if all(map(over, of))}


def _case_of(
    message: Message,
    directory: Directory,
    of_people: Mapping[tuple[str, date], str],
    over: Callable[[str], bool],
) -> str:
    samples = {
        (sample.case, sample.of)
        for key in sample_keys(message)
        for sample in directory.samples(key)
    }
    if len(samples) == 1:
        ((case, of),) = samples
        if of == "source" and over(case):
            return case
    if samples or any(directory.printed(key) for key in sample_keys(message)):
        return ""
    return next(
        (case for (number, born), case in of_people.items() if names(message, number, born)), ""
    )
