"""A step with the source patient: what it asks, and what of it may be taken back."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from thimble.ledger.entries import Entry, Kind
from thimble.ledger.fold import SOURCE_STEPS
from thimble.ledger.standing import standing
from thimble.web.source.chase import (
    ASKED_OF,
    CHOICES,
    QUESTIONS,
)

STEPS: Mapping[str, tuple[str, str]] = {
    "asked": ("Asked for consent", "Asked now"),
    "consented": ("Consented", "Consented now"),
    "refused": ("Refused", "Refused now"),
    "lacks_capacity": ("Cannot decide now", "Cannot decide now"),
    "sampled": ("Blood taken", "Blood taken now"),
    "died": ("Died", "Died"),
    "discharged": ("Went home", "Went home"),
    "not_identified": ("Nobody knows who the source is", "Nobody knows who it is"),
    "authorised": ("A decision to test is on record", "Record a decision"),
}
"""Each step: its name, and the button that records it."""


@dataclass(frozen=True, slots=True)
class Choice:
    """One result of a test."""

    value: str
    label: str
    chosen: bool


@dataclass(frozen=True, slots=True)
class StepView:
    """One step with the source patient. `at` is "" while it has not been recorded; `again` is what was
    typed in its form, where that came back."""

    id: str
    label: str
    button: str
    at: str
    again: Mapping[str, str] = field(default_factory=dict)

    @property
    def asks(self) -> tuple[tuple[str, str, tuple[Choice, ...]], ...]:
        """What may be said of it: key, question, choices; chosen is what a form that came back had."""
        return tuple(
            (
                key,
                QUESTIONS[key],
                tuple(
                    Choice(value, label, self.again.get(key) == value)
                    for value, label in CHOICES[key].items()
                ),
            )
            for key in ASKED_OF[self.id]
        )

    @property
    def at_once(self) -> bool:
        """Whether one tap records it: what asks for nothing that must be said."""
        return self.id not in ("sampled", "authorised", "not_identified", "died", "discharged")


@dataclass(frozen=True, slots=True)
class TakeBack:
    """A step that may be taken back at once: the entry that recorded it."""

    entry: int
    label: str


def entries_of_step(entries: Sequence[Entry], position: int) -> tuple[int, ...]:
    """The entries that one step wrote, from the one at `position` on: the step itself, and what it
    says of whether the source patient can be tested. Empty where no step stands there."""
    stand = standing(entries)
    first = next((entry for entry in entries if entry.position == position), None)
    if first is None or first.kind not in SOURCE_STEPS or stand[position] is None:
        return ()
    found = []
    for entry in sorted(entries, key=lambda entry: entry.position):
        if entry.position < position:
            continue
        says_access = entry.kind is Kind.FACT_LEARNED and set(entry.body["facts"]) == {
            "source_access"
        }
        together = (entry.recorded_at, entry.by) == (first.recorded_at, first.by)
        if not together or not (entry.kind is first.kind or says_access):
            break
        if stand[entry.position] is not None:
            found.append(entry.position)
    return tuple(found)


def taken_back_at_once(
    entries: Sequence[Entry], since: int | None, refused: bool, by: str
) -> TakeBack | None:
    """The step recorded just now; later on, a refusal while it stands: it is one tap, and changes
    what can be done for the worker."""
    stand = standing(entries)
    steps = [e for e in entries if e.kind in SOURCE_STEPS and stand[e.position] is not None]
    just_now = [e for e in steps if since is not None and e.position > since and e.by == by]
    refusals = [e for e in steps if refused and e.kind is Kind.SOURCE_REFUSED]
    entry = just_now[0] if just_now else refusals[-1] if refusals else None
    return None if entry is None else TakeBack(entry.position, STEPS[SOURCE_STEPS[entry.kind]][0])
