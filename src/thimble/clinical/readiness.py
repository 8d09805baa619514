"""Is a person ready to start: what each disease says, in one shape, and what that makes together.

Whoever judges a disease answers with a `DiseaseState`; nothing here knows a rule of any of them.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
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
    waits for something whose day nobody can say. Neither lies before the day asked for. `since` is the day
    since which it could have been done, where somebody looked for it. `told` is what the person reads
    instead of `what`, "" for the same. `span` is when it is usually done, in words: it is said of a day up
    to `span_ends`, after which it says nothing; None where it always does.
    """

    need: Need
    what: str
    item: str = ""
    earliest: date | None = None
    recommended: date | None = None
    since: date | None = None
    told: str = ""
    span: str = ""
    span_ends: date | None = None

    def due(self, today: date) -> bool:
        """Whether its day has come."""
        return self.recommended is not None and self.recommended <= today

    def said(self, today: date) -> str:
        """One sentence: "Third dose of hepatitis B vaccine, from Sun 14 Mar 2027."."""
        return _sentence(self.what, self, today)


def _sentence(what: str, lack: Lack, today: date) -> str:
    day = lack.recommended
    if lack.span and (lack.span_ends is None or max(day or today, today) <= lack.span_ends):
        what = f"{what}, {lack.span}"
    if day is None:
        return f"{what}."
    if day > today:
        return f"{what}, from {calendar_day(day)}."
    if lack.since is None or lack.since >= today:
        return f"{what}, now."
    days = (today - lack.since).days
    return f"{what}, since {calendar_day(lack.since)}, {days} {'day' if days == 1 else 'days'}."


def said_together(lacks: Iterable[Lack], today: date) -> tuple[str, ...]:
    """Sentences for what is missing, in order; things that begin alike, up to a colon, share one.

    >>> lacks = [Lack(Need.RECORD, f"A record of immunity: {name}") for name in ("measles", "mumps")]
    >>> said_together(lacks, date(2027, 1, 1))
    ('A record of immunity: measles, mumps.',)
    """
    alike: dict[object, tuple[Lack, list[str]]] = {}
    for lack in lacks:
        head, colon, rest = lack.what.partition(": ")
        same = (lack.need, head, bool(colon), _sentence("", lack, today)) if colon else lack
        alike.setdefault(same, (lack, []))[1].append(rest)
    return tuple(
        _sentence(lack.what.partition(": ")[0] + ": " + ", ".join(rests), lack, today)
        if len(rests) > 1
        else lack.said(today)
        for lack, rests in alike.values()
    )


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
    """Where a person stands towards the first day, for the work that the person will do.

    `READY_WITHOUT` is ready for work without exposure-prone procedures, and not yet for these, or nobody
    has said whether the work holds any. `NOT_FIT` is a physician's decision, whatever is documented.
    """

    READY = "ready"
    READY_WITHOUT = "ready_without"
    TO_JUDGE = "to_judge"
    ON_COURSE = "on_course"
    LATE = "late"
    OPEN = "open"
    NOT_FIT = "not_fit"


