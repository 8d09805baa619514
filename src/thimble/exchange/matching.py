"""Whose results a message holds: by the numbers of the sample, else by number and birth date.

Never by name.

Pure. All or nothing: a message with one row that nobody may act on is held whole, so that no half of
a report counts while the other half waits.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta, tzinfo
from typing import Protocol

from thimble.clinical.laboratory import Local
from thimble.clinical.serology import Analyte, Result, Status
from thimble.clinical.serology.analytes import name_of
from thimble.clinical.serology.results import Of, label_key
from thimble.exchange.hl7v2.model import Message, Observation, Order, Patient
from thimble.exchange.hl7v2.moments import Moment
from thimble.exchange.hl7v2.reading import Held, Reading, Standing
from thimble.exchange.hl7v2.values import read_value

NOTHING_DECLARED = Local()
EXACT = timedelta(hours=1)
"""A time that may mean more than this is no time of a sample."""

STATUS = {
    Standing.FINAL: Status.FINAL,
    Standing.CORRECTED: Status.CORRECTED,
    Standing.PROVISIONAL: Status.PRELIMINARY,
    Standing.RETRACTED: Status.RETRACTED,
    Standing.WRONG: Status.RETRACTED,
}
COUNTS = frozenset({*STATUS, Standing.PROMOTED})


@dataclass(frozen=True, slots=True)
class Sample:
    """A sample that a case knows: whose, what it was drawn for, for which action."""

    case: str
    of: Of
    drawn_for: str = ""
    action: str = ""


@dataclass(frozen=True, slots=True)
class Person:
    """Somebody a case is about, by number (staff or hospital) and date of birth."""

    case: str
    of: Of
    number: str
    born: date


class Known(Protocol):
    """What a site knows of its samples and of the people its cases are about."""

    def samples(self, key: str) -> Sequence[Sample]:
        """The samples with a number, as `label_key` has it."""
        ...

    def people(self) -> Iterable[Person]:
        """Everybody with a number and a date of birth; asked only where no sample is known."""
        ...

    def born(self, case: str, of: Of) -> date | None:
        """The date of birth of whoever a case is about, where it is known."""
        ...

    def preliminary(self, sample: Sample, key: tuple[str, ...], at: datetime) -> Result | None:
        """The preliminary result on record at `at` that counts under `key` (see `Result.key`)."""
        ...


@dataclass(frozen=True, slots=True)
class Matched:
    """Results of one sample of one person of one case."""

    sample: Sample
    results: tuple[Result, ...]
    laboratory: str
    check: str = ""


@dataclass(frozen=True, slots=True)
class Read:
    """A message read: what can be recorded, or why a person has to look. Never both."""

    matched: tuple[Matched, ...]
    reasons: tuple[str, ...]


def read_message(
    message: Message,
    known: Known,
    *,
    zone: tzinfo,
    received_at: datetime,
    local: Local = NOTHING_DECLARED,
    sample: Sample | None = None,
) -> Read:
    """The results of a message, each with the case it belongs to.

    Args:
        sample: what a person has found out, in place of any matching; a date of birth that differs
            no longer counts then.
    """
    matched: list[Matched] = []
    reasons: list[str] = []
    for patient in message.patients:
        for order in patient.orders:
            found, faults = _rows(order, local)
            reasons += faults
            if not found:
                continue
            belongs = sample or _sample_of(order, patient, known)
            if isinstance(belongs, str):
                reasons.append(belongs)
                continue
            if sample is None and (doubt := _other_birth_date(patient, belongs, known)):
                reasons.append(doubt)
                continue
            placed = _matched(found, order, belongs, message, zone, received_at, known)
            if isinstance(placed, str):
                reasons.append(placed)
            else:
                matched.append(placed)
    if not matched and not reasons:
        reasons.append("The message holds no result yet.")
    return Read((), tuple(dict.fromkeys(reasons))) if reasons else Read(tuple(matched), ())


def _rows(order: Order, local: Local) -> tuple[list[tuple[Observation, Reading]], list[str]]:
    found: list[tuple[Observation, Reading]] = []
    faults: list[str] = []
    for row in order.observations:
        reading = read_value(row, local)
        name = next(iter(row.test.texts), "") or "a test without a name"
        if isinstance(reading, Held):
            faults.append(f"{name}: {reading.reason}")
        elif reading.standing in COUNTS and _in_part(reading):
            faults.append(f"{name}: the code is for a part of the test ({reading.test.part}).")
        elif reading.standing in COUNTS and _says_something(reading):
            found.append((row, reading))
    return found, faults


def _in_part(reading: Reading) -> bool:
    """Whether a code is for a part of the test; RNA of HIV-1 is what HIV RNA means everywhere."""
    return bool(reading.test.part) and (reading.analyte, reading.test.part) != ("hiv_rna", "HIV-1")


def _says_something(reading: Reading) -> bool:
    if reading.standing in (Standing.RETRACTED, Standing.WRONG, Standing.PROMOTED):
        return True
    return not reading.no_result and (reading.outcome is not None or reading.quantity is not None)


def _sample_of(order: Order, patient: Patient, known: Known) -> Sample | str:
    """The sample that an order's numbers name, else the only case of that person; or why not."""
    numbers = [n.id for n in (order.placer, order.filler, *order.specimen_numbers) if n is not None]
    hits = {sample for number in numbers for sample in known.samples(label_key(number))}
    if len({(hit.case, hit.of, hit.drawn_for) for hit in hits}) == 1:
        # Several actions in one draw: the results belong to the draw.
        return min(hits, key=lambda hit: hit.action)
    if hits:
        return "The numbers of the sample belong to more than one case or purpose."
    born = patient.birth_date.day if patient.birth_date is not None else None
    ids = {label_key(each.id) for each in patient.ids if each.id}
    people = {
        (each.case, each.of)
        for each in known.people()
        if label_key(each.number) in ids and each.born == born
    }
    if len(people) > 1:
        return "The person is known from more than one case."
    if not people:
        return "No case knows the number of the sample, nor the person by number and birth date."
    ((case, of),) = people
    if of == "worker":
        return (
            "The person is known, the sample is not: say whether it was drawn at the exposure or "
            "in follow-up."
        )
    return Sample(case, of)


