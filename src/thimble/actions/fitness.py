"""A physician decides about fitness: the proposal is computed here anew, never taken from the form."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any, Unpack

from thimble.actions._append import Refused, Writing, append, existing
from thimble.actions.people import People, append_to, person_of
from thimble.clinical.fitness import propose, tables
from thimble.ledger.bodies import facts_to_json
from thimble.ledger.entries import Entry, Kind
from thimble.ledger.fitness import FitnessDecision, fitness_decisions, in_order, still_held
from thimble.ledger.store import LedgerStore
from thimble.people.entries import Kind as PeopleKind


@dataclass(frozen=True, slots=True)
class FitnessVerdict:
    """What a physician says about somebody's fitness.

    `outcome` and `restriction` are ids of `ledger.bodies.FITNESS_OUTCOMES` and `FITNESS_RESTRICTIONS`;
    `review_on` is the day of review, after today, None only for a plain "fit"; `reason` is needed where
    the decision departs from the proposal, or nothing settled was proposed.
    """

    outcome: str
    restriction: str
    review_on: date | None
    reason: str


def decide_fitness(
    store: LedgerStore,
    case: str,
    verdict: FitnessVerdict,
    *,
    facts: Mapping[str, object],
    days: Mapping[str, date],
    today: date,
    elsewhere: Sequence[FitnessDecision] = (),
    **told: Unpack[Writing],
) -> list[Entry]:
    """What the physician decides, with what the rule set proposed and what that rested on.

    Args:
        facts, days: see `clinical.fitness.propose`.
        today: the day of `now` in the site's calendar.
        elsewhere: what was decided about the same worker in other cases, or on their file.

    Raises:
        Refused: no rule set is named, the parts do not fit each other, or a reason is missing, also where
            a restriction from before an exposure would be lifted after it.
        ValueError: a fact is not known or does not fit.
    """
    here = fitness_decisions(existing(store, case), told["now"])
    body = _body(verdict, facts, days, today, in_order((*here, *elsewhere)))
    return append(store, case, [(Kind.FITNESS_DECIDED, body)], **told)


def decide_fitness_of_person(
    store: People,
    person: str,
    verdict: FitnessVerdict,
    *,
    facts: Mapping[str, object],
    days: Mapping[str, date],
    today: date,
    before: Sequence[FitnessDecision] = (),
    **told: Unpack[Writing],
) -> list[Entry[PeopleKind]]:
    """As `decide_fitness`, on a person's own file: without an exposure, as for whoever is monitored.

    Args:
        before: what was decided about them so far, wherever that was.

    Raises:
        Refused, NoSuchPerson, ValueError: as `decide_fitness`, or nobody has this file.
    """
    person_of(store, person, told["now"])
    body = _body(verdict, facts, days, today, before)
    return append_to(store, person, [(PeopleKind.FITNESS_DECIDED, body)], **told)


def _body(
    verdict: FitnessVerdict,
    facts: Mapping[str, object],
    days: Mapping[str, date],
    today: date,
    before: Sequence[FitnessDecision],
) -> dict[str, Any]:
    proposal = propose(facts, days, today)
    faults = []
    if proposal.rule_set is None:
        faults.append("choose the rule set that the decision follows")
    review = verdict.review_on
    if review is not None and review <= today:
        faults.append(f"the day of review lies after {today.isoformat()}; found {review}")
    held = still_held(before, facts.get("occasion"))
    if held is not None and verdict.outcome == "fit" and not verdict.reason.strip():
        faults.append(
            f"an exposure lifts no restriction, and one is in force ({held.words.lower()}). Decide it "
            "again, or say why it is lifted"
        )
    if faults:
        raise Refused(faults)
    return {
        "outcome": verdict.outcome,
        "restriction": verdict.restriction,
        "review_on": None if review is None else review.isoformat(),
        "rule_set": proposal.rule_set,
        "protocol": {
            "id": tables().id, "edition": tables().edition, "digest": tables().digest,
        },
        "proposed": {
            "outcome": proposal.fitness.value, "restriction": proposal.restriction.value,
        },
        "rules": [r.rule for r in proposal.reasons],
        "fitness_facts": facts_to_json(proposal.facts),
        "days": {name: day.isoformat() for name, day in days.items()},
        "reason": verdict.reason,
    }  # fmt: skip
