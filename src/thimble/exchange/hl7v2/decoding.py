"""From bytes to text: character sets, batches, line ends.

Nothing is ever replaced: bytes that do not fit their character set are refused.

Sources: HL7 v2 table 0211 (character sets); chapter 2 (batches: FHS BHS {messages} BTS FTS, the
count of messages in BTS-1; from memory).
"""

from __future__ import annotations

import re
from dataclasses import dataclass, replace
from typing import Final

from thimble.exchange.hl7v2.faults import Place, Undecodable

CHARACTER_SETS: Final = {
    "ASCII": "ascii",
    **{f"8859/{part}": f"iso8859-{part}" for part in (*range(1, 10), 15)},
    "UNICODE UTF-8": "utf-8",
    "UTF-8": "utf-8",  # not in the table, but sent
    "GB 18030-2000": "gb18030",
    "BIG-5": "big5",
}
"""Names of table 0211 that are understood, and what Python calls them."""

SINGLE_BYTE: Final = tuple(name for name in CHARACTER_SETS if name.startswith("8859/"))
"""What a site may name for senders that do not say what they send."""

BOM: Final = b"\xef\xbb\xbf"
_LINE = re.compile(rb"\r\n|\r|\n")
_SEGMENT = re.compile(r"[A-Z][A-Z0-9]{2}(?![^\W_])")
_ENVELOPE = (b"FHS", b"BHS", b"BTS", b"FTS")


@dataclass(frozen=True, slots=True)
class Decoded:
    """Text with a carriage return after each segment but the last, and what it was decoded with."""

    text: str
    encoding: str


@dataclass(frozen=True, slots=True)
class Batch:
    """The messages of one frame, as bytes.

    `fault` is a sentence where the envelope does not agree with what is in it: a message may be
    missing, or the batch cut short.
    """

    messages: tuple[bytes, ...]
    enveloped: bool = False
    header: bytes = b""
    fault: str = ""


def split_batch(raw: bytes) -> Batch:
    """Take a frame apart. A frame without a batch is a batch of one message: all of it."""
    begin = raw.removeprefix(BOM).lstrip()
    if not begin.startswith((b"FHS", b"BHS")):
        several = _bodies(raw) if begin.startswith(b"MSH") else ()
        return Batch(several if len(several) > 1 else (raw,))
    batch = Batch(_bodies(raw), enveloped=True, header=_first(raw, b"BHS") or _first(raw, b"FHS"))
    return replace(batch, fault=_miscounted(raw, len(batch.messages)))


def _bodies(raw: bytes) -> tuple[bytes, ...]:
    """From each MSH up to the next, or to a segment of the envelope."""
    starts = [0, *(match.end() for match in _LINE.finditer(raw))]
    starts[0] = len(raw) - len(raw.removeprefix(BOM).lstrip())
    cuts = [at for at in starts if raw.startswith((b"MSH", *_ENVELOPE), at)]
    return tuple(
        raw[at:end]
        for at, end in zip(cuts, [*cuts[1:], len(raw)], strict=True)
        if raw.startswith(b"MSH", at)
    )


def _first(raw: bytes, name: bytes) -> bytes:
    """The first line that starts with this name."""
    lines = (line for line in _LINE.split(raw.removeprefix(BOM)) if line.startswith(name))
    return next(lines, b"")


def _miscounted(raw: bytes, arrived: int) -> str:
    lines = _LINE.split(raw.removeprefix(BOM).lstrip())
    names = [line[:3] for line in lines if line[:3] in _ENVELOPE]
    for head, end in ((b"BHS", b"BTS"), (b"FHS", b"FTS")):
        if names.count(head) != names.count(end):
            return (
                f"The batch has {names.count(head)} {head.decode()} and {names.count(end)} "
                f"{end.decode()}; it may have been cut short. Ask the sender what is missing."
            )
    counted = [_count(line) for line in lines if line.startswith(b"BTS")]
    if None in counted:
        return "The count in BTS-1 is not a number. Ask the sender how many messages there were."
    told = [number for number in counted if number is not None and number >= 0]
    if told and len(told) == len(counted) and sum(told) != arrived:
        return (
            f"BTS-1 says {sum(told)} messages and {arrived} arrived. "
            "Ask the sender what is missing."
        )
    return ""


def _count(trailer: bytes) -> int | None:
    """BTS-1; -1 where it says nothing, None where it is no number."""
    field = trailer[4:].split(trailer[3:4] or b"|")[0].strip()
    if not field:
        return -1
    return int(field) if field.isdigit() and len(field) < 10 else None


def is_utf_16(raw: bytes) -> bool:
    """Whether a message begins as one in UTF-16 does, with or without its mark."""
    begin = raw.lstrip(b"\r\n \0")[:8]
    return begin.startswith((b"\xff\xfe", b"\xfe\xff", b"M\0S\0H"))


def decode(raw: bytes, single_byte: str | None = None) -> Decoded:
    """Text of one message: by MSH-18 if it is known, else UTF-8, else the site's own set.

    Args:
        raw: one message, with or without a byte order mark, with any line ends.
        single_byte: one of `SINGLE_BYTE`, or None where the site names none.

    Raises:
        Undecodable: a byte does not fit; the message says which and where.
    """
    raw = raw.removeprefix(BOM)
    named = _named(raw)
    tried = [named] if named else ["utf-8", *([CHARACTER_SETS[single_byte]] if single_byte else [])]
    for encoding in tried:
        try:
            return Decoded(_one_line_end(raw.decode(encoding)), encoding)
        except UnicodeDecodeError as error:
            at = error.start
    said = f"MSH-18 says {named}" if named else "MSH-18 names no known character set"
    raise Undecodable(
        f"{said}, but byte {at + 1} of the message (0x{raw[at]:02X}) is not in "
        f"{' or '.join(tried)}. Ask the sender which character set it uses.",
        Place("MSH", 1, 18),
    )


def _named(raw: bytes) -> str | None:
    """What MSH-18 names, in Python's name; the first repetition that is known."""
    line = _LINE.split(raw.lstrip(), maxsplit=1)[0]
    if line[:3] != b"MSH" or len(line) < 5:
        return None
    fields = line.split(line[3:4])
    if len(fields) < 18:
        return None
    for name in fields[17].split(line[5:6] or b"~"):
        known = CHARACTER_SETS.get(name.decode("latin-1").strip().upper())
        if known:
            return known
    return None


def _one_line_end(text: str) -> str:
    """A carriage return between segments.

    A lone line feed ends a segment where a segment follows; in a message that otherwise uses
    carriage returns it may be a line break inside a text.
    """
    text = text.replace("\r\n", "\r")
    if "\n" in text:
        returns = "\r" in text.strip()
        head, *rest = text.split("\n")
        for line in rest:
            inside = returns and line and not _SEGMENT.match(line)
            head += ("\n" if inside else "\r") + line
        text = head
    return "\r".join(line for line in text.split("\r") if line.strip(" \t\n\0"))
