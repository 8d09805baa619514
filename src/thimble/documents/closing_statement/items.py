"""What became of each item of the plan, and what was decided instead."""

from __future__ import annotations

from dataclasses import dataclass

from thimble.clinical.saying import minute, opening
from thimble.documents.closing_statement.telling import Telling
from thimble.documents.frame import unconfirmed
from thimble.documents.record import in_entry
from thimble.ledger.plan import Action, State
from thimble.ledger.situation import Departure
from thimble.ledger.telling import INSTEAD_OF_AN_ACTION


@dataclass(frozen=True, slots=True)
class Became:
    """An item of the plan and what became of it. `state` is words; `details` one line each."""

    what: str
    state: str
    details: tuple[str, ...]
    unconfirmed: bool


class Items(Telling):
    """What became of each item of the plan."""

    def became(self, action: Action) -> Became:
        """One item: its state, when and by whom, what was decided about it."""
        details: list[str] = []
        departure = self.situation.departure_from(action.id)
        if action.done_at is not None:
            details.append(f"{minute(action.done_at, self.zone)}{self._by(action.done_by_entry)}")
        details += [
            ", ".join(part for part in (dose.product, dose.amount, _batch(dose.batch)) if part)
            for dose in self.record.doses(self.situation.as_of)
            if dose.action == action.id
        ]
        if departure is not None:
            details += self._decided(departure)
        return Became(action.what, self._state(action), tuple(details), unconfirmed(action.because))

    def _state(self, action: Action) -> str:
        if action.state is State.DONE:
            return "Done"
        if action.state is State.NO_LONGER_NEEDED:
            return "No longer needed"
        if action.state is State.DEPARTED:
            return "Decided otherwise"
        if self.situation.closed_at is not None:
            return "Not done"
        return "Not done, and late" if action.state is State.LATE else "Not done yet"

    def otherwise(self) -> tuple[Became, ...]:
        """What was decided in place of the plan and stands beside none of its items."""
        items = {action.id for action in self.plan.actions}
        return tuple(
            Became(
                self._subject(departure.subject),
                "Decided otherwise",
                self._decided(departure),
                False,
            )
            for departure in self.situation.departures
            if departure.subject not in items and not self._of_source(departure.subject)
        )

    def _of_source(self, subject: str) -> bool:
        """Whether it was about the source patient: then nothing of it stands here."""
        whom = {rule.outputs["for"] for rule in self.protocol.giving(subject)}
        return subject.startswith("source_") or "source" in whom

    def _subject(self, id_: str) -> str:
        output = self.protocol.outputs.get(id_)
        if output is not None and output.label:
            return output.label
        return self.protocol.action_words(id_)

    def _value(self, departure: Departure) -> str:
        """What was decided, where it is one of the words that the case page offers."""
        output = self.protocol.outputs.get(departure.subject)
        if output is not None and departure.decided in output.values:
            return output.words(departure.decided)
        known = departure.decided.strip().rstrip(".")
        return known if known in INSTEAD_OF_AN_ACTION else in_entry(departure.entry)

    def _decided(self, departure: Departure) -> tuple[str, ...]:
        return (
            f"Decided: {opening(self._value(departure))}.",
            f"{opening(self.record.who(departure.by, departure.entry))}, "
            f"{minute(departure.at, self.zone)}; why stands in entry {departure.entry}",
        )

    def _by(self, position: int | None) -> str:
        if position is None:
            return ""
        writer = self.record.writer(position)
        who = f", by {writer}" if writer else ""
        return f"{who}, entry {position}"


def _batch(batch: str) -> str:
    return f"batch {batch}" if batch else ""
