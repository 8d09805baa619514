"""The words on the page of a case's results. Pure."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, tzinfo

from thimble.actions.results import read as read_facts
from thimble.clinical.saying import minute
from thimble.clinical.saying import unit as said_unit
from thimble.clinical.serology import (
    Analyte,
    Course,
    Held,
    Reading,
    current,
    measures,
    negative_at_exposure,
    tables,
)
from thimble.clinical.serology.results import COMPARATORS
from thimble.clinical.serology.statement import Marker
from thimble.clinical.vocabulary import VOCABULARY
from thimble.ledger.exposed import say, told
from thimble.ledger.results.drawn import Drawn
from thimble.ledger.results.of_worker import WorkersResults, waits_for
from thimble.ledger.results.recorded import said_of
from thimble.ledger.situation import LabResult, Situation
from thimble.protocol.finding import STANDINGS
from thimble.web.results.entering import STATUSES, WHOSE, WORDS

MARKERS: tuple[Marker, ...] = ("hiv", "hbv", "hcv")
GROUPS: Mapping[str, tuple[Analyte, ...]] = {
    "HIV": (Analyte.HIV_AG_AB, Analyte.HIV_DIFFERENTIATION, Analyte.HIV_RNA),
    "Hepatitis B": (
        Analyte.HBSAG, Analyte.ANTI_HBS, Analyte.ANTI_HBC_TOTAL, Analyte.ANTI_HBC_IGM,
        Analyte.HBEAG, Analyte.HBV_DNA,
    ),
    "Hepatitis C": (Analyte.ANTI_HCV, Analyte.HCV_RNA),
    "Others": (Analyte.ALT, Analyte.CREATININE, Analyte.PREGNANCY),
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class Row:
    """One version of one result."""

    name: str
    said: str
    taken: str
    number: str
    counts: str
    entry: int


@dataclass(frozen=True, slots=True)
class Said:
    """What the tables say to one question."""

    label: str
    words: str
    final: bool
    next: str
    note: str
    because: tuple[str, ...]
    confirmed: bool


@dataclass(frozen=True, slots=True)
class Part:
    """The results of one person and purpose, with what they say."""

    title: str
    rows: tuple[Row, ...]
    said: tuple[Said, ...]
    held: tuple[str, ...]
    statements: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Undrawn:
    """A sample that the plan still asks for though its result is here; day and clock as forms have them."""

    id: str
    what: str
    taken: str
    day: str
    clock: str
    numbers: tuple[tuple[str, str], ...]


@dataclass(frozen=True, slots=True)
class Field:
    """The inputs of one test."""

    id: str
    name: str
    words: tuple[tuple[str, str, bool], ...]
    number: str
    signs: tuple[tuple[str, bool], ...]
    units: tuple[tuple[str, str, bool], ...]
    by_range: bool
    limit: str


@dataclass(frozen=True, slots=True)
class ResultsPage:
    """Everything that the page shows."""

    case: str
    position: int
    today: str
    parts: tuple[Part, ...]
    asks: tuple[tuple[str, str], ...]
    undrawn: tuple[Undrawn, ...]
    groups: tuple[tuple[str, tuple[Field, ...]], ...]
    whose: tuple[tuple[str, str, bool], ...]
    statuses: tuple[tuple[str, str, bool], ...]
    typed: Mapping[str, str]
    fault: str
    doubts: tuple[str, ...]
    may_record: bool

    @classmethod
    def of(
        cls,
        situation: Situation,
        course: Course,
        now: datetime,
        zone: tzinfo,
        *,
        capabilities: Collection[str],
        drawn: Iterable[Drawn] = (),
        typed: Mapping[str, str] | None = None,
        fault: str = "",
        doubts: tuple[str, ...] = (),
    ) -> ResultsPage:
        """The page; results of the source only for who may see the source."""
        given = dict(typed or {})
        with_source = "see_source" in capabilities
        return cls(
            case=situation.case,
            position=situation.entries,
            today=now.astimezone(zone).date().isoformat(),
            parts=told(_parts(situation, course, now, zone, with_source=with_source), situation),
            asks=tuple(
                (fact, say(VOCABULARY[fact].question, situation))
                for fact in waits_for(situation, course, now)
            ),
            undrawn=tuple(_undrawn(each, zone) for each in drawn),
            groups=tuple(
                (title, tuple(_field(analyte, given) for analyte in analytes))
                for title, analytes in GROUPS.items()
            ),
            whose=tuple(
                (id_, say(words, situation), id_ == given.get("whose"))
                for id_, words in WHOSE.items()
                if with_source or id_ != "source"
            ),
            statuses=tuple(
                (id_.value, words, id_.value == given.get("status"))
                for id_, words in STATUSES.items()
            ),
            typed=given,
            fault=fault,
            doubts=doubts,
            may_record="record_facts" in capabilities,
        )


def _parts(
    situation: Situation, course: Course, now: datetime, zone: tzinfo, *, with_source: bool
) -> tuple[Part, ...]:
    mine = WorkersResults.of(situation)
    found: list[Part] = []
    if mine.later:
        read = mine.since(course, now)
        found.append(_part("Since the exposure", mine.later, read.readings, read.held, zone))
    if mine.baseline:
        base = mine.at_exposure(course, now)
        statements = tuple(
            negative_at_exposure(mine.results, course, marker, now).sentence for marker in MARKERS
        )
        found.append(
            _part("At the exposure", mine.baseline, base.readings, base.held, zone, statements)
        )
    source = [r for r in situation.results if r.result.of == "source"]
    if source and with_source:
        own = read_facts(situation, course, now, "source")
        found.append(_part("Of the source patient", source, own.readings, own.held, zone))
    return tuple(found)


def _part(
    title: str,
    results: Sequence[LabResult],
    readings: tuple[Reading, ...],
    held: tuple[Held, ...],
    zone: tzinfo,
    statements: tuple[str, ...] = (),
) -> Part:
    counts = current([r.result for r in results])
    rows = [_row(r, counts.settled, counts.preliminary, zone) for r in results]
    return Part(
        title,
        tuple(reversed(rows)),
        tuple(_said(reading) for reading in readings),
        tuple(f"{each.result.name}, {said_of(each.result)}: {each.why}" for each in held),
        statements,
    )


def _row(
    found: LabResult, settled: tuple[object, ...], preliminary: tuple[object, ...], zone: tzinfo
) -> Row:
    result = found.result
    if result in settled:
        counts = ""
    elif result in preliminary:
        counts = "waits for the final result"
    else:
        counts = "does not count: replaced, taken back or in conflict"
    taken = "time not known" if result.taken_at is None else minute(result.taken_at, zone)
    place = "" if result.place.startswith("no ") else result.place
    return Row(result.name, said_of(result), taken, place, counts, found.entry)


def _said(reading: Reading) -> Said:
    return Said(
        tables().outputs[reading.decision].label,
        reading.words,
        reading.final,
        reading.next_words,
        reading.note,
        tuple(
            f"{tables().table(reason.table).question} {reason.rule}: {reason.source} "
            f"({STANDINGS[reason.standing]})"
            for reason in reading.because
        ),
        all(reason.confirmed for reason in reading.because),
    )


def _undrawn(drawn: Drawn, zone: tzinfo) -> Undrawn:
    at = drawn.at.astimezone(zone)
    return Undrawn(
        drawn.action.id,
        drawn.action.what,
        minute(drawn.at, zone),
        at.date().isoformat(),
        f"{at:%H:%M}",
        (("specimen", drawn.specimen), ("request", drawn.request)),
    )


def _field(analyte: Analyte, typed: Mapping[str, str]) -> Field:
    measure = measures()[analyte]
    unit = typed.get(f"unit-{analyte}", "") or measure.unit
    sign = typed.get(f"sign-{analyte}", "=") or "="
    by_word = measure.kind in ("marker", "load", "titre", "word")
    # Two spellings of one unit would be one choice too many.
    shown = {factor: name for name, factor in reversed(list(measure.units.items()))}
    return Field(
        analyte.value,
        measure.name,
        tuple(
            (word.value, words, word.value == typed.get(f"word-{analyte}"))
            for word, words in WORDS.items()
        )
        if by_word
        else (),
        typed.get(f"number-{analyte}", ""),
        tuple((each, each == sign) for each in COMPARATORS) if measure.units else (),
        tuple((name, said_unit(name), name == unit) for name in shown.values()),
        measure.by_range,
        typed.get(f"limit-{analyte}", ""),
    )
