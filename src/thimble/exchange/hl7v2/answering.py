"""Acknowledgements: what a sender is answered, in the mode that it asks for.

Original mode (MSH-15 and MSH-16 empty): one answer, AA, AE or AR. Enhanced mode: MSH-15 says when
an accept acknowledgement (CA, CE, CR) is wanted, MSH-16 when an application acknowledgement.

AE: the sender must not send the same again, a person there has to act. AR: it may be sent again.

Source: HL7 v2 chapter 2 (from memory); tables 0008, 0155, 0357; segments MSA and ERR of 2.3.1 to
2.5.1.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum
from typing import Final

from thimble.exchange.hl7v2.decoding import BOM
from thimble.exchange.hl7v2.faults import Place

ERRORS: Final = {
    100: "Segment sequence error",
    101: "Required field missing",
    102: "Data type error",
    103: "Table value not found",
    104: "Value too long",
    198: "Non-conformant cardinality",
    199: "Other HL7 error",
    200: "Unsupported message type",
    201: "Unsupported event code",
    202: "Unsupported processing id",
    203: "Unsupported version id",
    204: "Unknown key identifier",
    205: "Duplicate key identifier",
    206: "Application record locked",
    207: "Application internal error",
}
"""Table 0357; 0 is "message accepted"."""

TABLE: Final = "HL70357"
ASSUMED_VERSION: Final = "2.5.1"
_LINE_END = re.compile(rb"[\r\n]")
_CONTROL = re.compile(r"[\x00-\x1f]")
_PLAIN = str.maketrans({"“": '"', "”": '"', "’": "'", "–": "-", "…": "..."})


class Verdict(StrEnum):
    """How a message was taken; the second letter of MSA-1."""

    ACCEPTED = "A"
    ERROR = "E"
    REJECTED = "R"


@dataclass(frozen=True, slots=True)
class Refusal:
    """Why a message is not accepted. `error` is a code of table 0357."""

    verdict: Verdict
    error: int
    reason: str
    place: Place | None = None


@dataclass(frozen=True, slots=True)
class Header:
    """The header (MSH or BHS) as its bytes stand, each byte one character; for answers alone."""

    separator: str
    fields: tuple[str, ...]

    def __getitem__(self, number: int) -> str:
        """Field `number` as written, from 2: the first is the separator."""
        return self.fields[number - 1] if 2 <= number <= len(self.fields) else ""

    def component(self, number: int, of: int = 1) -> str:
        parts = self[number].split(self.marks[0])
        return parts[of - 1].strip() if of <= len(parts) else ""

    @property
    def marks(self) -> str:
        """Component, repetition, escape and sub-component marks."""
        declared = self[2]
        return declared if len(declared) >= 4 else "^~\\&"

    @property
    def sender(self) -> str:
        """The sender's key: application and facility."""
        return f"{self[3]}|{self[4]}"

    @property
    def control_id(self) -> str:
        return self[10]


def header_of(raw: bytes, name: bytes = b"MSH") -> Header | None:
    """The header of this message or batch, read as far as an answer needs; None where none is."""
    start = raw[:65536].removeprefix(BOM).lstrip()
    # A control character belongs in no header and would break the frame of the answer.
    line = _CONTROL.sub("", _LINE_END.split(start, maxsplit=1)[0].decode("latin-1"))
    if not line.startswith(name.decode()) or len(line) < 5 or line[3].isalnum():
        return None
    return Header(line[3], tuple(line.split(line[3])))


def answers(
    header: Header | None,
    refusal: Refusal | None,
    *,
    at: datetime,
    control_id: str,
    unasked: bool = False,
) -> tuple[bytes, ...]:
    """The answers that this sender asked for, in the order in which they are to be sent.

    Args:
        header: of the message that is answered; None where it has none that can be read.
        refusal: None where the message was accepted, that is: durably stored.
        at: aware; the time of the answer.
        control_id: the answer's own, unique.
        unasked: whether one that never wants an answer (NE in both fields, or in one with the other
            empty) is answered as in original mode all the same: some such senders wait for it.
    """
    if header is None:
        return (_build(None, "A", refusal, at, control_id),)
    accept, application = header.component(15), header.component(16)
    silent = {accept, application} <= {"", "NE"}
    if (not accept and not application) or (silent and unasked):
        return (_build(header, "A", refusal, at, control_id),)
    built = []
    if _wanted(accept, refusal):
        built.append(_build(header, "C", refusal, at, f"{control_id}C"))
    if _wanted(application, refusal):
        built.append(_build(header, "A", refusal, at, control_id))
    return tuple(built)


