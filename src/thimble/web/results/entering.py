"""From the form to results, or to sentences about what is missing."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime, tzinfo

from thimble.clinical.serology import Against, Analyte, Quantity, Result, Status, Word, measures
from thimble.clinical.serology.results import Of
from thimble.exchange.hl7v2.model import Coded
from thimble.exchange.hl7v2.ranges import compared_with
from thimble.ledger.results.recorded import BASELINE, FOLLOW_UP
from thimble.web.desk.questions import BadAnswer, decimal, read_moment

WHOSE = {
    "baseline": "The worker, at the exposure",
    "follow_up": "The worker, in follow-up",
    "source": "The source patient",
}
"""Whose blood a result is of, and for the worker what it was drawn for."""

WORDS = {
    Word.NEGATIVE: "Negative, not detected",
    Word.POSITIVE: "Positive, reactive, detected",
    Word.INDETERMINATE: "Indeterminate, weak, borderline",
}
STATUSES = {
    Status.FINAL: "Final",
    Status.PRELIMINARY: "Preliminary",
    Status.CORRECTED: "A correction of an earlier result",
}


@dataclass(frozen=True, slots=True)
class Entered:
    """What a form holds: results of one sample of one person."""

    results: tuple[Result, ...]
    drawn_for: str
    laboratory: str
    text: str
    looked_at: str


def read_results(typed: Mapping[str, str], zone: tzinfo, now: datetime) -> Entered:
    """The results that were typed.

    Raises:
        BadAnswer: whose they are, a number, a unit or a time is missing or is none.
    """
    whose = typed.get("whose", "")
    if whose not in WHOSE:
        raise BadAnswer("Say whose blood it is.")
    try:
        status = Status(typed.get("status", ""))
    except ValueError:
        raise BadAnswer("Say whether the result is final.") from None
    taken = None
    if typed.get("day") or typed.get("clock"):
        taken = read_moment(typed.get("day", ""), typed.get("clock", ""), zone, now)
    of: Of = "source" if whose == "source" else "worker"
    found = []
    for analyte in Analyte:
        word = _word(analyte, typed.get(f"word-{analyte}", ""))
        quantity = _quantity(analyte, typed)
        limit = _upper_limit(analyte, quantity, typed)
        if word is None and quantity is None:
            continue
        found.append(
            Result(
                analyte, of, status, taken, now, word, quantity,
                as_sent="" if limit is None else f"{quantity}, upper limit {limit:g}",
                against_range=against(quantity, limit),
                request=typed.get("request", "").strip()[:60],
                specimen=typed.get("specimen", "").strip()[:60],
            )
        )  # fmt: skip
    if not found:
        raise BadAnswer("Choose a word or write a number for at least one test.")
    return Entered(
        tuple(found),
        "" if of == "source" else BASELINE if whose == "baseline" else FOLLOW_UP,
        typed.get("laboratory", "").strip()[:120],
        typed.get("text", "").strip()[:1000],
        typed.get("looked_at", "").strip()[:1000],
    )


def against(quantity: Quantity | None, limit: float | None) -> Against | None:
    """How a number stands to the highest value that the laboratory calls normal, in the number's unit.

    >>> against(Quantity(40, "U/L"), 40), against(Quantity(40.5, "U/L"), 40)
    (<Against.NOT_ABOVE: 'not_above'>, <Against.ABOVE: 'above'>)
    """
    if quantity is None or limit is None:
        return None
    return compared_with(quantity, f"<={limit:.9f}", Coded())


def _upper_limit(
    analyte: Analyte, quantity: Quantity | None, typed: Mapping[str, str]
) -> float | None:
    """The upper limit of the laboratory's own range, for a test that is read against it."""
    measure, text = measures()[analyte], typed.get(f"limit-{analyte}", "").strip()
    if not measure.by_range or not text:
        return None
    if quantity is None:
        raise BadAnswer(f"{measure.name}: write the number itself, not only the range.")
    try:
        limit = decimal(text.replace(" ", ""))
        if not 0 < limit <= measure.high / measure.units[quantity.unit]:
            raise ValueError
    except BadAnswer as fault:
        raise BadAnswer(f"{measure.name}, upper limit of the range: {fault}") from None
    except ValueError:
        raise BadAnswer(
            f"{measure.name}: the upper limit of the range is a number above 0 in the unit of the result, "
            f"such as 40; found {text!r}."
        ) from None
    return limit


def _word(analyte: Analyte, text: str) -> Word | None:
    if not text:
        return None
    try:
        return Word(text)
    except ValueError:
        raise BadAnswer(f"{measures()[analyte].name}: choose one of the words offered.") from None


def _quantity(analyte: Analyte, typed: Mapping[str, str]) -> Quantity | None:
    text = typed.get(f"number-{analyte}", "").strip()
    if not text:
        return None
    measure = measures()[analyte]
    comparator = typed.get(f"sign-{analyte}", "=") or "="
    unit = typed.get(f"unit-{analyte}", "") or measure.unit
    try:
        number = decimal(text.replace(" ", ""))
        if unit not in measure.units:
            raise ValueError
        return Quantity(number, unit, comparator)
    except BadAnswer as fault:
        raise BadAnswer(f"{measure.name}: {fault}") from None
    except ValueError:
        raise BadAnswer(
            f"{measure.name}: write a number such as 12 or 12.5, and choose its sign and unit; "
            f"found {text!r}."
        ) from None
