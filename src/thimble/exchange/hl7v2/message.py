"""From bytes or text to a `Message`: which row belongs to which order, specimen and patient.

Source: HL7 v2.3.1 to 2.5.1, structure of ORU^R01. An OBX belongs to the OBR above it, after SPM to
that specimen; an NTE to the segment right above. OBX-1 is no key: senders repeat it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from datetime import timezone
from typing import Final

from thimble.exchange.hl7v2.composites import authority, coded, entity, extended, plain
from thimble.exchange.hl7v2.decoding import Decoded, decode
from thimble.exchange.hl7v2.faults import CaseNotification, Unreadable
from thimble.exchange.hl7v2.model import (
    Identifier,
    Message,
    Name,
    Note,
    Observation,
    Order,
    Patient,
    Sender,
    Specimen,
)
from thimble.exchange.hl7v2.moments import read_moment
from thimble.exchange.hl7v2.segments import Segment, split

CASE_NOTIFICATION_PROFILE: Final = "NOTF_ORU"
CASE_NOTIFICATION_ORDER: Final = "68991-9"
READ: Final = {
    "PID": frozenset({3, 5, 7, 8}),
    "PV1": frozenset({19}),
    "ORC": frozenset({1, 2, 3, 5}),
    "OBR": frozenset({2, 3, 4, 7, 14, 15, 22, 25, 26, 29, 50}),
    "OBX": frozenset({1, 2, 3, 4, 5, 6, 7, 8, 11, 14, 15, 17, 23}),
    "NTE": frozenset({2, 3}),
    "SPM": frozenset({2, 4, 17, 18}),
}
"""The fields that are read, by segment; all of the header is."""
_NOBODY: Final = Patient((), (), None, "")


def read_bytes(raw: bytes, single_byte: str | None = None) -> Message:
    """The message in these bytes; `single_byte` as for `decode`.

    Raises:
        Undecodable: a byte is not in the character set.
        Unreadable: what is there is no message of results.
        CaseNotification: it is a notification of a case.
    """
    return read(decode(raw, single_byte))


def read(decoded: Decoded) -> Message:
    """The message in this text.

    Raises:
        Unreadable: what is there is no message of results.
        CaseNotification: it is a notification of a case.
    """
    segments = split(decoded, READ)
    header = segments[0]
    kind = header[9]
    if (kind.component(1), kind.component(2)) != ("ORU", "R01"):
        raise Unreadable("MSH-9 is not ORU^R01: this is no message of results.", header.place(9))
    if any(CASE_NOTIFICATION_PROFILE in profile.text.upper() for profile in header[21].each()):
        raise CaseNotification(
            "MSH-21 says that this is the notification of a case, not a result.", header.place(21)
        )
    return _Reader(header, decoded.encoding).read(segments[1:])


@dataclass
class _Row:
    """A row of results while its notes are still to come."""

    observation: Observation
    notes: list[Note] = field(default_factory=list)

    def close(self) -> Observation:
        return replace(self.observation, notes=tuple(self.notes))


@dataclass
class _Material:
    specimen: Specimen
    rows: list[_Row] = field(default_factory=list)

    def close(self) -> Specimen:
        return replace(self.specimen, observations=tuple(row.close() for row in self.rows))


@dataclass
class _Ordered:
    order: Order
    notes: list[Note]
    rows: list[_Row] = field(default_factory=list)
    materials: list[_Material] = field(default_factory=list)

    @property
    def open_rows(self) -> list[_Row]:
        """Where the next row belongs: after SPM it describes the specimen."""
        return self.materials[-1].rows if self.materials else self.rows

    def close(self) -> Order:
        return replace(
            self.order,
            notes=tuple(self.notes),
            observations=tuple(row.close() for row in self.rows),
            specimens=tuple(material.close() for material in self.materials),
        )


@dataclass
class _Person:
    patient: Patient
    visit: str = ""
    notes: list[Note] = field(default_factory=list)
    orders: list[_Ordered] = field(default_factory=list)

    def close(self) -> Patient:
        return replace(
            self.patient,
            visit=self.visit,
            notes=tuple(self.notes),
            orders=tuple(order.close() for order in self.orders),
        )


class _Reader:
    """Walks down the segments and hangs each below what it belongs to."""

    def __init__(self, header: Segment, encoding: str) -> None:
        self.header, self.encoding = header, encoding
        self.at = read_moment(header[7].text)
        self.offset: timezone | None = self.at.offset if self.at else None
        self.people: list[_Person] = []
        self.common: Segment | None = None  # the ORC that waits for its OBR
        self.waiting: list[Note] = []
        self.stray: list[Note] = []
        self.notes = self.stray  # where a note that comes now belongs

    def read(self, segments: Sequence[Segment]) -> Message:
        for segment in segments:
            if segment.name == "NTE":
                lines = tuple(plain(line) for line in segment[3].each())
                self.notes.append(Note(segment[2].text, lines))
            else:
                self.notes = self._take(segment)
        if not any(person.orders for person in self.people):
            raise Unreadable("There is no order (OBR) in the message.", self.header.place())
        header = self.header
        return Message(
            sender=Sender(plain(header[3]), plain(header[4])),
            control_id=header[10].text,
            version=header[12].text,
            processing_id=header[11].text,
            at=self.at,
            encoding=self.encoding,
            patients=tuple(person.close() for person in self.people),
            notes=tuple(self.stray),
        )

    def _take(self, segment: Segment) -> list[Note]:
        """Take one segment; where notes below it belong."""
        match segment.name:
            case "PID":
                self.people.append(_Person(self._patient(segment)))
                self.common, self.waiting = None, []
                return self.people[-1].notes
            case "PV1":
                self._person().visit = segment[19].text
                return self._person().notes
            case "PD1" | "NK1" | "PV2":
                return self._person().notes
            case "ORC":
                self.common, self.waiting = segment, []
                return self.waiting
            case "OBR":
                return self._open_order(segment)
            case "OBX":
                row = _Row(self._observation(segment))
                self._order(segment).open_rows.append(row)
                return row.notes
            case "SPM":
                self._order(segment).materials.append(_Material(self._specimen(segment)))
            case "DSC":
                raise Unreadable(
                    "The message goes on in another one (DSC); such parts are not put together. "
                    "Ask the sender to send it whole.",
                    segment.place(),
                )
        return self.stray

    # -- what is open -----------------------------------------------------------------------------

    def _person(self) -> _Person:
        if not self.people:
            self.people.append(_Person(_NOBODY))
        return self.people[-1]

    def _order(self, segment: Segment) -> _Ordered:
        if not self.people or not self.people[-1].orders:
            raise Unreadable(
                f"{segment.name} number {segment.sequence} stands below no order (OBR).",
                segment.place(),
            )
        return self.people[-1].orders[-1]

    def _open_order(self, segment: Segment) -> list[Note]:
        if any(code.code == CASE_NOTIFICATION_ORDER for code in coded(segment[4]).codes):
            raise CaseNotification(
                "OBR-4 says that this is the notification of a case, not a result.",
                segment.place(4),
            )
        order = _Ordered(self._read_order(segment), self.waiting)
        self._person().orders.append(order)
        self.common, self.waiting = None, []
        return order.notes

    # -- one segment ------------------------------------------------------------------------------

    def _patient(self, pid: Segment) -> Patient:
        return Patient(
            ids=tuple(extended(each) for each in pid[3].each() if each.text),
            names=tuple(
                Name(each.parts(1)[0], each.component(2), each.component(3))
                for each in pid[5].each()
                if each.parts(1)
            ),
            birth_date=read_moment(pid[7].text),
            sex=pid[8].text,
        )

    def _read_order(self, obr: Segment) -> Order:
        common = self.common
        return Order(
            placer=entity(obr[2]) or (entity(common[2]) if common else None),
            filler=entity(obr[3]) or (entity(common[3]) if common else None),
            test=coded(obr[4]),
            collected_at=read_moment(obr[7].text, self.offset),
            received_at=read_moment(obr[14].text, self.offset),
            changed_at=read_moment(obr[22].text, self.offset),
            status=obr[25].text,
            control=common[1].text if common else "",
            order_status=common[5].text if common else "",
            specimen_source=plain(obr[15]),
            parent_result=obr[26].components(),
            parent=obr[29].components() or obr[50].components(),
        )

    def _observation(self, obx: Segment) -> Observation:
        return Observation(
            set_id=obx[1].text,
            value_type=obx[2].text,
            test=coded(obx[3]),
            sub_id=plain(obx[4]),
            values=tuple(each.components() for each in obx[5].each()),
            unit=coded(obx[6]),
            range=plain(obx[7]),
            flags=tuple(each.text.strip() for each in obx[8].each() if each.text.strip()),
            status=obx[11].text.strip(),
            at=read_moment(obx[14].text, self.offset),
            method=tuple(coded(each) for each in obx[17].each()),
            lab=obx[23].component(1) or obx[15].component(2) or obx[15].component(1),
        )

    def _specimen(self, spm: Segment) -> Specimen:
        return Specimen(
            numbers=tuple(
                Identifier(parts[0], authority(parts[1:]))
                for each in spm[2].each()
                for parts in (each.parts(1), each.parts(2))
                if parts and parts[0]
            ),
            kind=coded(spm[4]),
            collected_at=read_moment(spm[17].parts(1)[0], self.offset) if spm[17] else None,
            received_at=read_moment(spm[18].text, self.offset),
        )
