"""What the clearance tables say of a person and hepatitis B, in words."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from thimble.clinical.saying import calendar_day
from thimble.clinical.series.counselling import counselling
from thimble.clinical.series.deciding import rules
from thimble.clinical.series.vocabulary import vocabulary
from thimble.people.counselled import told_already
from thimble.people.fold import Person
from thimble.people.hepatitis_b import HepatitisB, before_birth, evidence_of, hepatitis_b
from thimble.protocol import STANDINGS

PAST = (
    "A past hepatitis B is on file, which no table judges: HBsAg and total anti-HBc tell what is left "
    "of it."
)
"""Beside the answer of the tables."""


@dataclass(frozen=True, slots=True)
class State:
    """The state in words, the next step with its day, and why. `to_tell` are the points of a talk that is
    asked for: words, source, standing."""

    immunity: str
    series: str
    step: str
    why: tuple[str, ...]
    doses: tuple[str, ...]
    note: str
    confirmed: bool
    to_tell: tuple[tuple[str, str, str], ...] = ()


def state_of(person: Person, born: date | None, on: date, protocol: str) -> State | None:
    """The state; None where nothing about hepatitis B is documented, or no answer can be given."""
    found = hepatitis_b(person, born, on, protocol)
    return None if found is None else _in_words(person, found, protocol, on)


def unsaid(person: Person, born: date | None, on: date) -> str:
    """Why `state_of` gives no answer, in a sentence; "" where nothing is documented that could need one."""
    told, undated = evidence_of(person, on)
    if not told and not undated:
        return ""
    if born is None:
        return (
            "Enter the birth date: without it nothing can be said about which doses of hepatitis B "
            "vaccine count."
        )
    if before_birth(told, born):
        return (
            "Nothing can be said of hepatitis B: something documented of it lies before the birth date. "
            "Look at both."
        )
    return "Nothing can be said of hepatitis B: the protocol of this site has no clearance tables."


def _in_words(person: Person, found: HepatitisB, protocol: str, on: date) -> State:
    cleared = found.cleared
    asks = counselling(protocol)
    to_tell = asks.points if asks is not None and cleared.next_step == asks.settles else ()
    talk = told_already(person, on, protocol, cleared.next_step)
    outputs = rules(protocol).outputs
    standings = {cited.standing for cited in cleared.decision.because}
    return State(
        immunity="Immunity not known"
        if cleared.immunity == "not_known"
        else _label(outputs["immunity"].labels, cleared.immunity),
        series=f"{vocabulary()['series'].label(cleared.series)}; "
        f"{cleared.valid_doses} {'dose counts' if cleared.valid_doses == 1 else 'doses count'}",
        step=_step(_label(outputs["next_step"].labels, cleared.next_step), found, on)
        if talk is None
        else f"nothing more; counselled {calendar_day(date.fromisoformat(talk.body['on']))}",
        to_tell=()
        if talk is not None
        else tuple((p.words, p.source, STANDINGS[p.standing]) for p in to_tell),
        why=cleared.reasons,
        doses=tuple(dose.why for dose in cleared.doses),
        note=" ".join(filter(None, (_undated(found.undated), PAST if found.past else ""))),
        confirmed=standings <= {"read"},
    )


def _label(labels: object, value: str) -> str:
    return str(labels.get(value, value)) if isinstance(labels, dict) else value


def _step(label: str, found: HepatitisB, on: date) -> str:
    due, first = found.cleared.next_due, found.cleared.next_dose_earliest
    if due is None:
        return label
    told = f"{label}, now" if due <= on else f"{label}, from {calendar_day(due)}"
    if first is not None and first > on:
        told += f"; it counts from {calendar_day(first)} on"
    return told


def _undated(count: int) -> str:
    if not count:
        return ""
    what = "1 piece of evidence has" if count == 1 else f"{count} pieces of evidence have"
    return f"{what} no date and could not be judged."
