"""What a certificate rests on, on a day: what the house asks for, what is met, and how long that lasts."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, tzinfo

from thimble.clinical.diseases import DISEASES
from thimble.clinical.durations import Duration, add
from thimble.clinical.readiness import DiseaseState
from thimble.clinical.saying import calendar_day, inside
from thimble.ledger.entries import Entry
from thimble.ledger.fitness import FitnessDecision
from thimble.people import choices
from thimble.people.certificates.issued import Issued
from thimble.people.certificates.limits import Limit, rules
from thimble.people.certificates.stating import Statement
from thimble.people.entries import EVIDENCE, Kind
from thimble.people.fold import Person, undone
from thimble.people.hepatitis_b import hepatitis_b
from thimble.people.judged import judged
from thimble.people.readiness import Asked, readiness

MET: Mapping[bool | None, str] = {True: "yes", False: "no", None: "not_judged"}
"""Whether what is asked for is met, as an entry says it."""

NOT_AT_PRESENT = "That is less than it states: whoever checks it is told that it does not hold now."
"""After the decision about fitness in force, in terms of work."""

_WHO = {"family_name": "name", "given_name": "name", "birth_date": "birth date"}


@dataclass(frozen=True, slots=True)
class Basis:
    """What is asked for and how each part stands; the last day that a certificate may name.

    `decided` is the decision about fitness that is in force, if it says anything but fit or the day of its
    review has come (`review_due`).
    """

    states: tuple[DiseaseState, ...]
    limit: Limit
    decided: FitnessDecision | None = None
    review_due: bool = False

    @property
    def unmet(self) -> tuple[DiseaseState, ...]:
        """What is not met, and what is documented but judged by no table: neither is ever read as met."""
        return tuple(state for state in self.states if state.satisfied is not True)

    @property
    def met(self) -> bool:
        """Whether something is asked for and all of it is met."""
        return bool(self.states) and not self.unmet

    @property
    def standard(self) -> bool:
        """Whether the standard certificate follows from it without anybody deciding anything."""
        return self.met and self.decided is None

    def agrees(self, statement: Statement) -> bool:
        """Whether a statement says what was decided about fitness; nobody unfit is cleared."""
        if self.decided is None or self.decided.outcome == "fit":
            return True
        same = self.decided.restriction == statement.restriction
        return same and self.decided.outcome != "not_fit"

    @property
    def decided_words(self) -> str:
        """The decision in terms of work, with its day of review; "" without any."""
        if self.decided is None:
            return ""
        said, review = inside(self.decided.words), self.decided.review_on
        return said if review is None else f"{said}; review {calendar_day(review)}"

    @property
    def confirmed(self) -> bool:
        """Whether every rule used was read in its own document."""
        return all(state.confirmed for state in self.states)

    def as_body(self) -> dict[str, str]:
        """Disease to `yes`, `no` or `not_judged`."""
        return {state.disease: MET[state.satisfied] for state in self.states}


def basis_of(
    person: Person,
    born: date | None,
    on: date,
    asked: Asked,
    longest: Duration | None = None,
    decision: FitnessDecision | None = None,
) -> Basis:
    """The basis on a day.

    Args:
        longest: the house's own limit; None takes the shipped one.
        decision: the decision about the person's fitness that is in force, wherever it was made.
    """
    noon = datetime.combine(on, time(12), UTC)
    until = add(noon, longest or rules().longest, UTC).date()
    # What is due by now limits nothing: whoever decides in spite of it says until when.
    checks = [day for day in _next_checks(person, born, on, asked) if day > on]
    first = min(checks, default=until)
    limit = Limit(first, "recheck") if first < until else Limit(until, "longest")
    review = None if decision is None else decision.review_on
    if review is not None and on < review < limit.until:
        limit = Limit(review, "review")
    # Whoever was found fit until a review is not known to be fit after it.
    due = decision is not None and decision.due(on)
    speaks = decision is not None and (decision.outcome != "fit" or due)
    states = readiness(person, born, on, asked).states
    return Basis(states, limit, decision if speaks else None, due)


def _next_checks(person: Person, born: date | None, on: date, asked: Asked) -> Iterable[date]:
    if "hepatitis_b" in asked.diseases:
        found = hepatitis_b(person, born, on, asked.protocol)
        # Somebody protected who is to be tested again on a day is protected until then.
        if found is not None and found.cleared.next_due is not None:
            yield found.cleared.next_due
    for judgement in judged(person, born, on, asked.protocol, asked.diseases).values():
        if judgement.satisfied and judgement.again_on is not None:
            yield judgement.again_on


def doubts(
    issued: Issued, entries: Sequence[Entry[Kind]], now: Basis, zone: tzinfo
) -> tuple[str, ...]:
    """Why somebody should look again whether a certificate still holds, in sentences; none if nothing.

    Args:
        entries: of the whole file. Only what was written after the last look counts.
        now: the basis as of today.
        zone: the site's, whose days reviews are set for.
    """
    told = [
        f"{DISEASES[state.disease]}: met when it was issued, no longer by what is documented now."
        for state in now.unmet
        if issued.asked.get(state.disease) == "yes"
    ]
    if now.decided is not None and issued.decided_less(now.decided):
        told.append(f"{now.decided.words}. {NOT_AT_PRESENT}")
    elif (
        now.decided is not None
        and now.decided.at > issued.looked_at
        and not now.agrees(issued.statement)
    ):
        told.append(f"It was decided since: {inside(now.decided.words)}.")
    review = now.decided.review_on if now.decided is not None and now.review_due else None
    if review is not None and issued.looked_at.astimezone(zone).date() < review:
        told.append(f"The decision about fitness was to be reviewed by {calendar_day(review)}.")
    gone = undone(entries)
    before = {e.position: e for e in entries if e.position <= issued.looked}
    for entry in entries:
        if entry.position > issued.looked and entry.position not in gone:
            told += _said(entry, before)
    return tuple(dict.fromkeys(told))


def _said(entry: Entry[Kind], before: Mapping[int, Entry[Kind]]) -> list[str]:
    body = entry.body
    if entry.kind is Kind.CORRECTED:
        corrected = before.get(body["corrects"])
        if corrected is None or corrected.kind not in EVIDENCE:
            return []
        done = "withdrawn" if body.get("withdrawn") else "set right"
        return [f"Evidence that was on record then was {done} (entry {body['corrects']})."]
    if entry.kind is Kind.IMPORT_UNDONE and any(p in before for p in body["entries"]):
        return ["An import that was on record then was taken back."]
    if entry.kind is Kind.CHANGED:
        parts = sorted({_WHO[name] for name in body.get("identity", ()) if name in _WHO})
        return [f"The {part} was changed: the paper shows the one before." for part in parts]
    if entry.kind is Kind.RESULT_RECORDED and body["test"] in rules().look_again:
        if body["word"] == "negative":
            return []
        return [f"A result was written down since: {inside(choices.TESTS[body['test']][1])}."]
    return []
