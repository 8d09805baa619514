"""The actions and the doses as a clinician reads them."""

from __future__ import annotations

from dataclasses import dataclass

from thimble.clinical.saying import minute, opening
from thimble.documents.clinician_summary.telling import Instead, Telling, rules_of
from thimble.documents.frame import unconfirmed
from thimble.documents.record import Given
from thimble.documents.words import WHOM, window_in_full
from thimble.ledger.exposed import say
from thimble.ledger.plan import Action, State

_STATES = {
    State.OPEN: "Open",
    State.DONE: "Done",
    State.LATE: "Late",
    State.NO_LONGER_NEEDED: "No longer needed",
    State.DEPARTED: "Departed from",
}


@dataclass(frozen=True, slots=True)
class Step:
    """An action as shown."""

    what: str
    amount: str
    whom: str
    state: str
    earliest: str
    target: str
    latest: str
    done: str
    given: tuple[str, ...]
    departed: Instead | None
    rules: str
    perhaps: bool
    waits_for: str
    unconfirmed: bool


@dataclass(frozen=True, slots=True)
class Dose:
    """A dose on record as shown."""

    what: str
    product: str
    amount: str
    batch: str
    when: str
    by: str


class Steps(Telling):
    """The actions, late ones and open ones first."""

    def steps(self) -> tuple[Step, ...]:
        """Every action of the plan."""
        what = {action.id: action.what for action in self.plan.actions}
        order = list(_STATES)
        order.sort(key=lambda state: (state is not State.LATE, state is not State.OPEN))
        return tuple(
            self._step(action, what)
            for action in sorted(
                self.plan.actions, key=lambda a: (order.index(a.state), not a.stands)
            )
        )

    def _step(self, action: Action, what: dict[str, str]) -> Step:
        after = what.get(action.window.waits_for, "")
        done = minute(action.done_at, self.zone) if action.done_at else ""
        if done and action.done_by_entry is not None:
            done = f"{done}, entry {action.done_by_entry}"
        departure = self.situation.departure_from(action.id)
        return Step(
            what=action.what,
            amount=action.amount,
            whom=say(WHOM.get(action.whom, action.whom), self.situation),
            state=_STATES[action.state],
            done=done,
            given=tuple(
                _dose(dose)
                for dose in self.record.doses(self.situation.as_of)
                if dose.action == action.id
            ),
            departed=self.departed(departure, opening(departure.decided)) if departure else None,
            rules=rules_of(action.because),
            perhaps=not action.stands,
            waits_for="" if action.certain else self.waits_for(action.open_facts),
            unconfirmed=unconfirmed(action.because),
            **window_in_full(action.window, self.plan.now, self.zone, after),
        )

    def given(self) -> tuple[Dose, ...]:
        """The doses on record, in the order in which they were given."""
        return tuple(
            Dose(
                self.what(dose.action),
                dose.product,
                dose.amount,
                dose.batch,
                f"{minute(dose.at, self.zone)}, entry {dose.entry}",
                self.record.writer(dose.entry),
            )
            for dose in self.record.doses(self.situation.as_of)
        )


def _dose(dose: Given) -> str:
    """A dose beside its action: "Invented vaccine, 1 mL, batch 7A"."""
    batch = f"batch {dose.batch}" if dose.batch else ""
    return ", ".join(part for part in (dose.product, dose.amount, batch) if part)
