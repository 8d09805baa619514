"""What cannot be right about a result. A result with a fault is held for a person and settles nothing."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime

from thimble.clinical.saying import calendar_day, minute

from .analytes import HIV, Analyte, measures
from .course import Course, immunoglobulin_facts, of_source
from .results import Current, Result, Word
from .tables import ask, code
from .values import anti_hbs_facts, in_unit, state
from .vocabulary import vocabulary


@dataclass(frozen=True, slots=True)
class Held:
    """A result that a person must look at, and why."""

    result: Result
    why: str


def faults(
    result: Result,
    course: Course,
    at: datetime,
    *,
    follow_up: bool = False,
    earlier: Iterable[Result] = (),
) -> tuple[str, ...]:
    """Everything that cannot be right about `result`, as sentences; () if nothing is.

    Args:
        result: as it counts; see `current`.
        course: the case around it.
        at: now.
        follow_up: whether it was drawn to follow the exposure, so that it cannot lie before it.
        earlier: results that count of the same person; those from before this sample are held
            against it.

    Raises:
        ValueError: `at` has no time zone.
    """
    found = [
        *_of_person(result),
        *_of_time(result, course, at, follow_up=follow_up),
        *_of_value(result),
        *_against(result, tuple(earlier), course),
    ]
    return tuple(found)


def _of_person(result: Result) -> list[str]:
    if not result.identity_doubt:
        return []
    return [
        f"The {result.name} ({result.place}) may be another person's: {result.identity_doubt}. "
        "Confirm whose blood it is."
    ]


def _of_time(result: Result, course: Course, at: datetime, *, follow_up: bool) -> list[str]:
    taken, who = result.taken_at, f"The {result.name} ({result.place})"
    found = []
    if result.reported_at > at:
        found.append(f"{who} is reported for {_at(result.reported_at, course)}, which lies ahead.")
    if taken is None:
        return found
    if taken > at:
        found.append(f"{who} was taken {_at(taken, course)}, which lies ahead: check the date.")
    if taken > result.reported_at:
        found.append(
            f"{who} was taken {_at(taken, course)}, after it was reported "
            f"({_at(result.reported_at, course)}): check both dates."
        )
    born_on = course.worker_born_on if result.of == "worker" else course.source_born_on
    if born_on is not None and course.day(taken) < born_on:
        found.append(
            f"{who} was taken {_at(taken, course)}, before the person was born "
            f"({calendar_day(born_on)}): check the date and whose blood it is."
        )
    if follow_up and course.exposed_at is not None and taken < course.exposed_at:
        found.append(
            f"{who} was taken {_at(taken, course)}, before the exposure "
            f"({_at(course.exposed_at, course)}): it is no follow-up test."
        )
    return found


def _of_value(result: Result) -> list[str]:
    measure, quantity = measures()[result.analyte], result.quantity
    who = f"The {result.name} ({result.place})"
    found = []
    if quantity is not None and measure.kind in ("marker", "word"):
        if result.word is None:
            found.append(
                f"{who} came as the number {quantity}, without positive or negative: its cut-off is "
                "the laboratory's. Ask for the word."
            )
    elif quantity is not None:
        number = in_unit(result)
        if number is None:
            found.append(
                f"{who} came as {quantity}; units understood are {', '.join(measure.units)}. "
                "Ask the laboratory for the unit."
            )
        elif not measure.low <= number <= measure.high:
            found.append(
                f"{who} is {quantity}; results lie between {measure.low:g} and {measure.high:g} "
                f"{measure.unit}. Check number and unit."
            )
    elif measure.kind == "number":
        found.append(
            f"{who} came as the word {result.as_sent or result.word!s}: ask for the number."
        )
    return found + _word_against_number(result, who)


def _word_against_number(result: Result, who: str) -> list[str]:
    at_odds = False
    if result.analyte is Analyte.ANTI_HBS and result.word is Word.NEGATIVE and result.quantity:
        level = code(ask(anti_hbs_facts(result)), "anti_hbs_level")
        at_odds = level in ("from_10_to_100", "at_least_100", "at_least_10")
    elif result.word is Word.NEGATIVE and result.quantity:
        at_odds = measures()[result.analyte].kind == "load" and state(result) != "negative"
    if not at_odds:
        return []
    return [
        f"{who} is called negative and comes with {result.quantity}: they contradict each other. "
        "Ask the laboratory which holds."
    ]


def _against(result: Result, earlier: tuple[Result, ...], course: Course) -> list[str]:
    if result.taken_at is None or state(result) != "negative":
        return []
    found = []
    for other in earlier:
        if other.of != result.of or other.taken_at is None or other.taken_at >= result.taken_at:
            continue
        if state(other) != "positive" or not _lasts(other, result, course):
            continue
        found.append(
            f"The {result.name} is negative in the sample of {_at(result.taken_at, course)} "
            f"({result.place}), yet the {other.name} was positive in the sample of "
            f"{_at(other.taken_at, course)} ({other.place}). One of them may be another person's."
        )
    return found


def _lasts(other: Result, result: Result, course: Course) -> bool:
    """Whether what was found in `other` cannot be gone in `result`: the table `lasting_antibody`."""
    around = course if result.of == "worker" else of_source(course)
    facts = {"antibody_found_before": other.analyte, "test_negative_later": result.analyte}
    listed = {
        fact: analyte.value if analyte.value in vocabulary()[fact].values else "other"
        for fact, analyte in facts.items()
    }
    before = immunoglobulin_facts(around, other.taken_at)["immunoglobulin_before_sample"]
    return code(ask(listed | {"immunoglobulin_before_sample": before}), "antibody_lasts") == "lasts"


def _at(instant: datetime, course: Course) -> str:
    return minute(instant, course.zone)


def sift(
    found: Current,
    course: Course,
    at: datetime,
    *,
    follow_up: bool = False,
    earlier: Iterable[Result] = (),
) -> tuple[tuple[Result, ...], tuple[Held, ...]]:
    """The settled results without a fault, and everything that a person must look at."""
    clean: list[Result] = []
    held: list[Held] = []
    others = (*earlier, *found.settled)
    # A result that is at fault by itself is no witness against another.
    witnesses = [r for r in others if not faults(r, course, at)]
    for result in found.settled:
        wrong = faults(result, course, at, follow_up=follow_up, earlier=witnesses)
        held += [Held(result, why) for why in wrong]
        if not wrong:
            clean.append(result)
    held += [
        Held(r, f"The {r.name} ({r.place}) is preliminary: it settles nothing until it is final."
             + _reactive(r))
        for r in found.preliminary
    ]  # fmt: skip
    held += [
        Held(
            r,
            f"The {r.name} ({r.place}) was reported differently without being marked as a correction: "
            "ask the laboratory which holds.",
        )
        for r in found.conflicting
    ]
    return tuple(clean), tuple(held)


def _reactive(result: Result) -> str:
    if result.analyte in HIV and state(result) == "positive" and result.of == "source":
        return (
            " It is reactive: a reactive rapid test of the source counts as positive for the decision "
            "on prophylaxis. The clinician decides now."
        )
    return ""
