"""What a result of the worker asks for: an infection that was found, or may be, is an action of the plan.

It stands in the plan's one order until somebody records that it was acted on; a later result that is
not negative opens it again.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from datetime import tzinfo
from functools import lru_cache

from thimble.clinical.serology import Against, Analyte, Course, Result
from thimble.clinical.serology.tables import Reading
from thimble.clinical.serology.values import state
from thimble.ledger.plan import Action, State, Window
from thimble.ledger.results.clearance import OUTCOMES, shows_infection
from thimble.ledger.results.of_worker import WorkersResults
from thimble.ledger.results.recorded import course_around
from thimble.ledger.situation import Situation
from thimble.protocol.protocol import Protocol

FOUND = "found_"
"""Before the decision whose reading asks for the action."""

AT_THE_EXPOSURE: Mapping[str, str] = {
    "hiv_reading": "HIV", "hbv_pattern": "hepatitis B", "hcv_baseline": "hepatitis C",
}  # fmt: skip
LIVER: Mapping[str, str] = {"alt_reading": "ALT"}
NOTHING = ("", "none")


def _act_on(infection: str) -> str:
    return f"Act on the {infection} result of the worker"


FOUND_WORDS: Mapping[str, str] = {
    f"{FOUND}{decision}": _act_on(infection)
    for decision, infection in (*OUTCOMES.items(), *AT_THE_EXPOSURE.items())
}
"""What each of these actions is, whatever the result says by now: a correction may have changed that."""


def actions_found(
    situation: Situation, actions: Iterable[Action], protocol: Protocol, zone: tzinfo
) -> tuple[Action, ...]:
    """One action for each reading that rests on a result of the worker that is not negative."""
    mine = WorkersResults.of(situation)
    if all(_harmless(result) for result in mine.results):
        return ()
    course = course_around(situation, actions, protocol, zone)
    return tuple(_action(reading, what, situation) for reading, what in _readings(mine, course))


def _harmless(result: Result) -> bool:
    if result.analyte is Analyte.ALT:
        return result.against_range is Against.NOT_ABOVE
    return not shows_infection(result.analyte) or state(result) == "negative"


@lru_cache(maxsize=4096)
def _readings(mine: WorkersResults, course: Course) -> tuple[tuple[Reading, str], ...]:
    """The readings to act on, each with the infection that it is about; as of the last report."""
    at = max(result.reported_at for result in mine.results)
    since, baseline = mine.since(course, at), mine.at_exposure(course, at)
    found: dict[str, tuple[Reading, str]] = {}
    for readings, names in (
        (since.readings, {**OUTCOMES, **LIVER}),
        (baseline.readings, {**AT_THE_EXPOSURE, **LIVER}),
    ):
        for reading in readings:
            name = names.get(reading.decision)
            suspect = not all(_harmless(result) for result in reading.of)
            if name is not None and suspect and reading.next_step not in NOTHING:
                found.setdefault(name, (reading, name))
    return tuple(found.values())


def _action(reading: Reading, infection: str, situation: Situation) -> Action:
    came = max(result.reported_at for result in reading.of)
    id_ = f"{FOUND}{reading.decision}"
    done = situation.done.get(id_)
    last = situation.last_done.get(id_)
    acted = done is not None and last is not None and last >= came
    return Action(
        id=id_,
        what=(
            f"{_act_on(infection)}: {reading.words}. {reading.next_words}. Tell the worker in person"
        ),
        kind="review",
        whom="department",
        window=Window(came, came, None),
        state=State.DONE if acted else State.OPEN,
        certain=True,
        because=reading.because,
        done_at=last if acted else None,
        done_by_entry=done.entry if acted and done is not None else None,
    )
