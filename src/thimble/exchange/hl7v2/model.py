"""A laboratory message in our own words: frozen values, nothing interpreted yet.

Texts are the sender's, escapes undone. What was not said is an empty text, an empty tuple or None;
`""` (the sender asks to delete what was stored) stands as those two quotation marks.

Source: HL7 v2.3.1 to 2.5.1, segments and fields of ORU^R01.
"""

from __future__ import annotations

from dataclasses import dataclass

from thimble.exchange.hl7v2.moments import Moment


@dataclass(frozen=True, slots=True)
class Sender:
    """Who sends: application (MSH-3) and facility (MSH-4), each as written."""

    application: str
    facility: str

    @property
    def key(self) -> str:
        return f"{self.application}|{self.facility}"


@dataclass(frozen=True, slots=True)
class Identifier:
    """A number and who gave it; for people also its type (table 0203: MR, PI, EI, SS …)."""

    id: str
    authority: str = ""
    type: str = ""


@dataclass(frozen=True, slots=True)
class Code:
    """A code, the text beside it and the system that it is from."""

    code: str
    text: str = ""
    system: str = ""


@dataclass(frozen=True, slots=True)
class Coded:
    """One meaning, coded once or twice, and the words it was coded from."""

    codes: tuple[Code, ...] = ()
    original: str = ""

    def __bool__(self) -> bool:
        return bool(self.codes or self.original)

    @property
    def texts(self) -> tuple[str, ...]:
        """Every text that says what is meant."""
        return tuple(text for text in (*(code.text for code in self.codes), self.original) if text)


@dataclass(frozen=True, slots=True)
class Name:
    """A person's name."""

    family: str
    given: str = ""
    further: str = ""


@dataclass(frozen=True, slots=True)
class Note:
    """A comment: its source (table 0105: L laboratory, P placer, O other) and its lines. Shown only."""

    source: str
    lines: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Observation:
    """One row of results (OBX).

    `values` holds the repetitions of OBX-5, each its components; `field_count` how many fields
    the segment has, to tell a shifted row.
    """

    set_id: str
    value_type: str
    test: Coded
    sub_id: str
    values: tuple[tuple[str, ...], ...]
    unit: Coded
    range: str
    flags: tuple[str, ...]
    status: str
    at: Moment | None
    method: tuple[Coded, ...]
    lab: str
    notes: tuple[Note, ...] = ()

    @property
    def words(self) -> str:
        """The sender's own words, to show beside any reading."""
        value = " ~ ".join(" ".join(part for part in each if part) for each in self.values)
        unit = self.unit.original or next((code.code for code in self.unit.codes), "")
        return f"{value} {unit}".strip()


@dataclass(frozen=True, slots=True)
class Specimen:
    """The material: its numbers (SPM-2: placer's and filler's), kind, when taken and received.

    Its observations describe the material and are no results.
    """

    numbers: tuple[Identifier, ...]
    kind: Coded
    collected_at: Moment | None
    received_at: Moment | None
    observations: tuple[Observation, ...] = ()


@dataclass(frozen=True, slots=True)
class Order:
    """One order (ORC, OBR) with its results.

    Numbers are OBR-2 and OBR-3, where those are empty ORC-2 and ORC-3. `status` is OBR-25
    (table 0123), `control` ORC-1 and `order_status` ORC-5.
    """

    placer: Identifier | None
    filler: Identifier | None
    test: Coded
    collected_at: Moment | None
    received_at: Moment | None
    changed_at: Moment | None
    status: str
    control: str = ""
    order_status: str = ""
    specimen_source: str = ""
    parent_result: tuple[str, ...] = ()
    parent: tuple[str, ...] = ()
    observations: tuple[Observation, ...] = ()
    specimens: tuple[Specimen, ...] = ()
    notes: tuple[Note, ...] = ()

    @property
    def specimen_numbers(self) -> tuple[Identifier, ...]:
        """Every number of the material of this order, without repeats."""
        numbers = [number for specimen in self.specimens for number in specimen.numbers]
        return tuple(dict.fromkeys(numbers))


@dataclass(frozen=True, slots=True)
class Patient:
    """Whose results these are, as the sender says; all fields may be empty."""

    ids: tuple[Identifier, ...]
    names: tuple[Name, ...]
    birth_date: Moment | None
    sex: str
    visit: str = ""
    orders: tuple[Order, ...] = ()
    notes: tuple[Note, ...] = ()


@dataclass(frozen=True, slots=True)
class Message:
    """One message of results. It may hold several patients.

    `notes` are those below a segment that is not read.
    """

    sender: Sender
    control_id: str
    version: str
    processing_id: str
    at: Moment | None
    encoding: str
    patients: tuple[Patient, ...]
    notes: tuple[Note, ...] = ()
