"""Is one person clear: the series, the immunity, the next step, each with its reasons."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Literal

from thimble.clinical.serology import Analyte

from . import deciding
from .calendar_days import step
from .deciding import BEST, LATEST, LOW, SERIES, Decision, decide
from .evidence import Declined, DoseGiven, Evidence, MarkerResult
from .infection import (
    LEVELS,
    MARKERS,
    OPEN,
    PASSIVE,
    STATES,
    TEN,
    days_of_antigen,
    days_together,
    infection,
    level_of,
    marker_state,
)
from .judging import Judged, judge
from .schedule import Schedule, products, schedule
from .walking import Given, Verdict, fitted
from .wording import dose_sentences, series_sentence


@dataclass(frozen=True, slots=True)
class Person:
    """Whom the evidence is of. `dialysis` asks for the schedules of people on dialysis."""

    birth_date: date
    exposure_prone: bool = False
    immunocompromised: Literal["yes", "no", "unknown"] = "unknown"
    dialysis: bool = False


@dataclass(frozen=True, slots=True)
class DoseSaid:
    """One dose of vaccine as it was judged, in order of time."""

    given: Given
    verdict: Verdict
    why: str


@dataclass(frozen=True, slots=True)
class Cleared:
    """The answer. Dates are None where there is none; `reasons` are sentences.

    `next_dose_earliest` is the first day on which the next dose counts, without any allowance, and may
    lie in the past; `next_due` never lies before the day asked for.
    """

    series: str
    valid_doses: int
    next_dose_earliest: date | None
    next_dose_recommended: date | None
    immunity: str
    next_step: str
    next_due: date | None
    reasons: tuple[str, ...]
    doses: tuple[DoseSaid, ...]
    decision: Decision
    situation: deciding.Situation

    @property
    def reason(self) -> str:
        """All reasons in one line."""
        return " | ".join(self.reasons)


@dataclass(frozen=True, slots=True)
class _Titre:
    low: int
    high: int
    level: int


def clear(
    person: Person, evidence: Iterable[Evidence], as_of: date, protocol: str = "us"
) -> Cleared:
    """What the evidence says of the person on a day.

    Args:
        evidence: everything documented up to `as_of`, in any order.
        protocol: a protocol's id for which there are a schedule and clearance tables.

    Raises:
        LookupError: there is no such protocol.
        ValueError: evidence lies wholly before the birth or after `as_of`.
    """
    plan = schedule(protocol)
    born, today = person.birth_date.toordinal(), as_of.toordinal()
    given: list[Given] = []
    serum: list[tuple[int, int]] = []
    titres: list[_Titre] = []
    markers: list[tuple[int, int, int, int]] = []
    refused: list[int] = []
    contraindicated = False
    for item in evidence:
        low, high = _days(item, born, today)
        if isinstance(item, DoseGiven):
            cvx = item.cvx or "unknown"
            if products()[cvx].vaccine:
                given.append(Given(low, high, cvx))
            else:
                serum.append((low, high))
        elif isinstance(item, MarkerResult):
            if item.analyte is Analyte.ANTI_HBS:
                titres.append(_Titre(low, high, level_of(item.word, item.quantity)))
            elif item.analyte in MARKERS:
                place = marker_state(item.analyte, item.word, item.quantity)
                markers.append((MARKERS.index(item.analyte), low, high, place))
        elif isinstance(item, Declined):
            refused.append(low)
        else:
            contraindicated = True
    doses = fitted(given, born, plan.allowance)
    judged = judge(doses, born, today, plan, dialysis=person.dialysis)
    titres.sort(key=lambda t: (t.high, t.low, -t.level))
    counting = [t for t in titres if _counts(t, judged, serum, plan)]
    second, low_titre = _second(judged, counting, born, today, plan, person.dialysis)
    last = max((d.high for d in doses), default=None)
    latest = counting[-1] if counting else None

    situation = (
        _series(judged, second),
        _best(counting),
        _latest(latest),
        int(latest is not None and _dose_after(judged, latest.low)),
        int(any(LEVELS[t.level] in TEN and _dose_after(judged, t.low) for t in counting)),
        _low(low_titre, doses, plan),
        min(second.counted, 2) if second and low_titre else 0,
        deciding.IMMUNOCOMPROMISED.index(person.immunocompromised),
        *_infection(markers, titres, doses, serum, last, plan),
        2 if contraindicated else int(bool(refused) and (last is None or max(refused) >= last)),
        int(person.exposure_prone),
    )
    decision = decide(protocol, situation)
    day, goal = _next_dose(decision, judged, second, low_titre, latest, today, contraindicated)
    due = _due(decision, goal, last, serum, latest, today, plan)
    verdicts = _verdicts(judged, second)
    valid = verdicts.count(Verdict.COUNTS)
    whys = dose_sentences(judged, verdicts, born, plan)
    reasons = (
        series_sentence(judged.path, judged.complete, valid, plan),
        *(
            why
            for why, verdict in zip(whys, verdicts, strict=True)
            if verdict is not Verdict.COUNTS
        ),
        decision.text,
    )
    return Cleared(
        SERIES[situation[0]],
        valid,
        _date(day),
        _date(goal),
        decision.immunity,
        decision.next_step,
        _date(due),
        reasons,
        tuple(DoseSaid(d, v, why) for d, v, why in zip(judged.doses, verdicts, whys, strict=True)),
        decision,
        situation,
    )


def _date(day: int | None) -> date | None:
    return None if day is None else date.fromordinal(day)


def _days(item: Evidence, born: int, today: int) -> tuple[int, int]:
    """The first and last day that it can have been, between birth and today."""
    low, high = item.when.first.toordinal(), item.when.last.toordinal()
    if high < born or low > today:
        what = "before the birth" if high < born else "after the day asked for"
        raise ValueError(f"Evidence of {item.when} lies {what}; correct the date.")
    return max(low, born), min(high, today)


def _counts(
    titre: _Titre, judged: Judged, serum: Sequence[tuple[int, int]], plan: Schedule
) -> bool:
    """Whether a titre tells of the response: after a complete series, late enough, not passive."""
    if judged.first is None or LEVELS[titre.level] == "not_known":
        return False
    if judged.doses[judged.first].low >= titre.high:
        return False
    before = max(d.high for d in judged.doses if d.low < titre.high)
    if step(before, plan.titre.counts_from.after) > titre.low:
        return False
    return LEVELS[titre.level] not in TEN or not any(
        low <= titre.high and step(high, plan.titre.after_immunoglobulin.after) > titre.low
        for low, high in serum
    )


def _second(
    judged: Judged,
    counting: Sequence[_Titre],
    born: int,
    today: int,
    plan: Schedule,
    dialysis: bool,
) -> tuple[Judged | None, _Titre | None]:
    """The doses after the first series judged as a second one, and the titre that asked for it."""
    if judged.first is None:
        return None, None
    low = min(
        (t for t in counting if LEVELS[t.level] == "below_10"),
        key=lambda t: (t.low, t.high),
        default=None,
    )
    # What may be another record of the completing dose begins nothing.
    end = judged.doses[judged.first].high
    rest = [d for d in judged.doses[judged.first + 1 :] if d.low > end]
    second = judge(rest, born, today, plan, dialysis=dialysis)
    # Without a titre that asked for them, doses are a second series only once they make a whole one.
    if second.complete or low is None:
        return (second if second.complete else None), low
    asked = [d for d in rest if d.low >= low.low]
    return judge(asked, born, today, plan, dialysis=dialysis), low


def _series(judged: Judged, second: Judged | None) -> int:
    if not judged.doses:
        return SERIES.index("none")
    if not judged.complete:
        return SERIES.index("incomplete")
    return SERIES.index("two_complete" if second and second.complete else "complete")


def _verdicts(judged: Judged, second: Judged | None) -> tuple[Verdict, ...]:
    """Those of the first series; a dose that counts in the second counts."""
    found = list(judged.verdicts)
    if second is not None:
        for place, verdict in enumerate(second.verdicts, len(found) - len(second.doses)):
            found[place] = min(found[place], verdict)
    return tuple(found)


def _best(counting: Sequence[_Titre]) -> int:
    if not counting:
        return BEST.index("none")
    level = LEVELS[max(t.level for t in counting)]
    return BEST.index("open" if level in OPEN else level)


def _latest(latest: _Titre | None) -> int:
    if latest is None:
        return LATEST.index("none")
    level = LEVELS[latest.level]
    if level in OPEN:
        return LATEST.index("open")
    return LATEST.index("ten_or_more" if level in TEN else level)


def _dose_after(judged: Judged, day: int) -> bool:
    """Whether a dose follows the first series on or after a day; blood is drawn before a dose."""
    start = 0 if judged.first is None else judged.first + 1
    return any(d.low >= day for d in judged.doses[start:])


def _low(titre: _Titre | None, doses: Sequence[Given], plan: Schedule) -> int:
    if titre is None:
        return LOW.index("none")
    before = max(d.low for d in doses if d.low < titre.high)
    in_window = titre.high <= step(before, plan.titre.window_ends.after)
    return LOW.index("in_window" if in_window else "late")


def _infection(
    markers: Sequence[tuple[int, int, int, int]],
    titres: Sequence[_Titre],
    doses: Sequence[Given],
    serum: Sequence[tuple[int, int]],
    last: int | None,
    plan: Schedule,
) -> tuple[int, int]:
    """The places of `infection` and `tested_since`."""
    positive, negative = STATES.index("positive"), STATES.index("negative")
    indeterminate = STATES.index("indeterminate")
    visit = max((high for _, _, high, _ in markers), default=0)
    kept: list[tuple[int, int, int]] = []
    for which in range(len(MARKERS)):
        own = [(high, low, place) for n, low, high, place in markers if n == which]
        if not own:
            kept.append((0, 0, 0))
            continue
        high, low, _ = max(own)
        said = {place for last, first, place in own if (last, first) == (high, low)}
        place = said.pop() if len(said) == 1 else indeterminate
        # What is negative speaks of its own visit only; IgM fades, so that a positive one does too.
        lasting = place == positive and MARKERS[which] is not Analyte.ANTI_HBC_IGM
        together = visit - low <= days_together()
        kept.append((low, high, place) if lasting or together else (0, 0, 0))
    (antigen_low, antigen_high, antigen), (core_low, core_high, core) = kept[0], kept[1]

    def vaccine(low: int, high: int) -> bool:
        return any(d.low <= high and low - d.high <= days_of_antigen() for d in doses)

    found_before = antigen != positive and any(
        n == 0 and place == positive and not vaccine(low, high) for n, low, high, place in markers
    )
    samples = [(core_low, core_high)] if core else []
    samples += [(titres[-1].low, titres[-1].high)] if titres else []
    passive = PASSIVE.index("none")
    if serum:
        wait = plan.titre.after_immunoglobulin.after
        passive = PASSIVE.index("past")
        if not samples or any(
            low <= end and step(high, wait) > start for low, high in serum for start, end in samples
        ):
            passive = PASSIVE.index("possible")
    said_infection = infection(
        antigen,
        core,
        kept[2][2],
        kept[3][2],
        titres[-1].level if titres else 0,
        passive,
        vaccine=antigen == positive and vaccine(antigen_low, antigen_high),
        once=found_before,
    )
    since = (
        antigen >= negative
        and core >= negative
        and (last is None or min(antigen_low, core_low) >= last)
    )
    return said_infection, int(since)


def _next_dose(
    decision: Decision,
    judged: Judged,
    second: Judged | None,
    low: _Titre | None,
    latest: _Titre | None,
    today: int,
    contraindicated: bool,
) -> tuple[int | None, int | None]:
    if decision.next_dose == "none" or contraindicated:
        return None, None
    if decision.next_dose in ("series", "by_response"):
        return judged.next_earliest, judged.next_recommended
    if decision.next_dose == "now":
        day = latest.high if latest else today
        return day, day
    if second is None or low is None or second.next_earliest is None:
        return None, None
    goal = second.next_recommended or second.next_earliest
    return max(second.next_earliest, low.high), max(goal, low.high)


def _due(
    decision: Decision,
    goal: int | None,
    last: int | None,
    serum: Sequence[tuple[int, int]],
    latest: _Titre | None,
    today: int,
    plan: Schedule,
) -> int | None:
    if decision.due == "none":
        return None
    day = today
    if decision.due == "series" and goal is not None:
        day = goal
    elif decision.due == "titre":
        if last is not None:
            day = step(last, plan.titre.due_from.after)
        if serum:
            passive_until = step(max(h for _, h in serum), plan.titre.after_immunoglobulin.after)
            day = max(day, passive_until)
    elif decision.due == "tests" and last is not None:
        day = step(last, plan.tests_after_dose.after)
    elif decision.due == "watched" and latest is not None:
        day = step(latest.high, plan.titre.watched.after)
    return max(today, day)
