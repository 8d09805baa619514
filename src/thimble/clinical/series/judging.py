"""The series of one person as a whole: what counts, how far it is, and the next dose."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from .schedule import Schedule
from .walking import Given, Verdict, Walk, best, earliest, recommended, same_day


@dataclass(frozen=True, slots=True)
class Judged:
    """`verdicts` follow `doses`. `first` is the place of the dose that completed the first series.

    `path` is the path that the doses were judged by; `next_earliest` and `next_recommended` are
    ordinals of the next dose of an unfinished series, None where it is complete.
    """

    doses: tuple[Given, ...]
    verdicts: tuple[Verdict, ...]
    path: str
    complete: bool
    first: int | None
    counted: int
    next_number: int
    next_earliest: int | None
    next_recommended: int | None


def judge(
    doses: Sequence[Given], born: int, as_of: int, plan: Schedule, *, dialysis: bool = False
) -> Judged:
    """Judge doses that are in order of time and fitted."""
    chosen, walks = best(doses, born, plan, dialysis)
    finished = [w.completed for w in walks if w.completed is not None]
    verdicts = _verdicts(chosen, walks, doses)
    counted = sum(v is Verdict.COUNTS for v in verdicts)
    day = goal = None
    if chosen.completed is None:
        start = earliest(chosen, doses, born)
        assert start is not None  # noqa: S101 - `best` leaves out what cannot be continued
        day, goal = recommended(chosen, doses, born, as_of, start)
    return Judged(
        tuple(doses),
        verdicts,
        chosen.way.id,
        chosen.completed is not None,
        min(finished, default=None),
        counted,
        len(chosen.counted) + 1,
        day,
        goal,
    )


def _verdicts(chosen: Walk, walks: Sequence[Walk], doses: Sequence[Given]) -> tuple[Verdict, ...]:
    """Those of the path that stands; up to its end a dose counts too where a mixed path counts it."""
    found = list(chosen.verdicts)
    if chosen.completed is not None:
        for other in walks:
            if not other.way.own:
                for place in other.counted:
                    again = any(same_day(doses[place], doses[n]) for n in chosen.counted)
                    if place <= chosen.completed and not again:
                        found[place] = Verdict.COUNTS
    return tuple(found)
