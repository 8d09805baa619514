"""What a message's results are, each with the case or the file of the register that it belongs to.

Pure. All or nothing: a message with one row that nobody may act on is held whole, so that no half of
a report counts while the other half waits.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta, tzinfo

from thimble.clinical.laboratory import Local
from thimble.clinical.serology import Analyte, Quantity, Result, Status, Word
from thimble.clinical.serology.analytes import name_of
from thimble.exchange.hl7v2.model import Message, Order
from thimble.exchange.hl7v2.moments import Moment
from thimble.exchange.hl7v2.reading import Standing
from thimble.exchange.known import Known, Registered, Sample
from thimble.exchange.rows import STATUS, Row, rows_of
from thimble.exchange.whose import registered_of, whose

NOTHING_DECLARED = Local()
EXACT = timedelta(hours=1)
"""A time that may mean more than this is no time of a sample."""
SEVERAL = (
    "The message holds results of more than one person: it cannot be recorded for one of them. Enter what "
    "is needed of each by hand, or ask the laboratory for a message about each; then settle this one."
)
WRONG = "Posted wrongly by the laboratory: find out whose result it was."


@dataclass(frozen=True, slots=True)
class Matched:
    """Results of one sample of one person of one case."""

    sample: Sample
    results: tuple[Result, ...]
    laboratory: str
    check: str = ""


@dataclass(frozen=True, slots=True)
class Reported:
    """One result of somebody of the register as it was sent.

    `test` is what the code names. `collected_on` is the laboratory's own day of the draw (ISO), or None.
    Where `standing` is `PROMOTED` there is no value: the preliminary one on record becomes final.
    """

    test: str
    standing: Standing
    word: Word | None
    quantity: Quantity | None
    as_sent: str
    collected_on: str | None
    reported_at: datetime
    request: str
    specimen: str
    sent: bool = True


@dataclass(frozen=True, slots=True)
class Reports:
    """Results of one sample of somebody of the register."""

    whose: Registered
    results: tuple[Reported, ...]
    laboratory: str
    check: str = ""


@dataclass(frozen=True, slots=True)
class Read:
    """A message read: what can be recorded, or why a person has to look. Never both."""

    matched: tuple[Matched, ...]
    reasons: tuple[str, ...]
    reports: tuple[Reports, ...] = ()


@dataclass(frozen=True, slots=True)
class _Told:
    """What an order says of its sample and its report."""

    collected: Moment | None
    reported_at: datetime
    request: str
    specimen: str


def read_message(
    message: Message,
    known: Known,
    *,
    zone: tzinfo,
    received_at: datetime,
    local: Local = NOTHING_DECLARED,
    told: Sample | str | None = None,
) -> Read:
    """The results of a message, each with the case or the person it belongs to.

    Args:
        told: what a person has found out, in place of any matching: a sample of a case, or the reference
            of a file of the register. A name that differs no longer counts then; whoever asks holds the
            dates of birth against each other before (`thimble.web.laboratory.comparing`). Of a message
            about several people nobody can have found that out.
    """
    if told is not None and about_several(message):
        return Read((), (SEVERAL,))
    matched: list[Matched] = []
    reports: list[Reports] = []
    reasons: list[str] = []
    for patient in message.patients:
        for order in patient.orders:
            rows, faults = rows_of(order, local)
            reasons += faults
            if not rows:
                continue
            belongs: Sample | Registered | str
            if isinstance(told, str):
                belongs = registered_of(order, told, known)
            else:
                belongs = told or whose(order, patient, known)
            if isinstance(belongs, str):
                reasons.append(belongs)
                continue
            about = _about(order, message, zone, received_at)
            if isinstance(belongs, Registered):
                reports.append(_reports(rows, belongs, about))
                continue
            placed = _matched(rows, belongs, about, zone, received_at, known)
            if isinstance(placed, str):
                reasons.append(placed)
            else:
                matched.append(placed)
    if not matched and not reports and not reasons:
        reasons.append("The message holds no result yet.")
    if reasons:
        return Read((), tuple(dict.fromkeys(reasons)))
    return Read(tuple(matched), (), tuple(reports))


def about_several(message: Message) -> bool:
    """Whether a message holds results of more than one person, as the sender has them."""
    people = {
        (patient.ids, patient.names, patient.birth_date)
        for patient in message.patients
        if any(order.observations for order in patient.orders)
    }
    return len(people) > 1


def _about(order: Order, message: Message, zone: tzinfo, received_at: datetime) -> _Told:
    collected = order.collected_at or next(
        (s.collected_at for s in order.specimens if s.collected_at is not None), None
    )
    reported = _exact(order.changed_at, zone) or _exact(message.at, zone) or received_at
    return _Told(
        collected,
        # What a sender's clock says of the future was reported when it came.
        min(reported, received_at),
        next((n.id for n in (order.placer, order.filler) if n is not None and n.id), ""),
        next((number.id for number in order.specimen_numbers if number.id), ""),
    )


def _reports(rows: Sequence[Row], belongs: Registered, told: _Told) -> Reports:
    day = told.collected.day if told.collected is not None else None
    return Reports(
        belongs,
        tuple(
            Reported(
                test=row.reading.analyte,
                standing=row.reading.standing,
                word=row.reading.outcome,
                quantity=row.reading.quantity,
                as_sent=row.words,
                collected_on=None if day is None else day.isoformat(),
                reported_at=told.reported_at,
                request=told.request,
                specimen=told.specimen,
                sent=row.sent,
            )
            for row in rows
        ),
        _laboratory(rows),
        _check(rows),
    )


def _matched(
    rows: Sequence[Row],
    sample: Sample,
    told: _Told,
    zone: tzinfo,
    received_at: datetime,
    known: Known,
) -> Matched | str:
    taken_at = _exact(told.collected, zone)
    found = []
    for row in rows:
        reading = row.reading
        if reading.analyte not in set(Analyte):
            return f"{reading.test.code}: no case follows this test. Enter what is needed of it by hand."
        analyte = Analyte(reading.analyte)
        if reading.standing is Standing.PROMOTED:
            key = (sample.of, analyte.value, told.request, told.specimen, "")
            before = known.preliminary(sample, key, received_at)
            if (
                before is None
                or before.taken_at != taken_at
                or before.reported_at > told.reported_at
            ):
                return f"{name_of(analyte)}: {NOT_TO_PROMOTE}"
            if row.sent and row.words != before.as_sent:
                return f"{name_of(analyte)}: {PROMOTED_OTHERWISE}"
            found.append(replace(before, status=Status.FINAL, reported_at=told.reported_at))
            continue
        taken_back = reading.standing in (Standing.RETRACTED, Standing.WRONG)
        found.append(
            Result(
                analyte=analyte,
                of=sample.of,
                status=STATUS[reading.standing],
                taken_at=taken_at,
                reported_at=told.reported_at,
                word=None if taken_back else reading.outcome,
                quantity=None if taken_back else reading.quantity,
                against_range=None if taken_back else reading.against_range,
                as_sent=row.words,
                request=told.request,
                specimen=told.specimen,
            )
        )
    return Matched(sample, tuple(found), _laboratory(rows), _check(rows))


NOT_TO_PROMOTE = (
    "the laboratory makes a preliminary result final without sending it again, and no such result of this "
    "sample is on record. Ask the laboratory to send the value."
)
PROMOTED_OTHERWISE = (
    "the laboratory makes a preliminary result final and sends another value with it. Ask the laboratory "
    "which one holds."
)


def _laboratory(rows: Sequence[Row]) -> str:
    return next((row.laboratory for row in rows if row.laboratory), "")


def _check(rows: Sequence[Row]) -> str:
    return WRONG if any(row.reading.standing is Standing.WRONG for row in rows) else ""


def _exact(moment: Moment | None, zone: tzinfo) -> datetime | None:
    """An instant, where the time is written so that it can mean only one within the hour."""
    if moment is None:
        return None
    first, upto = moment.span(zone)
    return first if upto - first <= EXACT else None