@dataclass(frozen=True, slots=True)
class Readiness:
    """One person on one day. `ready_on` and `soonest` are days of the whole, None where one part has none.

    `provided` and `open` hold a sentence's rest or a sentence for each disease that has one. `procedures`
    is what is asked before exposure-prone procedures, over and above `states`; `without` the answer for
    work without them, where it is another one and the rule set lets such work begin. `restriction` is what
    a physician's decision in force forbids, in terms of work, "" for nothing.
    """

    states: tuple[DiseaseState, ...]
    status: Status
    start: date | None
    ready_on: date | None
    soonest: date | None
    provided: tuple[str, ...]
    open: tuple[str, ...]
    procedures: tuple[DiseaseState, ...] = ()
    without: Readiness | None = None
    restriction: str = ""

    @property
    def lacks(self) -> tuple[Lack, ...]:
        """Everything that is missing, what is due first first; what has no day comes last."""
        # One dose may be against several diseases.
        every = dict.fromkeys(
            lack for state in (*self.states, *self.procedures) for lack in state.lacks
        )
        return tuple(sorted(every, key=lambda lack: lack.recommended or date.max))

    @property
    def unjudged(self) -> tuple[str, ...]:
        """Diseases of which something is documented that nobody judges yet."""
        return tuple(state.disease for state in self.states if state.satisfied is None)

    @property
    def unsaid(self) -> tuple[str, ...]:
        """What nobody can say of exposure-prone procedures, in words."""
        return tuple(dict.fromkeys(s.words for s in self.procedures if s.satisfied is None))

    @property
    def confirmed(self) -> bool:
        """Whether every rule behind what is missing was read in its own document."""
        return all(s.confirmed for s in (*self.states, *self.procedures) if s.lacks)

    def said(self) -> str:
        """When the person is ready, in one sentence that claims nothing that nobody knows."""
        if self.status is Status.NOT_FIT:
            return "Not fit by decision."
        if self.restriction and self.status in (Status.READY, Status.READY_WITHOUT):
            return f"Ready, with a restriction: {self.restriction}."
        if self.status is Status.READY:
            return "Ready."
        if self.status is Status.TO_JUDGE:
            # What stays open is a decision and no document.
            rest = "." if self.open else "; a clinician judges what is documented."
            return f"Nothing is missing{rest}"
        without = "for work without exposure-prone procedures"
        if self.status is Status.READY_WITHOUT:
            rest = f"; for these {self.by() or 'no day can be said'}" if self._lacking else ""
            return f"Ready {without}{rest}."
        if self.unsaid and self.without is not None and self.without.by():
            return f"Ready {without} {self.without.by()}."
        said = f"Ready {by}" if (by := self.by()) else "No day can be said"
        if self.without is not None and self.without.ready_on not in (None, self.ready_on):
            said += f"; {without} {self.without.by()}"
        return f"{said}."

    @property
    def _lacking(self) -> bool:
        return self.ready_on is not None or bool(self.open)

    def by(self) -> str:
        """`by Fri 4 Dec 2026 if …`; "" where no day can be said."""
        if self.ready_on is None:
            return ""
        provided = f" if {' and '.join(self.provided)}" if self.provided else ""
        return f"by {calendar_day(self.ready_on)}{provided}"


def together(
    states: Sequence[DiseaseState],
    start: date | None,
    procedures: Sequence[DiseaseState] = (),
    without: Readiness | None = None,
) -> Readiness:
    """What the diseases that a house asks for make together, for somebody who starts on a day.

    Without a first day nobody is on course: they are late until ready.

    Args:
        procedures: what is asked besides before exposure-prone procedures.
        without: the answer for work without them, if such work may begin.
    """
    every = (*states, *procedures)
    lacking = [state for state in every if state.satisfied is False]
    days = [state.ready_on for state in lacking if state.ready_on is not None]
    soonest = [state.soonest or state.ready_on for state in lacking if state.ready_on is not None]
    whole = bool(lacking) and len(days) == len(lacking)
    ready_on = max(days) if whole else None
    if not lacking:
        unjudged = any(state.satisfied is None for state in every)
        status = Status.TO_JUDGE if unjudged else Status.READY
    elif ready_on is None:
        status = Status.OPEN
    else:
        status = Status.ON_COURSE if start is not None and ready_on <= start else Status.LATE
    if status is Status.READY:
        without = None
    elif without is not None and without.status is Status.READY:
        status = Status.READY_WITHOUT
    return Readiness(
        tuple(states),
        status,
        start,
        ready_on,
        max(day for day in soonest if day is not None) if whole else None,
        tuple(dict.fromkeys(state.provided for state in lacking if state.provided)),
        tuple(dict.fromkeys(state.open for state in lacking if state.open)),
        tuple(procedures),
        without,
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
