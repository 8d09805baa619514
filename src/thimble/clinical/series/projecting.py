"""When will somebody be protected: the steps that `clear` asks for, taken in thought, one after the other.

Each dose is given in thought on its day, and `clear` is asked again on that day; a titre is supposed to
turn out just high enough, HBsAg and total anti-HBc to be negative. What nobody can suppose ends it.
"""

from __future__ import annotations

import tomllib
from collections.abc import Iterable
from dataclasses import dataclass, replace
from datetime import date
from functools import cache
from typing import Literal

from thimble.clinical.durations import Duration, parse
from thimble.clinical.serology import Analyte, Quantity, tables

from .calendar_days import step
from .clearing import Cleared, answer
from .deciding import FACTS, VALUES
from .documented import Documented, Person, Titre, documented
from .evidence import Evidence
from .infection import MARKERS, STATES, level_of
from .schedule import FOLDER, UNKNOWN, Wait, products, schedule
from .walking import Given

Pace = Literal["recommended", "earliest"]
"""Whether each step is taken on the day recommended for it, or on the first on which it counts."""

DOSES = frozenset({"dose", "second_series", "booster", "challenge_dose"})
"""Next steps that are one dose."""

_PANEL = (Analyte.HBSAG, Analyte.ANTI_HBC_TOTAL)
_MOST_STEPS = 12


@dataclass(frozen=True, slots=True)
class Rules:
    """What `readiness.toml` says."""

    protected: frozenset[str]
    panel_supposed_after: frozenset[str]
    to_result: Wait


@dataclass(frozen=True, slots=True)
class Planned:
    """One step still to take. `step` is a value of the tables' `next_step`; `number` that of the dose in
    its series; `product` its CVX number, None where any will do; `counts_from` the first day on which it
    counts, never before the day asked for."""

    step: str
    number: int
    product: str | None
    day: date
    counts_from: date


@dataclass(frozen=True, slots=True)
class Supposed:
    """What a day rests on. `person` may be supposed to have normal immunity where nobody knows it;
    `at_least` is the titre, in mIU/mL, that has to be reached, None where none is to be taken; `panel`
    whether HBsAg and total anti-HBc have to be negative."""

    person: Person
    at_least: float | None = None
    panel: bool = False


@dataclass(frozen=True, slots=True)
class Projection:
    """What is still to be done, and when that makes somebody protected.

    Args:
        cleared: what the tables say today.
        planned: the steps in order; empty where nothing is missing or nothing can be planned.
        ready_on: the day of the last result or dose, today where nothing is missing; None where `stopped`.
        supposed: what has to turn out so.
        stopped: where no day can be said, the answer of the tables at which planning ended.
    """

    cleared: Cleared
    planned: tuple[Planned, ...]
    ready_on: date | None
    supposed: Supposed
    stopped: Cleared | None

    @property
    def satisfied(self) -> bool:
        """Whether nothing is missing today."""
        return not self.planned and self.stopped is None


@cache
def rules() -> Rules:
    """What is supposed and waited for, read once."""
    read = tomllib.loads((FOLDER / "readiness.toml").read_text(encoding="utf-8"))
    wait = read["to_result"]
    return Rules(
        frozenset(read["protected"]),
        frozenset(read["panel_supposed_after"]),
        Wait(parse(wait["after"]), wait["source"], wait["standing"]),
    )


def clear_of(cleared: Cleared, on: date) -> bool:
    """Whether somebody is protected and nothing is due by a day."""
    due = cleared.next_due
    return cleared.immunity in rules().protected and (
        cleared.next_step == "none" or (due is not None and due > on)
    )


def project(
    person: Person,
    evidence: Iterable[Evidence],
    on: date,
    protocol: str,
    turnaround: Duration,
    pace: Pace = "recommended",
    *,
    until: date | None = None,
) -> Projection:
    """What is missing on a day, and when it will be there.

    Args:
        turnaround: from the draw of blood to its result, whole days or weeks.
        until: planning ends, as where no day can be said, with the first step after this day.

    Raises:
        LookupError, ValueError: as `clear`.
    """
    # In days, so that a dose of "November" written down by the 27th stays one of the first 27 days.
    told = documented(evidence, person.birth_date.toordinal(), on.toordinal())
    first = cleared = answer(person, told, on.toordinal(), protocol)
    day = ready = on
    planned: list[Planned] = []
    supposed = Supposed(person)
    while not clear_of(cleared, day):
        if len(planned) == _MOST_STEPS:
            return Projection(first, tuple(planned), None, supposed, cleared)
        move, found, supposed = _next(supposed, told, cleared, day, protocol, pace)
        planned += [move] if move else []
        if move is None or found is None or (until is not None and move.day > until):
            return Projection(first, tuple(planned), None, supposed, cleared)
        told, day = found, move.day
        back = day.toordinal() if move.step in DOSES else step(day.toordinal(), turnaround)
        ready = max(ready, date.fromordinal(back))
        if move.step == "titre":
            # It was chosen because it leaves nothing open.
            break
        cleared = answer(supposed.person, told, day.toordinal(), protocol)
    return Projection(first, tuple(planned), ready, supposed, None)


