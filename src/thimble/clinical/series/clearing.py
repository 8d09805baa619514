"""Is one person clear: the series, the immunity, the next step, each with its reasons."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date

from . import deciding
from .calendar_days import step
from .deciding import SERIES, Decision, decide
from .documented import Documented, Person, Titre, documented
from .evidence import Evidence
from .facts import (
    best_place,
    dose_after,
    infection_places,
    latest_place,
    low_place,
    passed_over,
    second_series,
    series_place,
    since_place,
)
from .infection import (
    LEVELS,
    TEN,
)
from .judging import Judged, judge
from .schedule import Schedule, schedule
from .walking import Given, Verdict, fitted
from .wording import dose_sentences, series_sentence, titre_sentence


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
    path: str
    complete: bool

    @property
    def reason(self) -> str:
        """All reasons in one line."""
        return " | ".join(self.reasons)


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
    born, today = person.birth_date.toordinal(), as_of.toordinal()
    return answer(person, documented(evidence, born, today), today, protocol)


def answer(person: Person, told: Documented, today: int, protocol: str) -> Cleared:
    """`clear` of what is documented in days."""
    plan = schedule(protocol)
    born = person.birth_date.toordinal()
    serum, markers, refused = told.serum, told.markers, told.refused
    titres = sorted(told.titres, key=lambda t: (t.high, t.low, -t.level))
    doses = fitted(told.given, born, plan.allowance)
    judged = judge(doses, born, today, plan, dialysis=person.dialysis)
    over = [passed_over(t, judged, serum, plan) for t in titres]
    counting = [t for t, why in zip(titres, over, strict=True) if not why]
    second, low_titre = second_series(judged, counting, born, today, plan, person.dialysis)
    last = max((d.high for d in doses), default=None)
    latest = counting[-1] if counting else None

    situation = (
        series_place(judged, second),
        best_place(counting),
        latest_place(latest),
        int(latest is not None and dose_after(judged, latest.low)),
        int(any(LEVELS[t.level] in TEN and dose_after(judged, t.low) for t in counting)),
        low_place(low_titre, doses, plan),
        since_place(second, low_titre),
        deciding.IMMUNOCOMPROMISED.index(person.immunocompromised),
        *infection_places(markers, titres, doses, serum, last, plan),
        2
        if told.contraindicated
        else int(bool(refused) and (last is None or max(refused) >= last)),
        int(person.exposure_prone),
    )
    decision = decide(protocol, situation)
    day, goal = _next_dose(decision, judged, second, low_titre, latest, today, told.contraindicated)
    due = _due(decision, goal, last, serum, latest, today, plan)
    verdicts = _verdicts(judged, second)
    valid = verdicts.count(Verdict.COUNTS)
    whys = dose_sentences(judged, second, verdicts, born, plan)
    reasons = (
        series_sentence(judged.path, judged.complete, valid, plan),
        *(
            why
            for why, verdict in zip(whys, verdicts, strict=True)
            if verdict is not Verdict.COUNTS
        ),
        *(titre_sentence(t.low, t.high, why) for t, why in zip(titres, over, strict=True) if why),
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
        judged.path,
        judged.complete,
    )


def _date(day: int | None) -> date | None:
    return None if day is None else date.fromordinal(day)


def _verdicts(judged: Judged, second: Judged | None) -> tuple[Verdict, ...]:
    """Those of the first series; a dose that counts in the second counts."""
    found = list(judged.verdicts)
    if second is not None:
        for place, verdict in enumerate(second.verdicts, len(found) - len(second.doses)):
            found[place] = min(found[place], verdict)
    return tuple(found)


def _next_dose(
    decision: Decision,
    judged: Judged,
    second: Judged | None,
    low: Titre | None,
    latest: Titre | None,
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
    latest: Titre | None,
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
