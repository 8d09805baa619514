"""Is a person ready to start: what each disease says, in one shape, and what that makes together.

Whoever judges a disease answers with a `DiseaseState`; nothing here knows a rule of any of them.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from enum import StrEnum

from thimble.clinical.saying import calendar_day, inside


class Need(StrEnum):
    """What kind of thing is missing."""

    DOSE = "dose"
    TEST = "test"
    RECORD = "record"
    PHYSICIAN = "physician"


@dataclass(frozen=True, slots=True)
class Lack:
    """One thing that is missing.

    `what` stands by itself, without a day or a full stop: "Third dose of hepatitis B vaccine". `item` is
    what demand is counted by: of a dose the class of product, of a test its id in `people.choices.TESTS`.
    `earliest` is the first day on which it counts, `recommended` the day to plan it for; None where it
    waits for something whose day nobody can say. Neither lies before the day asked for.
    """

    need: Need
    what: str
    item: str = ""
    earliest: date | None = None
    recommended: date | None = None

    def said(self, today: date) -> str:
        """One sentence: "Third dose of hepatitis B vaccine, from Sun 14 Mar 2027."."""
        day = self.recommended
        if day is None:
            return f"{self.what}."
        return f"{self.what}, {'now' if day <= today else f'from {calendar_day(day)}'}."


@dataclass(frozen=True, slots=True)
class DiseaseState:
    """What is known of one person and one disease on a day.

    Args:
        disease: an id of `clinical.diseases.DISEASES`.
        satisfied: whether what the house asks for is met; None where something is documented that
            nobody judges yet. A None is never read as yes or as no.
        words: the state for people: "Immune", "Two of three doses count", "Nothing documented".
        lacks: what is missing, in the order in which it is done; empty where nothing is.
        ready_on: where not satisfied, the day on which it will be if everything is done on the days
            recommended and turns out well; None where no day can be said.
        soonest: the same with everything done on the earliest days.
        provided: what has to turn out well, as the rest of "if …": "the anti-HBs is 10 mIU/mL or more".
        open: why no day can be said, in a sentence. Given exactly where a day is missing.
        confirmed: whether every rule used was read in its own document.
    """

    disease: str
    satisfied: bool | None
    words: str
    lacks: tuple[Lack, ...] = ()
    ready_on: date | None = None
    soonest: date | None = None
    provided: str = ""
    open: str = ""
    confirmed: bool = True

    def __post_init__(self) -> None:
        """Refuse a state that would be shown as half an answer."""
        if self.satisfied is False and (self.ready_on is None) != bool(self.open):
            raise ValueError(f"{self.disease}: not met needs either a day or why there is none")
        if self.satisfied is not False and (self.lacks or self.ready_on or self.open):
            raise ValueError(f"{self.disease}: only what is not met lacks anything")


class Status(StrEnum):
    """Where a person stands towards the first day."""

    READY = "ready"
    TO_JUDGE = "to_judge"
    ON_COURSE = "on_course"
    LATE = "late"
    OPEN = "open"


@dataclass(frozen=True, slots=True)
class Readiness:
    """One person on one day. `ready_on` and `soonest` are days of the whole, None where one part has none.

    `provided` and `open` hold a sentence's rest or a sentence for each disease that has one.
    """

    states: tuple[DiseaseState, ...]
    status: Status
    start: date | None
    ready_on: date | None
    soonest: date | None
    provided: tuple[str, ...]
    open: tuple[str, ...]

    @property
    def lacks(self) -> tuple[Lack, ...]:
        """Everything that is missing, what is due first first; what has no day comes last."""
        # One dose may be against several diseases.
        every = dict.fromkeys(lack for state in self.states for lack in state.lacks)
        return tuple(sorted(every, key=lambda lack: lack.recommended or date.max))

    @property
    def unjudged(self) -> tuple[str, ...]:
        """Diseases of which something is documented that nobody judges yet."""
        return tuple(state.disease for state in self.states if state.satisfied is None)

    def said(self) -> str:
        """When the person is ready, in one sentence that claims nothing that nobody knows."""
        if self.status is Status.READY:
            return "Ready."
        if self.status is Status.TO_JUDGE:
            return "Nothing is missing; a clinician judges what is documented."
        if self.ready_on is None:
            return "No day can be said."
        provided = f" if {' and '.join(self.provided)}" if self.provided else ""
        return f"Ready by {calendar_day(self.ready_on)}{provided}."


def together(states: Sequence[DiseaseState], start: date | None) -> Readiness:
    """What the diseases that a house asks for make together, for somebody who starts on a day.

    Without a first day nobody is on course: they are late until ready.
    """
    lacking = [state for state in states if state.satisfied is False]
    days = [state.ready_on for state in lacking if state.ready_on is not None]
    soonest = [state.soonest or state.ready_on for state in lacking if state.ready_on is not None]
    whole = bool(lacking) and len(days) == len(lacking)
    ready_on = max(days) if whole else None
    if not lacking:
        unjudged = any(state.satisfied is None for state in states)
        status = Status.TO_JUDGE if unjudged else Status.READY
    elif ready_on is None:
        status = Status.OPEN
    else:
        status = Status.ON_COURSE if start is not None and ready_on <= start else Status.LATE
    return Readiness(
        tuple(states),
        status,
        start,
        ready_on,
        max(day for day in soonest if day is not None) if whole else None,
        tuple(dict.fromkeys(state.provided for state in lacking if state.provided)),
        tuple(dict.fromkeys(state.open for state in lacking if state.open)),
    )


def ordinal(number: int) -> str:
    """`First`, `Second` … as a sentence begins; beyond the sixth with a number."""
    names = ("First", "Second", "Third", "Fourth", "Fifth", "Sixth")
    return names[number - 1] if 1 <= number <= len(names) else f"Dose {number}:"


def nothing_documented(disease: str, name: str) -> DiseaseState:
    """The state of a disease that has no judge and no evidence: a record is asked for."""
    return DiseaseState(
        disease,
        False,
        "Nothing documented",
        (Lack(Need.RECORD, f"A record of vaccination or immunity: {inside(name)}"),),
        open=f"Nothing is documented for {inside(name)}.",
    )


def not_judged(disease: str) -> DiseaseState:
    """The state of a disease that has evidence and no judge."""
    return DiseaseState(disease, None, "Documented, not judged here")
