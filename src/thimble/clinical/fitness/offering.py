"""Results on record that answer a question of fitness: offered with their day, never assumed.

A result is offered only where it says on which side of every limit of the tables it lies, in the unit that
the limits are in. What is not offered is told with why: a person reads it and answers.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from datetime import date

from thimble.clinical.series import PartialDate
from thimble.clinical.serology import Analyte, Result
from thimble.clinical.serology.values import in_unit, state

from .tables import tables
from .vocabulary import vocabulary

MARKERS: Mapping[Analyte, str] = {
    Analyte.HBSAG: "hbsag",
    Analyte.HBEAG: "hbeag",
    Analyte.ANTI_HCV: "anti_hcv",
}
DETECTED: Mapping[str, str] = {"positive": "detected", "negative": "not_detected"}
LOADS: Mapping[Analyte, tuple[str, str, str]] = {
    Analyte.HBV_DNA: ("hbv_dna", "hbv_dna_reported", "hbv_sample"),
    Analyte.HIV_RNA: ("hiv_load", "hiv_load_reported", "hiv_sample"),
}
"""The fact of the number, the fact that there is one, and the day that the next test is counted from."""

ASKED = (*MARKERS, Analyte.HBV_DNA, Analyte.HCV_RNA, Analyte.HIV_RNA)

ONCE_FOUND = frozenset({Analyte.HBSAG, Analyte.ANTI_HCV})
"""Of these a negative result is not offered beside a positive one: antibody stays after cure, and whether
an infection is gone, or one sample was another person's, a person reads."""

UNCERTAIN_DAY = "The day of the sample is not certain."
DIFFER = "Results of one day differ."
WAS_POSITIVE = "Another result on record is positive: read them together."


@dataclass(frozen=True, slots=True)
class OnRecord:
    """A result of the worker: `day` of the sample ("" where unknown; a year or month may stand alone),
    `where` it stands, and a `doubt` of whoever keeps it ("" for none)."""

    result: Result
    day: str
    where: str
    doubt: str = ""

    @property
    def exact(self) -> date | None:
        """The day, if it is one."""
        known = PartialDate.parse(self.day) if self.day else None
        return known.first if known is not None and known.exact else None


@dataclass(frozen=True, slots=True)
class Offered:
    """A result with the facts and days that it answers; or none, and `why_not` in a sentence."""

    evidence: OnRecord
    facts: Mapping[str, str | float] = field(default_factory=dict)
    days: Mapping[str, date] = field(default_factory=dict)
    why_not: str = ""


def offer(found: Iterable[OnRecord]) -> tuple[Offered, ...]:
    """The latest result of each test that fitness asks for, and those that may be later."""
    everything = tuple(found)
    offers: list[Offered] = []
    for analyte in ASKED:
        mine = [one for one in everything if one.result.analyte is analyte]
        last = max((day for one in mine if (day := one.exact)), default=None)
        latest = [one for one in mine if last is not None and one.exact == last]
        differ = len({(one.result.word, one.result.quantity, one.doubt) for one in latest}) > 1
        found_once = analyte in ONCE_FOUND and any(state(one.result) == "positive" for one in mine)
        for one in latest[: None if differ else 1]:
            gone = found_once and state(one.result) == "negative"
            offers.append(_offered(one, DIFFER if differ else WAS_POSITIVE if gone else ""))
        offers += [Offered(one, why_not=UNCERTAIN_DAY) for one in mine if _may_be_later(one, last)]
    return tuple(offers)


def _may_be_later(one: OnRecord, last: date | None) -> bool:
    if one.exact is not None:
        return False
    return not one.day or last is None or PartialDate.parse(one.day).last >= last


def _offered(one: OnRecord, why_not: str) -> Offered:
    why_not = why_not or one.doubt or one.result.identity_doubt
    if why_not:
        return Offered(one, why_not=why_not)
    answer = _answer(one.result)
    if isinstance(answer, str):
        return Offered(one, why_not=answer)
    load = LOADS.get(one.result.analyte)
    days = {load[2]: one.exact} if load and one.exact else {}
    return Offered(one, answer, days)


def _answer(result: Result) -> dict[str, str | float] | str:
    """The facts that a result answers, or why it answers none."""
    said = state(result)
    if result.analyte in LOADS:
        number = _number(result, LOADS[result.analyte][0])
        if isinstance(number, str):
            return number
        fact, reported, _ = LOADS[result.analyte]
        return {reported: "number", fact: number}
    if said not in DETECTED:
        return "It says neither positive nor negative."
    if result.analyte is Analyte.HCV_RNA:
        return {"hcv_rna": DETECTED[said]}
    return {MARKERS[result.analyte]: said}


def _number(result: Result, fact: str) -> float | str:
    """The load for the tables, or why there is none: its side of every limit must be certain."""
    if state(result) == "negative":
        return 0.0
    if result.quantity is None or (result.word is not None and result.word.value != "positive"):
        return "It gives no number that can be relied on."
    number, sign = in_unit(result), result.quantity.comparator
    asked = vocabulary()[fact]
    if number is None:
        return (
            f"It is in {result.quantity.unit or 'no unit'}. The limits are in {asked.unit}, and nothing "
            "is converted here: ask the laboratory."
        )
    if not asked.low <= number <= asked.high:
        return f"{result.name} lies outside what can be."
    cuts = tables().index.axes[fact].cuts
    if sign == "=":
        return number
    # Beyond what the test can measure.
    if sign in ("<", "<="):
        certain = not any(cut < number or (sign == "<=" and cut == number) for cut in cuts)
        return 0.0 if certain else f"“{result.quantity}” may lie on either side of a limit."
    certain = not any(cut > number or cut == number for cut in cuts)
    return number if certain else f"“{result.quantity}” may lie on either side of a limit."
