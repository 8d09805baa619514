"""Whether follow-up for a virus is open, by the plans of the worker's own cases."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date, tzinfo

from thimble.clinical.fitness import vocabulary
from thimble.clinical.saying import calendar_day
from thimble.clinical.serology import Analyte
from thimble.ledger.plan import TO_DO
from thimble.ledger.results.clearance import results_awaited
from thimble.protocol import Protocol
from thimble.web.desk.reading import Reading
from thimble.web.fitness.evidence import ALL, Row

ASKED: Mapping[str, tuple[str, str, tuple[Analyte, ...]]] = {
    "hiv": ("exposed_to_hiv", "HIV", (Analyte.HIV_AG_AB, Analyte.HIV_RNA)),
    "hbv": ("exposed_to_hbv", "hepatitis B", (Analyte.HBSAG, Analyte.ANTI_HBC_TOTAL)),
    "hcv": ("exposed_to_hcv", "hepatitis C", (Analyte.ANTI_HCV, Analyte.HCV_RNA)),
}
"""Of each virus the fact of fitness, its name in a sentence, and the tests that look for an infection: a
titre after vaccine does not."""


@dataclass(frozen=True, slots=True)
class Followed:
    """What a case says of follow-up for a virus: `open` with what is still to come, or that none is wanted.

    `on` is the day of the exposure, None where nobody knows it.
    """

    virus: str
    case: str
    open: bool
    what: str
    on: date | None

    @property
    def id(self) -> str:
        """What a click on it sends."""
        return f"{ASKED[self.virus][0]}:{self.case}"

    @property
    def facts(self) -> dict[str, object]:
        """What a click takes over."""
        return {ASKED[self.virus][0]: "yes" if self.open else "no"}


def followed(readings: Iterable[Reading], protocol: Protocol, zone: tzinfo) -> tuple[Followed, ...]:
    """Of each virus every case in which follow-up for it is open; where there is none, every open case that
    asks for none. A closed case says nothing, nor one whose plan does not yet tell."""
    found: list[Followed] = []
    cases = [reading for reading in readings if reading.situation.closed_at is None]
    for virus in ASKED:
        told = [one for reading in cases if (one := _of(reading, virus, protocol, zone))]
        open_ = [one for one in told if one.open]
        # As long as one plan leaves it open, the others' "no" is no answer.
        found += open_ or (told if len(told) == len(cases) else [])
    return tuple(found)


def _of(reading: Reading, virus: str, protocol: Protocol, zone: tzinfo) -> Followed | None:
    named = protocol.named_actions
    drawn = {
        action
        for analyte in ASKED[virus][2]
        for action in named.get(f"drawn_for_{analyte.value}", ())
    }
    wanted = drawn & set(named.get("follow_up_samples", ()))
    samples = [action for action in reading.plan.actions if action.id in wanted]
    awaited = {each.action for each in results_awaited(reading.entries)}
    left = [a for a in samples if a.stands and (a.state in TO_DO or a.id in awaited)]
    at = reading.situation.occurred_at
    on = at.astimezone(zone).date() if at else None
    if left:
        return Followed(virus, reading.case, True, left[0].what, on)
    if any(action.state in TO_DO for action in samples):
        return None
    return Followed(virus, reading.case, False, "", on)


def taken_from(wanted: str, found: Iterable[Followed]) -> dict[str, object]:
    """The facts that a click on one of them, or on all, takes over; where two differ the open one holds."""
    facts: dict[str, object] = {}
    for one in found:
        if wanted in (ALL, one.id):
            facts |= one.facts
    return facts


def already(found: Iterable[Followed]) -> dict[str, object]:
    """What is answered before anybody clicks: that follow-up is open. No other case makes that untrue."""
    return {fact: value for one in found if one.open for fact, value in one.facts.items()}


def rows_of(found: Iterable[Followed], here: str, facts: Mapping[str, object]) -> tuple[Row, ...]:
    """Each in words, beside what the form says now."""
    return tuple(_row(one, here, facts) for one in found)


def _row(one: Followed, here: str, facts: Mapping[str, object]) -> Row:
    fact, name, _ = ASKED[one.virus]
    said = f"Follow-up for {name} is open: {one.what}" if one.open else f"No follow-up for {name}"
    asked = vocabulary()[fact]
    value = str(one.facts[fact])
    return Row(
        id=one.id,
        said=said,
        day=f"exposed on {calendar_day(one.on)}" if one.on else "day of the exposure not known",
        where="this case" if one.case == here else f"case {one.case}",
        answers=f"{asked.question} {asked.label(value)}",
        held="taken over" if facts.get(fact) == value else "",
        why_not="",
    )
