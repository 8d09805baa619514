"""What the rule sets say of one worker's fitness: facts in, a proposal out. Knows no ledger.

The question is put in two steps. Each infection, the duty after an exposure, and the evidence are
decided by tables of their own; one more table takes the strictest. Where facts are missing, each first
step may come out several ways, and the second step is asked for every combination of them. That can
list an outcome too many (the steps may share a missing fact), never one too few.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from itertools import product

from thimble.protocol import Evaluation, Finding, Item, Reason, Value

from .monitoring import Schedule, schedule
from .tables import checked, tables
from .vocabulary import vocabulary

FITNESS, RESTRICTION = "fitness", "restriction"
SAYS = {
    "duty_says": "duty",
    "evidence_says": "evidence",
    "hbv_says": "hbv_clearance",
    "hcv_says": "hcv_clearance",
    "hiv_says": "hiv_clearance",
}
"""What the last table asks → the decision that answers it."""

STEPS = ("hbv_clearance", "hbv_step", "hcv_clearance", "hcv_step", "hiv_clearance", "hiv_step",
         "decided_by")  # fmt: skip
BOTH = (FITNESS, RESTRICTION)
MONITORING = "monitoring"


@dataclass(frozen=True, slots=True)
class Proposal:
    """A proposal for a physician to confirm.

    `fitness` and `restriction` have a value only where every completion of the missing facts leads to
    it. `reasons` are the rules that fired, of both steps; `steps` what is settled of each
    infection; `questions` the missing facts that may still change it.
    """

    facts: Mapping[str, Value]
    fitness: Finding
    restriction: Finding
    reasons: tuple[Reason, ...]
    steps: tuple[Finding, ...]
    questions: tuple[str, ...]
    advice: tuple[Item, ...]
    schedule: Schedule

    @property
    def rule_set(self) -> str | None:
        """The id of the rule set, or None where none was chosen."""
        chosen = self.facts.get("rule_set")
        return chosen if isinstance(chosen, str) else None


def propose(facts: Mapping[str, object], days: Mapping[str, date], today: date) -> Proposal:
    """What the rule set says as of `today`.

    Args:
        facts: of the fitness vocabulary; what is absent is not known. Whether the monitoring is in
            time is computed where the days allow it, and taken from `facts` where they do not.
        days: see `monitoring.schedule`.

    Raises:
        ValueError: a fact is not known, does not fit, or answers what the tables answer (`*_says`).
    """
    known = checked(facts)
    if given := sorted(SAYS.keys() & known.keys()):
        raise ValueError(f"{given[0]} is the tables' to answer; leave it out")
    planned = schedule(known, days)
    said = known.pop(MONITORING, None)
    timely = planned.monitoring(today, said if isinstance(said, str) else None)
    if len(timely) == 1:
        (known[MONITORING],) = timely
    first = tables().evaluate(known)
    ways = {says: first.findings[decision].possible for says, decision in SAYS.items()}
    found = {
        way: tables().evaluate({**known, **dict(zip(ways, way, strict=True))})
        for way in product(*ways.values())
    }
    matter = _matter(found, tuple(ways))
    settled = {d: _together(d, list(found.values())) for d in BOTH}
    questions = {fact for e in found.values() for d in BOTH for fact in e.findings[d].open_facts}
    for says in matter:
        questions |= set(first.findings[SAYS[says]].open_facts)
    if MONITORING in questions and (planned.missing or said is not None):
        # The days tell it once these are answered, or what was said of it stands again.
        questions |= planned.missing
        questions.discard(MONITORING)
    return Proposal(
        facts=known,
        fitness=settled[FITNESS],
        restriction=settled[RESTRICTION],
        reasons=_reasons(first, settled[FITNESS]),
        steps=tuple(f for d in STEPS if (f := first.findings[d]).value is not None),
        questions=tuple(fact for fact in vocabulary() if fact in questions - SAYS.keys()),
        advice=first.items["advice"] if known.get("occasion") == "after_exposure" else (),
        schedule=planned,
    )


def _together(decision: str, evaluations: list[Evaluation]) -> Finding:
    reached = {v for e in evaluations for v in e.findings[decision].possible}
    possible = tuple(v for v in tables().outputs[decision].values if v in reached)
    if len(possible) > 1:
        return Finding(decision, None, possible)
    because = dict.fromkeys(r for e in evaluations for r in e.findings[decision].because)
    return Finding(decision, possible[0], possible, tuple(because))


def _matter(found: Mapping[tuple[str, ...], Evaluation], names: tuple[str, ...]) -> list[str]:
    """The first steps that can change the answer by themselves."""

    def answer(evaluation: Evaluation) -> tuple[tuple[str, ...], ...]:
        return tuple(evaluation.findings[d].possible for d in BOTH)

    matter = []
    for at, name in enumerate(names):
        without: dict[tuple[str, ...], set[tuple[tuple[str, ...], ...]]] = {}
        for way, evaluation in found.items():
            without.setdefault(way[:at] + way[at + 1 :], set()).add(answer(evaluation))
        if any(len(answers) > 1 for answers in without.values()):
            matter.append(name)
    return matter


def _reasons(first: Evaluation, fitness: Finding) -> tuple[Reason, ...]:
    """Of the last table, and of each first step that is settled."""
    steps = tuple(first.findings[d] for d in SAYS.values())
    behind = (r for step in steps if step.value is not None for r in step.because)
    return tuple(dict.fromkeys((*fitness.because, *behind)))
