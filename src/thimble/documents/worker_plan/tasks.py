"""What the worker has to do, and where it stands."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace

from thimble.clinical.saying import minute
from thimble.documents.frame import unconfirmed
from thimble.documents.otherwise import asked_for_by
from thimble.documents.words import window_for_a_person
from thimble.documents.worker_plan.telling import Telling
from thimble.ledger.clocks import moment_of
from thimble.ledger.plan import TO_DO, Action, State
from thimble.ledger.pressing import OVERDUE
from thimble.protocol.model import PER_KILOGRAM

_SETTLED = {
    State.NO_LONGER_NEEDED: "No longer needed",
    State.DEPARTED: "Decided otherwise with you; ask your clinician",
}
_BY_WEIGHT = "the amount depends on your weight"


@dataclass(frozen=True, slots=True)
class Task:
    """One thing for the worker: what, how much, when, where it stands, and what was decided about it."""

    what: str
    amount: str
    when: str
    done: str
    decided: str
    unconfirmed: bool


class Tasks(Telling):
    """What the worker has to do: to take, to have tested, to come for."""

    def too_late_for_first_aid(self, action: Action) -> bool:
        """Whether it is first aid that was never recorded, after an exposure of more than a day ago.

        An exposure known roughly counts from the last moment that it may have been.
        """
        if action.kind != "first_aid" or action.state not in TO_DO:
            return False
        last = moment_of(self.situation, self.zone, self.plan.now).last
        return last is not None and self.plan.now - last > OVERDUE

    def tasks(self, actions: Iterable[Action]) -> tuple[Task, ...]:
        """Actions as tasks; those that read the same are one."""
        # Variants that only differ in what the laboratory runs read the same to the worker.
        merged: dict[tuple[str, ...], Task] = {}
        for task in map(self._task, actions):
            same = (task.what, task.amount, task.when, task.done, task.decided)
            doubtful = task.unconfirmed or (same in merged and merged[same].unconfirmed)
            merged[same] = replace(task, unconfirmed=doubtful)
        return tuple(merged.values())

    def _task(self, action: Action) -> Task:
        done = _SETTLED.get(action.state, "")
        if action.state is State.DONE:
            done = f"Done {minute(action.done_at, self.zone)}" if action.done_at else "Done"
        waits_for = self.what(action.window.waits_for) if action.window.waits_for else ""
        return Task(
            what=self.what(action.id),
            amount=_BY_WEIGHT if self._lacks_weight(action) else action.amount,
            when=window_for_a_person(action.window, self.plan.now, self.zone, waits_for),
            done=done,
            decided=self._decided_about(action),
            unconfirmed=unconfirmed(action.because),
        )

    def _decided_about(self, action: Action) -> str:
        """What a clinician decided about a task, or about the decision that a dose follows from.

        Only the protocol's row goes by the advice: a dose that was decided on or against still stands
        there, and the worker goes by what was decided.
        """
        departed = {departure.subject: departure for departure in self.situation.departures}
        if action.state is State.DEPARTED and action.id in departed:
            return f"Decided: {self.instead(departed[action.id])}"
        if action.kind != "dose" or action.state not in (*TO_DO, State.DEPARTED):
            return ""
        for decision in asked_for_by(action, self.plan, self.protocol):
            if decision in departed:
                return f"Decided: {self.instead(departed[decision])} Go by that."
        return ""

    def _lacks_weight(self, action: Action) -> bool:
        """Whether its amount goes by a weight that is not known: what is printed is then a request."""
        if not action.amount:
            return False
        asked = {question.fact for question in self.plan.questions}
        for amount in self.protocol.amounts:
            per = self.plan.findings.get(amount.per)
            if action.id in amount.actions and per is not None and per.value == PER_KILOGRAM:
                return amount.weight not in self.situation.facts or amount.weight in asked
        return False