_Taken = tuple[Planned | None, Documented | None, Supposed]
"""A step, what is documented after it and what is supposed from then on; no step where none can be
planned, nothing documented where nobody can suppose how it turns out."""


def _next(
    supposed: Supposed,
    told: Documented,
    cleared: Cleared,
    day: date,
    protocol: str,
    pace: Pace,
) -> _Taken:
    if cleared.next_step in DOSES and cleared.next_dose_earliest is not None:
        move = _dose(supposed.person, told, cleared, day, protocol, pace)
        at = move.day.toordinal()
        given = [*told.given, Given(at, at, move.product or UNKNOWN)]
        return move, replace(told, given=given), supposed
    if cleared.next_step == "titre":
        return _titre(supposed, told, cleared, day, protocol, pace)
    if cleared.next_step == "infection_tests" and cleared.next_due is not None:
        when = cleared.next_due
        move = Planned("infection_tests", 0, None, when, when)
        infection = VALUES[FACTS.index("infection")][cleared.situation[FACTS.index("infection")]]
        if infection not in rules().panel_supposed_after:
            return move, None, supposed
        at, negative = when.toordinal(), STATES.index("negative")
        panel = [(MARKERS.index(each), at, at, negative) for each in _PANEL]
        return move, replace(told, markers=[*told.markers, *panel]), replace(supposed, panel=True)
    return None, None, supposed


def _dose(
    person: Person, told: Documented, cleared: Cleared, day: date, protocol: str, pace: Pace
) -> Planned:
    counts_from = max(day, cleared.next_dose_earliest or day)
    goal = cleared.next_dose_recommended or counts_from
    when = max(counts_from, goal) if pace == "recommended" else counts_from
    number = cleared.valid_doses + 1
    if cleared.next_step == "second_series":
        number = cleared.situation[FACTS.index("doses_since_low")] + 1
    product = _product(person, told, cleared, when, protocol)
    return Planned(cleared.next_step, number, product, when, counts_from)


def _product(
    person: Person, told: Documented, cleared: Cleared, when: date, protocol: str
) -> str | None:
    """What the path goes on with: its own product, else that of the last dose if it is for that age."""
    doses = [dose for dose in told.given if dose.cvx != UNKNOWN]
    last = max(doses, key=lambda dose: dose.high).cvx if doses else None
    way = next(way for way in schedule(protocol).paths if way.id == cleared.path)
    if cleared.next_step == "dose" and not cleared.complete:
        wanted = way.targets[min(cleared.valid_doses, len(way.targets) - 1)].products
        if wanted is not None:
            return last if last in wanted else min(wanted)
    if last is None:
        return None
    product, born = products()[last], person.birth_date.toordinal()
    old = product.before_age and when.toordinal() >= step(born, product.before_age)
    young = product.min_age and when.toordinal() < step(born, product.min_age)
    return None if old or young else last


def _titre(
    supposed: Supposed,
    told: Documented,
    cleared: Cleared,
    day: date,
    protocol: str,
    pace: Pace,
) -> _Taken:
    counts_from = _counts_from(told, day, protocol)
    when = max(cleared.next_due or day, counts_from) if pace == "recommended" else counts_from
    move = Planned("titre", 0, None, when, counts_from)
    person = supposed.person
    # Some tables ask whether immunity is weak before they take any titre for an answer.
    unknown = person.immunocompromised == "unknown"
    people = (person, *((replace(person, immunocompromised="no"),) if unknown else ()))
    for who in people:
        for limit in tables().index.axes["anti_hbs_lowest"].cuts:
            level = level_of(None, Quantity(float(limit), "m[IU]/mL", "="))
            drawn = Titre(when.toordinal(), when.toordinal(), level)
            after = replace(told, titres=[*told.titres, drawn])
            if clear_of(answer(who, after, when.toordinal(), protocol), when):
                return move, after, replace(supposed, person=who, at_least=float(limit))
    return move, None, supposed


def _counts_from(told: Documented, day: date, protocol: str) -> date:
    """The first day, from `day` on, whose titre tells of the response: late enough after every dose."""
    waits = schedule(protocol).titre
    found = [day.toordinal()]
    found += [step(dose.high, waits.counts_from.after) for dose in told.given]
    found += [step(high, waits.after_immunoglobulin.after) for _, high in told.serum]
    return date.fromordinal(max(found))
