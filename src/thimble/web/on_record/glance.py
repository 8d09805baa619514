"""One line on the page of a case: what the register documents of its worker, until somebody looked at it.

At night nobody reads a row of links, and somebody whose response is on file would be given
immunoglobulin.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from thimble.ledger.entries import Kind
from thimble.people.entries import RESULTS
from thimble.people.fold import Evidence
from thimble.people.immunity import about, certainly_different, shown, vaccine_doses
from thimble.web.desk.reading import Reading
from thimble.web.on_record.answering import doses_to_take, offered_to
from thimble.web.on_record.finding import OnRecord
from thimble.web.on_record.taken import put_aside, source_of
from thimble.web.people import words


@dataclass(frozen=True, slots=True)
class Glance:
    """What is said before the link, and whether the file may be of somebody else. `takes`: something can be
    taken over."""

    words: str
    doubt: bool = False
    takes: bool = False


def glance(found: OnRecord | None, reading: Reading) -> Glance | None:
    """The line; None where nothing is on file, the case is closed, has all of it, or somebody looked."""
    if (
        found is None
        or reading.situation.closed_at is not None
        or not shown(found.person)
        or seen_already(found, reading)
    ):
        return None
    if found.doubt:
        return Glance(found.doubt, doubt=True)
    facts, doses = offered_to(found, reading), doses_to_take(found, reading)
    known = reading.situation.facts
    takes = bool(doses) or any(
        each.fact not in known or known[each.fact].value != each.value for each in facts
    )
    if facts and not takes:
        return None
    return Glance(documented(shown(found.person), found), takes=takes)


def seen_already(found: OnRecord, reading: Reading) -> bool:
    """Whether the file was taken over from or set aside in this case, and says nothing new since."""
    reference = found.person.reference
    at = [
        entry.recorded_at
        for entry in reading.entries
        if entry.kind in {Kind.NOTED, Kind.DOSES_ON_RECORD}
        and any(
            words_ in str(entry.body.get("text", ""))
            for words_ in (source_of(reference), put_aside(reference))
        )
    ]
    return bool(at) and all(e.said_at <= max(at) for e in shown(found.person))


def documented(evidence: Sequence[Evidence], found: OnRecord) -> str:
    """The evidence in one sentence without its full stop, each with its date: doses counted, of each test
    the latest result, everything else of hepatitis B by itself, and the last dose against tetanus."""
    of_b = [e for e in evidence if "hepatitis_b" in about(e)]
    doses = vaccine_doses(found.person, "hepatitis_b")
    tests = [e for e in of_b if e.kind in RESULTS]
    latest = {e.body["test"]: e for e in sorted(tests, key=words.order)}
    others = [e for e in of_b if e not in doses and e not in tests]
    said = [_doses(doses, "hepatitis B")] if doses else []
    said += [_dated(e) for e in latest.values()]
    said += [_dated(e) for e in sorted(others, key=words.order)]
    if tetanus := vaccine_doses(found.person, "tetanus"):
        said.append(_doses(tetanus, "tetanus"))
    told = ", ".join(said)
    unseen = [e for e in evidence if not e.vouched]
    if not unseen:
        return told
    return f"{told} ({'some of it ' if len(unseen) < len(evidence) else ''}verified by nobody)"


def _doses(doses: Sequence[Evidence], name: str) -> str:
    dated = [e for e in doses if e.body["when"]]
    count = max(certainly_different(dated), 1)
    least = "at least " if count < len(doses) else ""
    last = max(dated, key=words.order, default=None)
    when = "" if last is None else f" ({'the last ' if count > 1 else ''}{_day(last)})"
    return f"{least}{count} {'dose' if count == 1 else 'doses'} of {name} vaccine{when}"


def _dated(evidence: Evidence) -> str:
    title = words.title(evidence).removeprefix("Dose: ").replace(": ", " ", 1)
    return f"{title.replace('Anti-', 'anti-', 1)} ({_day(evidence)})"


def _day(evidence: Evidence) -> str:
    return words.day(evidence.body.get("when") or evidence.body.get("on"))