def names(message: Message, number: str, born: date | None) -> bool:
    """Whether a message is about somebody with this number and date of birth; never without both."""
    wanted = label_key(number)
    return bool(wanted) and any(
        patient.birth_date is not None
        and patient.birth_date.day is not None
        and patient.birth_date.day == born
        and wanted in {label_key(each.id) for each in patient.ids}
        for patient in message.patients
    )


def sample_keys(message: Message) -> frozenset[str]:
    """The numbers of requests and specimens in a message, as `label_key` has them."""
    numbers = (
        number
        for patient in message.patients
        for order in patient.orders
        for number in (order.placer, order.filler, *order.specimen_numbers)
    )
    return frozenset(label_key(n.id) for n in numbers if n is not None and n.id)


def _other_birth_date(patient: Patient, sample: Sample, known: Known) -> str:
    expected = known.born(sample.case, sample.of)
    told = patient.birth_date.day if patient.birth_date is not None else None
    if expected is None or told is None or expected == told:
        return ""
    return "The date of birth is not that of the person whose sample it should be."


def _matched(
    rows: Iterable[tuple[Observation, Reading]],
    order: Order,
    sample: Sample,
    message: Message,
    zone: tzinfo,
    received_at: datetime,
    known: Known,
) -> Matched | str:
    collected = order.collected_at or next(
        (s.collected_at for s in order.specimens if s.collected_at is not None), None
    )
    reported = _exact(order.changed_at, zone) or _exact(message.at, zone) or received_at
    specimen = next((number.id for number in order.specimen_numbers if number.id), "")
    request = next((n.id for n in (order.placer, order.filler) if n is not None and n.id), "")
    found = []
    wrong = False
    laboratory = ""
    for row, reading in rows:
        wrong = wrong or reading.standing is Standing.WRONG
        laboratory = laboratory or row.lab
        quantity = reading.quantity
        taken_back = reading.standing in (Standing.RETRACTED, Standing.WRONG)
        analyte, taken_at = Analyte(reading.analyte), _exact(collected, zone)
        # What a sender's clock says of the future was reported when it came.
        issued = min(reported, received_at)
        if reading.standing is Standing.PROMOTED:
            key = (sample.of, analyte.value, request, specimen, "")
            before = known.preliminary(sample, key, received_at)
            if before is None or before.taken_at != taken_at or before.reported_at > issued:
                return (
                    f"{name_of(analyte)}: the laboratory makes a preliminary result final without "
                    "sending it again, and no such result of this sample is on record. Ask the "
                    "laboratory to send the value."
                )
            if any(part.strip() for value in row.values for part in value) and (
                row.words != before.as_sent
            ):
                return (
                    f"{name_of(analyte)}: the laboratory makes a preliminary result final and sends "
                    "another value with it. Ask the laboratory which one holds."
                )
            found.append(replace(before, status=Status.FINAL, reported_at=issued))
            continue
        found.append(
            Result(
                analyte=analyte,
                of=sample.of,
                status=STATUS[reading.standing],
                taken_at=taken_at,
                reported_at=issued,
                word=None if taken_back else reading.outcome,
                quantity=None if taken_back or quantity is None else quantity,
                against_range=None if taken_back else reading.against_range,
                as_sent=row.words,
                request=request,
                specimen=specimen,
            )
        )
    check = "Posted wrongly by the laboratory: find out whose result it was." if wrong else ""
    return Matched(sample, tuple(found), laboratory, check)


def _exact(moment: Moment | None, zone: tzinfo) -> datetime | None:
    """An instant, where the time is written so that it can mean only one within the hour."""
    if moment is None:
        return None
    first, upto = moment.span(zone)
    return first if upto - first <= EXACT else None