def _wanted(condition: str, refusal: Refusal | None) -> bool:
    """Table 0155. In enhanced mode an empty field asks for nothing."""
    match condition:
        case "AL":
            return True
        case "ER":
            return refusal is not None
        case "SU":
            return refusal is None
        case _:
            return False


def batch_of(
    header: Header | None,
    built: tuple[bytes, ...],
    *,
    at: datetime,
    control_id: str,
    comment: str = "",
) -> bytes:
    """The answers to the messages of one batch as one batch; `header` is its BHS or FHS."""
    to = header or Header("|", ("BHS", "^~\\&"))
    s = to.separator
    head = s.join(
        ["BHS", to.marks, to[5], to[6], to[3], to[4], _time(at), "", "", "", control_id, to[11]]
    )
    tail = s.join(["BTS", str(len(built)), _escaped(comment, to)]).rstrip(s)
    return b"".join([_bytes(head), *built, _bytes(tail)])


def _build(
    header: Header | None, level: str, refusal: Refusal | None, at: datetime, control_id: str
) -> bytes:
    to = header or Header("|", ("MSH", "^~\\&"))
    s, c = to.separator, to.marks[0]
    version = to.component(12) or ASSUMED_VERSION
    later = _from_2_5(version)
    kind = f"ACK{c}R01{c}ACK" if later else "ACK"
    head = ["MSH", to.marks, to[5], to[6], to[3], to[4], _time(at), "", kind, control_id,
            to[11] or "P", to[12] or version, "", "", "", "", "", to[18]]  # fmt: skip
    code = level + (refusal.verdict if refusal else Verdict.ACCEPTED)
    taken = ["MSA", code, to.control_id]
    segments = [head, taken]
    if refusal:
        reason = _escaped(refusal.reason, to)
        if later:
            segments.append(_err(refusal, to, reason))
        else:
            taken.append(reason[:80])  # MSA-3 has 80 characters
            segments.append(_old_err(refusal, to))
    return b"".join(_bytes(s.join(segment).rstrip(s)) for segment in segments)


def _err(refusal: Refusal, to: Header, reason: str) -> list[str]:
    """ERR of 2.5 and later: location, code, severity; field 8 is the text for the user."""
    c = to.marks[0]
    code = c.join([str(refusal.error), ERRORS[refusal.error], TABLE])
    return ["ERR", "", c.join(_location(refusal.place)), code, "E", "", "", "", reason[:250]]


def _old_err(refusal: Refusal, to: Header) -> list[str]:
    """ERR up to 2.4: location and code in one field."""
    c, sub = to.marks[0], to.marks[3]
    code = sub.join([str(refusal.error), ERRORS[refusal.error], TABLE])
    location = [*_location(refusal.place), "", "", ""][:3]
    return ["ERR", c.join([*location, code])]


def _location(place: Place | None) -> list[str]:
    if place is None:
        return []
    told = [place.segment, str(place.sequence)]
    return [*told, str(place.field)] if place.field else told


def _from_2_5(version: str) -> bool:
    numbers = re.match(r"2\.(\d+)", version)
    return not numbers or int(numbers[1]) >= 5


def _time(at: datetime) -> str:
    return at.strftime("%Y%m%d%H%M%S%z")[:19]


def _escaped(text: str, to: Header) -> str:
    """Our own sentence in letters of every character set, its delimiters escaped."""
    plain = text.translate(_PLAIN).encode("ascii", "replace").decode("ascii")
    component, repetition, escape, subcomponent = tuple(to.marks[:4])
    names = {escape: "E", to.separator: "F", component: "S", repetition: "R", subcomponent: "T"}
    return "".join(
        f"{escape}{names[letter]}{escape}" if letter in names else letter
        for letter in " ".join(plain.split())
    )


def _bytes(segment: str) -> bytes:
    return segment.encode("latin-1") + b"\r"
