"""Which results count: those without a fault (`faults`), the latest of each analyte, and what a later
sample does not undo.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from datetime import datetime
from math import inf

from thimble.clinical.durations import aware
from thimble.clinical.saying import minute

from .analytes import Analyte
from .course import (
    Course,
    together,
    vaccine_antigen,
)
from .faults import Held, sift
from .results import Of, Result, current
from .values import state


def settled_of(
    results: Iterable[Result], course: Course, at: datetime
) -> tuple[tuple[Result, ...], tuple[Held, ...]]:
    """The worker's results that count and have no fault, and those that are held."""
    _, clean, held = sifted(results, "worker", course, at)
    return clean, held


def sifted(
    results: Iterable[Result],
    of: Of,
    course: Course,
    at: datetime,
    *,
    follow_up: bool = False,
    earlier: Sequence[Result] = (),
) -> tuple[list[Result], tuple[Result, ...], tuple[Held, ...]]:
    """Those of one person, those that count and have no fault, and what is held."""
    moment = aware(at, "The instant of reading")
    own = [r for r in results if r.of == of and r.reported_at <= moment]
    found = current(own, moment)
    clean, held = sift(found, course, moment, follow_up=follow_up, earlier=earlier)
    return own, clean, held


def latest(results: Sequence[Result]) -> tuple[dict[Analyte, Result], tuple[Held, ...]]:
    """Of each analyte the result with the latest sample.

    Results of one instant that disagree leave the analyte out and are held: nothing tells which holds.
    A result without a time may be of that instant too.
    """
    found: dict[Analyte, Result] = {}
    held: list[Held] = []
    for analyte in Analyte:
        own = [r for r in results if r.analyte is analyte]
        last = max((r.taken_at for r in own if r.taken_at is not None), default=None)
        newest = [r for r in own if r.taken_at == last or r.taken_at is None]
        if len({_said(r) for r in newest}) > 1:
            held += [
                Held(
                    r,
                    f"The {r.name} ({r.place}) and another of the same moment disagree: repeat it.",
                )
                for r in newest
            ]
        elif newest:
            found[analyte] = min(newest, key=lambda r: (r.taken_at is None, r.key))
    return found, tuple(held)


def _said(result: Result) -> tuple[object, ...]:
    """What a result says, for comparing: the number only where the number is what counts."""
    titre = result.analyte in (Analyte.ANTI_HBS, Analyte.ALT, Analyte.CREATININE)
    return (state(result), result.quantity if titre else None)


def visit_of(
    results: Sequence[Result], analytes: Sequence[Analyte], course: Course
) -> tuple[dict[Analyte, Result], str, tuple[Held, ...]]:
    """The latest visit's results, with what was found before and is not undone by it; and a note.

    A negative, or a titre, that is older than the visit says nothing of it and is left out.
    """
    own = [r for r in results if r.analyte in analytes]
    panel, held = latest(own)
    last = max((r.taken_at for r in own if r.taken_at is not None), default=None)
    kept: dict[Analyte, Result] = {}
    notes = []
    for analyte in analytes:
        newest = panel.get(analyte)
        found = _found_before(own, analyte, course)
        if newest is not None and (
            state(newest) == "positive" or together(course, newest.taken_at, last)
        ):
            kept[analyte] = newest
        if found and (newest is None or state(newest) != "positive"):
            kept[analyte] = found[0]
            notes.append(_once(found[0], course))
    return kept, " ".join(notes), held


def fresh(results: Sequence[Result], course: Course) -> tuple[tuple[Result, ...], tuple[Held, ...]]:
    """The source's results without negatives that may be out of date."""
    kept: list[Result] = []
    held: list[Held] = []
    for result in results:
        if state(result) != "negative" or course.exposed_at is None:
            kept.append(result)
        elif result.taken_at is None:
            why = f"The {result.name} ({result.place}) is negative, but when it was taken is not known"
            held.append(Held(result, why + ": a person decides whether it counts."))
        elif course.day(result.taken_at) < course.day(course.exposed_at):
            taken = minute(result.taken_at, course.zone)
            why = f"The {result.name} ({result.place}) is negative in a sample of {taken}"
            held.append(
                Held(
                    result, why + ", before the exposure: a person decides whether it still counts."
                )
            )
        else:
            kept.append(result)
    return tuple(kept), tuple(held)


ONCE_FOUND = (
    Analyte.HBSAG, Analyte.HBV_DNA, Analyte.HCV_RNA, Analyte.HIV_RNA, Analyte.HIV_DIFFERENTIATION,
)  # fmt: skip
"""Found since the exposure, they show an infection, whatever a later sample lacks."""


def _found_before(own: Sequence[Result], analyte: Analyte, course: Course) -> list[Result]:
    """Samples in which the virus was found, the earliest first; antigen of a vaccine is none."""
    if analyte not in ONCE_FOUND:
        return []
    found = [r for r in own if r.analyte is analyte and state(r) == "positive"]
    if analyte is Analyte.HBSAG:
        found = [r for r in found if vaccine_antigen(course, r.taken_at) == "excluded"]
    return sorted(found, key=lambda r: (r.taken_at.timestamp() if r.taken_at else inf, r.key))


def _once(found: Result, course: Course) -> str:
    when = minute(found.taken_at, course.zone) if found.taken_at else "a day not known"
    return (
        f"{found.name} was found in the sample of {when} ({found.place}) and not in a later one: that "
        "may be clearance, and it does not undo the infection."
    )
