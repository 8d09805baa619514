"""Whether the worker's own results let anybody say all clear: only what is on record, never a guess.

Nothing of the source patient is looked at: the same is said whatever the source has.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Any

from thimble.clinical.serology import Course, tables
from thimble.clinical.serology.analytes import HBV, HCV, HIV, Analyte
from thimble.clinical.serology.results import Status, label_key
from thimble.clinical.serology.values import state
from thimble.ledger.entries import Entry, Kind
from thimble.ledger.plan import Plan
from thimble.ledger.results.of_worker import WorkersResults
from thimble.ledger.situation import Situation
from thimble.ledger.standing import Standing, standing

NO_INFECTION = "not_infected"
"""The one reading that an all clear may rest on, of each of `OUTCOMES`."""

OUTCOMES = {"hiv_outcome": "HIV", "hbv_infection": "hepatitis B", "hcv_infection": "hepatitis C"}
INFECTIONS = {"HIV": HIV, "Hepatitis B": HBV, "Hepatitis C": HCV}
INFECTED = {
    "worker_hiv": ("positive",),
    "worker_hbv_infection": ("current", "resolved", "isolated_core"),
    "worker_anti_hcv": ("positive",),
}
"""What may be on record of the worker without a result, and is no "negative"."""


def without_source(course: Course) -> Course:
    """The course without what is known of the source."""
    return replace(course, source_excludes_hcv=None, source_born_on=None)


def shows_infection(analyte: Analyte) -> bool:
    """Anti-HBs shows protection; ALT, creatinine and pregnancy show no infection."""
    return analyte is not Analyte.ANTI_HBS and any(analyte in of for of in INFECTIONS.values())


def why_not_clear(plan: Plan, situation: Situation, course: Course, now: datetime) -> str:
    """Why the results allow no all clear, in one sentence for the department; "" where they do."""
    if plan.contradictions:
        return "Facts on record cannot all be so; correct them first."
    for fact, values in INFECTED.items():
        known = situation.facts.get(fact)
        if known is not None and known.value in values:
            return "An infection of the worker, or a sign of one, is on record among the answers."
    mine = WorkersResults.of(situation)
    read = mine.since(without_source(course), now)
    results = [result for drawn in mine.counting(now) for result in drawn]
    if read.held:
        return f"A result is held for a person. {read.held[0].why}"
    for result in results:
        if shows_infection(result.analyte) and state(result) != "negative":
            return f"The {result.name} ({result.place}) is not negative."
    for reading in read.readings:
        label = tables().outputs[reading.decision].label
        if not reading.final:
            return f"A reading is not final. {label}: {reading.words}."
        if reading.decision in OUTCOMES and reading.value != NO_INFECTION:
            return f"A reading shows more than an all clear can say. {label}: {reading.words}."
    return ""


@dataclass(frozen=True, slots=True)
class Awaited:
    """Blood of the worker that was drawn for an action and has no result; `numbers` as they were typed."""

    action: str
    numbers: tuple[str, ...]

    def words(self, actions: Mapping[str, str]) -> str:
        """What is awaited, so that whoever enters the result knows under which number it counts."""
        what = actions.get(self.action, self.action)
        return f"{what} ({', '.join(self.numbers)})" if self.numbers else what


def results_awaited(entries: Iterable[Entry]) -> tuple[Awaited, ...]:
    """The samples of the worker for which no result is on record, one for each action.

    A sample waits for a result that names its action or one of its numbers. One without numbers is
    answered by any result of the worker that was recorded after it was drawn. What the laboratory took
    back answers nothing.
    """
    stand = [found for found in standing(tuple(entries)).values() if found is not None]
    came = [
        found
        for found in stand
        if found.entry.kind is Kind.RESULT_RECEIVED and found.body.get("of") != "source"
    ]
    waiting: dict[str, Awaited] = {}
    for found in stand:
        if found.entry.kind is not Kind.SAMPLE_TAKEN:
            continue
        if not _stands(result.body for result in came if _answers(result, found)):
            action = found.body["action"]
            waiting[action] = Awaited(action, _typed(found.body))
    return tuple(waiting.values())


def _stands(answers: Iterable[Mapping[str, Any]]) -> bool:
    """Whether something of these results, in the order in which they came, was not taken back."""
    last: dict[str, str] = {}
    for body in answers:
        if "results" not in body:
            return True
        last |= {one["analyte"]: one["status"] for one in body["results"]}
    return any(status != Status.RETRACTED for status in last.values())


def _answers(result: Standing, sample: Standing) -> bool:
    if result.body.get("action") == sample.body["action"]:
        return True
    own = _numbers(sample.body)
    if own:
        return bool(own & _numbers(result.body))
    return result.body.get("of") == "worker" and result.happened_at >= sample.happened_at


def _numbers(body: Mapping[str, Any]) -> set[str]:
    """The specimen and request numbers of a body, as they are compared."""
    return {label_key(number) for number in _typed(body)}


def _typed(body: Mapping[str, Any]) -> tuple[str, ...]:
    numbers = (str(body.get(key) or "").strip() for key in ("specimen", "request"))
    return tuple(number for number in numbers if number)
