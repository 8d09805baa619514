"""Write what a preview showed, in one transaction; take an import back as far as nobody wrote since."""

from __future__ import annotations

import secrets
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any

from thimble.actions._append import Refused, who_and_when
from thimble.actions.people import People, drafts_of, new_reference
from thimble.actions.people_identity import PeopleIdentities, Written
from thimble.ledger.entries import Draft, Entry
from thimble.ledger.store import Addition
from thimble.people.entries import Kind
from thimble.people.fold import touched_since, undone
from thimble.people.identity import changed_fields
from thimble.people.importing import Fate, Preview, Row
from thimble.people.names import number_key


def new_import_id() -> str:
    """A name for an import, which its entries carry."""
    return f"i{secrets.token_hex(6)}"


def apply_import(
    store: People,
    identities: PeopleIdentities,
    preview: Preview,
    import_id: str,
    *,
    file: str,
    now: datetime,
    by: str,
    role: str,
) -> Mapping[int, str]:
    """Write every row that says anything new, people before their evidence. Call it in one transaction of
    both stores, with a preview made in it: nothing may come between.

    Args:
        file: the SHA-256 of the list, in hex. Evidence names it as its origin; nobody verified it.

    Returns:
        Whose file each row wrote in, by row number.

    Raises:
        Refused: a row is still asked about, nothing would be written, or the writer is missing.
        Overtaken, BadBody: see `LedgerStore.append`.
    """
    faults = who_and_when(now=now, by=by, role=role)
    if asked := preview.counts[Fate.ASK]:
        faults.append(f"{asked} rows are still asked about: the same person, another, or left out")
    rows = [row for row in preview.rows if row.writes]
    if not rows:
        faults.append("No row says anything new")
    if faults:
        raise Refused(faults)
    taken = set(store.cases())
    held = identities.all_identities()
    whose: dict[int, str] = {}
    drafts: dict[str, list[Draft[Kind]]] = {}
    new: set[str] = set()
    identity_rows: list[Written] = []
    for row in rows:
        person = row.person or new_reference(taken)
        if row.fate is Fate.NEW:
            taken.add(person)
            new.add(person)
            bodies = [(Kind.ENROLLED, {**row.work, "import": import_id})]
        else:
            fields = changed_fields(held[person], row.identity)
            bodies = drafts_of(row.work, fields, import_id=import_id)
        whose[row.number] = person
        bodies += _evidence_of(row, import_id, file)
        # A list of evidence may have many rows of one person: a file is written once.
        drafts.setdefault(person, []).extend(Draft(kind, now, body) for kind, body in bodies)
    additions = [
        Addition(person, each, 0 if person in new else None) for person, each in drafts.items()
    ]
    written = store.append_all(additions, by=by, role=role, now=now)
    last = {entry.case: entry.position for entry in written}
    for row in rows:
        person = whose[row.number]
        if row.fate is Fate.NEW or changed_fields(held[person], row.identity):
            identity_rows.append(Written(person, last[person], row.identity))
    identities.save_all(identity_rows, by=by, now=now)
    return whose


def _evidence_of(row: Row, import_id: str, file: str) -> list[tuple[Kind, dict[str, Any]]]:
    origin = {"import": import_id, "list": {"file": file, "row": row.number}}
    return [(piece.kind, {**piece.body, **origin}) for piece in row.pieces]


@dataclass(frozen=True, slots=True)
class Undone:
    """What came of taking an import back: whose files were put right, who is gone again, and in whose
    files it stays because of later entries (how many) or of cases that took something over."""

    restored: tuple[str, ...]
    gone: tuple[str, ...]
    stays: Mapping[str, int]
    used: Mapping[str, tuple[str, ...]] = field(default_factory=dict)


def undo_import(
    store: People,
    identities: PeopleIdentities,
    import_id: str,
    *,
    taken_over: Mapping[str, Mapping[str, datetime]] | None = None,
    now: datetime,
    by: str,
    role: str,
) -> Undone:
    """Take back what an import wrote, in every file where nothing was written since and of which no case
    took anything over since.

    Somebody whom the import brought is out of the register again, and their name is erased. Call it in
    one transaction of both stores.

    Args:
        taken_over: by file, the cases that took something over from it, with when they last did.

    Raises:
        Refused: no entry stands that is of this import, or a number that somebody had before it was given
            to another person since.
    """
    files = _touched(store, import_id)
    if not files:
        raise Refused("Nothing of this import stands any more")
    stays: dict[str, int] = {}
    used: dict[str, tuple[str, ...]] = {}
    additions: list[Addition[Kind]] = []
    first: dict[str, int] = {}
    gone: list[str] = []
    for person, entries in files.items():
        later = touched_since(entries, import_id)
        if later:
            stays[person] = len(later)
            continue
        own = [e.position for e in entries if e.body.get("import") == import_id]
        since = entries[own[0] - 1].recorded_at
        cases = (taken_over or {}).get(person, {})
        if rest := tuple(case for case, at in cases.items() if at >= since):
            used[person] = rest
            continue
        body: dict[str, Any] = {"import": import_id, "entries": own}
        draft = Draft(Kind.IMPORT_UNDONE, now, body)
        additions.append(Addition(person, [draft], entries[-1].position))
        if own[0] == 1:
            gone.append(person)
        else:
            first[person] = own[0]
    _no_number_twice(identities, first, gone)
    if additions:
        written = store.append_all(additions, by=by, role=role, now=now)
        _restore(identities, first, {e.case: e.position for e in written}, by=by, now=now)
        identities.erase(gone)
    return Undone(tuple(first), tuple(gone), stays, used)


def _touched(store: People, import_id: str) -> dict[str, list[Entry[Kind]]]:
    """The whole files in which an import wrote and was not taken back."""
    every: dict[str, list[Entry[Kind]]] = {}
    named: set[str] = set()
    for entry in store.all_entries():
        every.setdefault(entry.case, []).append(entry)
        if entry.body.get("import") == import_id and entry.kind is not Kind.IMPORT_UNDONE:
            named.add(entry.case)
    return {
        person: entries
        for person, entries in every.items()
        if person in named
        and any(
            e.body.get("import") == import_id and e.position not in undone(entries)
            for e in entries
            if e.kind is not Kind.IMPORT_UNDONE
        )
    }


def _no_number_twice(
    identities: PeopleIdentities, first: Mapping[str, int], gone: Sequence[str]
) -> None:
    """Refuse where the identities of before would give one number to two people."""
    left = {ref: who for ref, who in identities.all_identities().items() if ref not in set(gone)}
    before = identities.before(first)
    holders = Counter(number_key(who.number) for who in (left | dict(before)).values())
    for who in before.values():
        if who.number and holders[number_key(who.number)] > 1:
            raise Refused(
                f"The number {who.number}, which the import replaced, was given to another person since. "
                "Change it there first"
            )


def _restore(
    identities: PeopleIdentities,
    first: Mapping[str, int],
    positions: Mapping[str, int],
    *,
    by: str,
    now: datetime,
) -> None:
    """Write again who people were before the import changed it."""
    before = identities.before(first)
    rows: Sequence[Written] = [
        Written(person, positions[person], who)
        for person, who in before.items()
        if who != identities.identity(person)
    ]
    identities.save_all(rows, by=by, now=now)
