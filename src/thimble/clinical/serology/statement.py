""" "Negative at the time of the exposure", computed from the stored baseline and fit to be printed."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime
from typing import Literal

from thimble.clinical.saying import elapsed, minute, opening
from thimble.protocol.finding import Reason

from .analytes import Analyte, name_of
from .counting import settled_of
from .course import Course, hours_to_baseline
from .faults import Held
from .results import Result
from .tables import ask, code
from .values import state

Marker = Literal["hiv", "hbv", "hcv"]

_SHOWS: dict[Marker, tuple[Analyte, tuple[Analyte, ...]]] = {
    "hiv": (Analyte.HIV_AG_AB, (Analyte.HIV_RNA, Analyte.HIV_DIFFERENTIATION)),
    "hbv": (Analyte.ANTI_HBC_TOTAL, (Analyte.HBSAG, Analyte.ANTI_HBC_IGM, Analyte.HBV_DNA)),
    "hcv": (Analyte.ANTI_HCV, (Analyte.HCV_RNA,)),
}
"""For each infection the test that states it, and those that must not say otherwise."""


@dataclass(frozen=True, slots=True)
class Statement:
    """One sentence about the baseline.

    `stated` is false where the statement cannot be made; `sentence` then says why. `baseline` and
    `later` are the two samples it names.
    """

    marker: Marker
    stated: bool
    sentence: str
    baseline: Result | None = None
    later: Result | None = None
    because: tuple[Reason, ...] = ()
    held: tuple[Held, ...] = ()


def negative_at_exposure(
    results: Iterable[Result], course: Course, marker: Marker, at: datetime
) -> Statement:
    """Whether the worker was negative when exposed, with both samples named.

    The baseline is the worker's first sample at or after the exposure. The window in which it shows
    the state at the exposure is the tables' (`baseline_window`).

    Raises:
        ValueError: `at` has no time zone.
    """
    test, others = _SHOWS[marker]
    name = name_of(test)
    clean, held = settled_of(results, course, at)
    held = tuple(h for h in held if h.result.analyte in (test, *others))

    def refuse(why: str, baseline: Result | None = None, *because: Reason) -> Statement:
        sentence = (
            f"It cannot be stated that {name} was negative at the time of the exposure: {why}."
        )
        return Statement(marker, False, sentence, baseline, None, because, held)

    if course.exposed_at is None:
        return refuse("when the exposure happened is not known")
    own = [r for r in clean if r.analyte is test and r.taken_at is not None]
    after = sorted((r for r in own if r.taken_at and r.taken_at >= course.exposed_at), key=_by_time)
    if not after:
        if any(h.result.analyte is test for h in held):
            return refuse(f"the {name} on record is held or not final")
        if own:
            return refuse("the only samples were taken before it")
        return refuse("there is no sample with a known time and a final result")
    baseline = after[0]
    where = f"the sample of {_sample(baseline, course)}"
    said = {state(r) for r in after if r.taken_at == baseline.taken_at}
    if said != {"negative"}:
        found = " and ".join(sorted(said)).replace("_", " ")
        return refuse(f"in {where} it was {found}", baseline)
    window = ask({"marker": marker} | hours_to_baseline(course, baseline.taken_at))
    finding = window.findings["baseline_window"]
    passed = elapsed(course.exposed_at, baseline.taken_at or course.exposed_at)
    if code(window, "baseline_window") != "supported":
        window_of = "; ".join(reason.source for reason in finding.because)
        return refuse(
            f"{where} was taken {passed} after it, outside the window of the source ({window_of})",
            baseline,
            *finding.because,
        )
    for other in clean:
        if (
            other.analyte in others
            and other.taken_at is not None
            and other.taken_at <= (baseline.taken_at or other.taken_at)
            and state(other) in ("positive", "indeterminate")
        ):
            return refuse(
                f"{name_of(other.analyte)} was {state(other)} in the sample of "
                f"{_sample(other, course)}",
                baseline,
            )
    sentence = f"{opening(name)} negative in {where}, taken {passed} after the exposure"
    later = after[-1] if after[-1].taken_at != baseline.taken_at else None
    if later is not None:
        sentence += f"; {_outcome(later)} in the sample of {_sample(later, course)}"
    return Statement(marker, True, sentence + ".", baseline, later, finding.because, held)


def _outcome(later: Result) -> str:
    found = state(later).replace("_", " ")
    if later.analyte is Analyte.HIV_AG_AB and found == "positive":
        return "reactive, not an infection until it is confirmed,"
    return found


def _sample(result: Result, course: Course) -> str:
    if result.taken_at is None:
        return f"a day not known ({result.place})"
    return f"{minute(result.taken_at, course.zone)} ({result.place})"


def _by_time(result: Result) -> tuple[float, tuple[str, ...]]:
    return (result.taken_at.timestamp() if result.taken_at else 0.0, result.key)
