"""What is done at a session: a dose given, a sample drawn, and either taken back on the same day."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, datetime
from typing import Any

from thimble.actions._append import Refused
from thimble.actions.people import People, append_to, correct_evidence, person_of, record_evidence
from thimble.clinical.saying import sentence
from thimble.ledger.entries import Entry
from thimble.people.entries import Kind
from thimble.people.giving import Against, against, asked_first
from thimble.people.products import Product


class SpokenAgainst(Refused):
    """Something speaks against the dose. Whoever may decides, and says why."""

    def __init__(self, found: Sequence[Against]) -> None:
        super().__init__([each.words for each in found])
        self.found = tuple(found)


def give_dose(
    store: People,
    person: str,
    product: Product,
    *,
    lot: str,
    gtin: str = "",
    expires: date | None,
    where: str,
    recalled: str = "",
    born: date | None,
    protocol: str,
    session: int | None = None,
    asked: str = "",
    anyway: str = "",
    as_physician: bool = False,
    today: date,
    now: datetime,
    by: str,
    role: str,
) -> Entry[Kind]:
    """Write down a dose that is given here and now.

    Args:
        recalled: what is known against the lot, a sentence or "".
        session: the session at which it is given.
        asked: the answer to what is asked before a live vaccine, an id of `choices.YES_NO`; "" if nobody
            asked.
        anyway: why it is given although something speaks against it; the reasons stand in the entry.
        as_physician: whether whoever writes may decide what only a physician decides.

    Raises:
        NoSuchPerson.
        SpokenAgainst: something speaks against it, and `anyway` does not say why it is given, or
            whoever writes may not decide that.
        Refused: no lot, a lot that has expired or was recalled, nobody asked before a live vaccine, or
            the dose is on record already.
    """
    faults = []
    if not lot:
        faults.append("Scan or type the lot")
    if expires is not None and expires < today:
        last = expires.isoformat()
        faults.append(f"Lot {lot} could be used until {last}; that day has passed. Take another")
    if recalled:
        faults.append(f"{sentence(recalled)} Take another")
    live = asked_first(product, protocol)
    if live is not None and not asked:
        faults.append(f"This is a live vaccine. Ask about {live.ask} first, and choose the answer")
    if faults:
        raise Refused(faults)
    held = person_of(store, person, now)
    found = against(held, born, product, today, protocol, asked=asked)
    if found and (not anyway or (any(a.physician for a in found) and not as_physician)):
        raise SpokenAgainst(found)
    body: dict[str, Any] = {
        "product": product.cvx,
        "diseases": list(product.diseases),
        "when": today.isoformat(),
        "lot": lot,
        "where": where,
        "given_here": True,
    }
    if gtin:
        body["gtin"] = gtin
    if session is not None:
        body["session"] = session
    if live is not None:
        body["asked"] = {"about": live.ask, "answer": asked}
    if found:
        body |= {"despite": [each.words for each in found], "reason": anyway}
    (entry,) = record_evidence(
        store, person, [(Kind.DOSE_RECORDED, body)], born=born, today=today,
        expected_position=held.entries, now=now, by=by, role=role,
    )  # fmt: skip
    return entry


def take_sample(
    store: People,
    person: str,
    number: str,
    *,
    identified: str,
    session: int | None = None,
    today: date,
    now: datetime,
    by: str,
    role: str,
) -> Entry[Kind]:
    """Write down a sample that is drawn here and now.

    Raises:
        NoSuchPerson, Refused: this number is on record already, or is none.
    """
    held = person_of(store, person, now)
    if number in {sample.number for sample in held.samples}:
        raise Refused(f"Sample {number} is on record already")
    body: dict[str, Any] = {
        "number": number,
        "on": today.isoformat(),
        "identified": identified,
    }
    if session is not None:
        body["session"] = session
    (entry,) = append_to(
        store, person, [(Kind.SAMPLE_TAKEN, body)], expected_position=held.entries,
        now=now, by=by, role=role,
    )  # fmt: skip
    return entry


def undo(
    store: People, person: str, entry: int, *, today: date, now: datetime, by: str, role: str
) -> Kind:
    """Take back a dose or a sample of today by a correction; returns which it was.

    Raises:
        NoSuchPerson, Refused: it is neither, or not of today; that is withdrawn in the file, with a reason.
    """
    held = person_of(store, person, now)
    dose = next((e for e in held.of(Kind.DOSE_RECORDED) if e.entry == entry), None)
    if dose and dose.body.get("given_here") and dose.body["when"] == today.isoformat():
        correct_evidence(
            store, person, entry, reason="taken back at the session", now=now, by=by, role=role
        )
        return Kind.DOSE_RECORDED
    if any(sample.entry == entry and sample.on == today for sample in held.samples):
        body = {"corrects": entry, "reason": "taken back at the session", "withdrawn": True}
        append_to(store, person, [(Kind.CORRECTED, body)], now=now, by=by, role=role)
        return Kind.SAMPLE_TAKEN
    raise Refused("Only what was written down here today is taken back so")
