"""Photos without what a camera writes beside the picture: place, time, owner, a small copy of the picture.

The picture is kept to the byte: nothing is decoded. What says how it is shown is kept too: its colours, and
which way up (EXIF orientation, the only thing that is written anew).

JPEG: ITU-T T.81 (markers), Exif 2.32 (CIPA DC-008). PNG: W3C, third edition (chunks, `eXIf`).
"""

from __future__ import annotations

import struct
import zlib
from collections.abc import Iterator
from typing import NamedTuple


class Unreadable(ValueError):
    """A picture whose parts cannot be told apart, so that nothing can be taken out. The message is a
    sentence."""


def without_metadata(content: bytes, kind: str) -> bytes:
    """The same picture without metadata, and without anything behind its end.

    Args:
        kind: `image/jpeg` or `image/png`; anything else is given back as it is.

    Raises:
        Unreadable: it is not built as its kind is.
    """
    try:
        if kind == "image/jpeg":
            return _jpeg(content)
        if kind == "image/png":
            return _png(content)
    except (struct.error, IndexError) as error:
        raise Unreadable(_DAMAGED) from error
    return content


_DAMAGED = "The picture is damaged or not whole: take the photo or the scan once more."

_SOI, _EOI, _SOS, _APP0, _APP1, _APP2, _APP14 = 0xD8, 0xD9, 0xDA, 0xE0, 0xE1, 0xE2, 0xEE
_ALONE = frozenset({0x01, *range(0xD0, 0xD8)})
"""Markers without a length: TEM and RST."""
_PICTURE = frozenset({*range(0xC0, 0xD0), *range(0xDA, 0xE0)}) - {0xC8}
"""Frames, tables, scans and restart intervals: without them there is no picture."""
_EXIF, _JFIF, _ICC, _ADOBE = b"Exif\0\0", b"JFIF\0", b"ICC_PROFILE\0", b"Adobe"
_JFIF_BYTES = 14
"""Of APP0 without the small copy of the picture that may follow."""


class _Segment(NamedTuple):
    """A marker, what follows its length, and the coded data behind a scan."""

    marker: int
    body: bytes
    coded: bytes


def _jpeg(content: bytes) -> bytes:
    if content[:2] != bytes((0xFF, _SOI)):
        raise Unreadable(_DAMAGED)
    front, picture, way_up = [], [], 1
    for segment in _segments(content):
        if segment.marker in _PICTURE:
            picture.append(_written(segment))
        elif segment.marker == _APP1 and segment.body.startswith(_EXIF) and way_up == 1:
            way_up = _orientation(segment.body[len(_EXIF) :])
        elif segment.marker == _APP0 and segment.body.startswith(_JFIF):
            plain = segment.body[: _JFIF_BYTES - 2] + b"\0\0"
            front.append(_written(_Segment(_APP0, plain, b"")))
        elif (segment.marker == _APP2 and segment.body.startswith(_ICC)) or (
            segment.marker == _APP14 and segment.body.startswith(_ADOBE)
        ):
            front.append(_written(segment))
    if way_up != 1:
        exif = _written(_Segment(_APP1, _EXIF + _exif(way_up), b""))
        # Readers look for JFIF first.
        front.insert(1 if front and front[0][1] == _APP0 else 0, exif)
    return b"".join((bytes((0xFF, _SOI)), *front, *picture, bytes((0xFF, _EOI))))


def _segments(content: bytes) -> Iterator[_Segment]:
    """Those from the start to the first end of a picture; what lies behind it is no part of it."""
    at, scans = 2, 0
    while True:
        if content[at] != 0xFF:
            raise Unreadable(_DAMAGED)
        while content[at] == 0xFF:
            at += 1
        marker = content[at]
        at += 1
        if marker == _EOI:
            if not scans:
                raise Unreadable(_DAMAGED)
            return
        if marker in _ALONE:
            continue
        (length,) = struct.unpack_from(">H", content, at)
        body = content[at + 2 : at + length]
        if length < 2 or len(body) != length - 2 or marker == _SOI:
            raise Unreadable(_DAMAGED)
        at += length
        coded = b""
        if marker == _SOS:
            scans += 1
            end = _end_of_coded(content, at)
            coded, at = content[at:end], end
        yield _Segment(marker, body, coded)


def _end_of_coded(content: bytes, at: int) -> int:
    """Where the next marker stands behind coded data: neither a stuffed 0xFF nor a restart."""
    while True:
        at = content.find(0xFF, at)
        if at < 0:
            raise Unreadable(_DAMAGED)
        after = content[at + 1]
        if after not in {0x00, *range(0xD0, 0xD8)}:
            return at
        at += 2


def _written(segment: _Segment) -> bytes:
    head = struct.pack(">BBH", 0xFF, segment.marker, len(segment.body) + 2)
    return head + segment.body + segment.coded


_SIGNATURE = b"\x89PNG\r\n\x1a\n"
_SHOWN = frozenset(
    (b"IHDR", b"PLTE", b"IDAT", b"IEND", b"tRNS", b"gAMA", b"cHRM", b"sRGB", b"iCCP", b"cICP", b"sBIT",
     b"bKGD", b"pHYs")
)  # fmt: skip
"""Chunks that make the picture and its colours."""


def _png(content: bytes) -> bytes:
    if not content.startswith(_SIGNATURE):
        raise Unreadable(_DAMAGED)
    kept: list[bytes] = []
    names: list[bytes] = []
    way_up, at = 1, len(_SIGNATURE)
    while b"IEND" not in names:
        (length,) = struct.unpack_from(">I", content, at)
        name, whole = content[at + 4 : at + 8], content[at : at + 12 + length]
        if len(whole) != 12 + length or (not names and name != b"IHDR"):
            raise Unreadable(_DAMAGED)
        names.append(name)
        at += len(whole)
        if name in _SHOWN:
            kept.append(whole)
        elif name == b"eXIf":
            way_up = _orientation(whole[8:-4])
    if b"IDAT" not in names:
        raise Unreadable(_DAMAGED)
    if way_up != 1:
        kept.insert(1, _chunk(b"eXIf", _exif(way_up)))
    return b"".join((_SIGNATURE, *kept))


def _chunk(name: bytes, body: bytes) -> bytes:
    return struct.pack(">I", len(body)) + name + body + struct.pack(">I", zlib.crc32(name + body))


_ORIENTATION, _SHORT = 0x0112, 3


def _orientation(exif: bytes) -> int:
    """Which way up a picture is shown, 1 to 8; 1, as it is, where EXIF data do not say or are damaged."""
    order = {b"II*\0": "<", b"MM\0*": ">"}.get(exif[:4])
    if order is None:
        return 1
    try:
        (at,) = struct.unpack_from(f"{order}I", exif, 4)
        (count,) = struct.unpack_from(f"{order}H", exif, at)
        for entry in range(count):
            tag, kind, many, value = struct.unpack_from(f"{order}HHIH", exif, at + 2 + 12 * entry)
            if (tag, kind, many) == (_ORIENTATION, _SHORT, 1):
                return int(value) if 1 <= value <= 8 else 1
    except struct.error:
        return 1
    return 1


def _exif(way_up: int) -> bytes:
    """EXIF data that say which way up, and nothing else."""
    return struct.pack(">4sIHHHIHHI", b"MM\0*", 8, 1, _ORIENTATION, _SHORT, 1, way_up, 0, 0)
