"""Frames of the minimal lower layer protocol, cut from a stream of bytes: 0x0B, message, 0x1C 0x0D.

What a stream yields does not depend on how the network cut it into pieces.

Source: HL7 International, Transport Specification: MLLP, Release 1.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from enum import StrEnum
from typing import Final

START: Final = b"\x0b"
END: Final = b"\x1c\r"
DEFAULT_LIMIT: Final = 16 * 1024 * 1024
"""Bytes of one message. A report with an embedded document has several million."""
HEAD: Final = 4096
"""How much of a message that is too long is kept, so that its sender can be told."""

# A sender that broke off and began again: a start byte can stand in no message, but only one that
# a header follows is taken for a start.
_AGAIN = re.compile(rb"\x0b(?=MSH|FHS|BHS)")
_BETWEEN = b"\r\n"  # many senders end a line after the frame; nobody needs to hear of it


class Trouble(StrEnum):
    """What is wrong with the stream."""

    JUNK = "junk"  # bytes outside a frame
    UNFINISHED = "unfinished"  # a frame without an end
    TOO_LONG = "too_long"  # a frame above the limit; nothing after it is read


@dataclass(frozen=True, slots=True)
class Frame:
    """One message as it came, without the bytes around it."""

    content: bytes
    whole: bool = True
    """Whether both bytes of the end came; the last one is forgotten by some senders."""


@dataclass(frozen=True, slots=True)
class Fault:
    """Bytes that are no frame: how many, and the head of a message that was too long."""

    trouble: Trouble
    count: int
    head: bytes = b""


class Frames:
    """Takes a stream piece by piece and gives the frames in it.

    Args:
        limit: the most bytes that one message may have.
    """

    def __init__(self, limit: int = DEFAULT_LIMIT) -> None:
        if limit < 1:
            raise ValueError(f"limit must be 1 byte or more; got {limit}")
        self._limit = limit
        self._buffer = bytearray()
        self._seen = 0  # up to here the buffer holds no end
        self._inside = False
        self._junk = 0
        self._closed = False

    @property
    def inside(self) -> bool:
        """Whether a frame has begun and not ended."""
        return self._inside

    @property
    def awaits_last_byte(self) -> bool:
        """Whether only the carriage return is missing: after a short wait, `finish`."""
        return self._inside and self._buffer.endswith(END[:1])

    @property
    def held(self) -> int:
        """Bytes kept in memory."""
        return len(self._buffer)

    @property
    def junk(self) -> int:
        """Bytes outside frames since the last frame began."""
        return self._junk

    @property
    def closed(self) -> bool:
        """Whether a message was too long: the stream cannot be understood any further."""
        return self._closed

    def feed(self, data: bytes) -> list[Frame | Fault]:
        """The frames and faults that these bytes complete, in order."""
        if self._closed:
            return []
        self._buffer += data
        found: list[Frame | Fault] = []
        while self._step(found):
            pass
        return found

    def finish(self) -> list[Frame | Fault]:
        """The stream has ended, or the sender has been silent for too long."""
        found: list[Frame | Fault] = []
        if self._inside:
            if self.awaits_last_byte:
                self._complete(bytes(self._buffer[:-1]), found, whole=False)
            elif not self._closed:
                found.append(Fault(Trouble.UNFINISHED, len(self._buffer)))
        self._tell_junk(found)
        self._buffer.clear()
        self._inside, self._seen = False, 0
        return found

    def _step(self, found: list[Frame | Fault]) -> bool:
        """Take one thing from the buffer; whether there may be more."""
        return self._take(found) if self._inside else self._begin(found)

    def _begin(self, found: list[Frame | Fault]) -> bool:
        start = self._buffer.find(START)
        before = self._buffer[: start if start >= 0 else None]
        self._junk += len(before.translate(None, _BETWEEN))
        if start < 0:
            self._buffer.clear()
            return False
        del self._buffer[: start + 1]
        self._tell_junk(found)
        self._inside, self._seen = True, 0
        return True

    def _take(self, found: list[Frame | Fault]) -> bool:
        end = self._buffer.find(END[:1], self._seen)
        while 0 <= end <= self._limit:
            after = self._buffer[end + 1 : end + 2]
            if not after:
                self._seen = end
                return False
            if after in (END[1:], START):
                content = bytes(self._buffer[:end])
                whole = after == END[1:]
                del self._buffer[: end + (2 if whole else 1)]
                self._inside = False
                self._complete(content, found, whole=whole)
                return True
            end = self._buffer.find(END[:1], end + 1)
        if end > self._limit or len(self._buffer) > self._limit:
            head = bytes(self._buffer[: min(HEAD, self._limit)])
            found.append(Fault(Trouble.TOO_LONG, self._limit, head))
            self._closed = True
            self._buffer.clear()
            self._inside = False
            return False
        self._seen = len(self._buffer)
        return False

    def _complete(self, content: bytes, found: list[Frame | Fault], *, whole: bool) -> None:
        start = 0
        for again in _AGAIN.finditer(content):
            found.append(Fault(Trouble.UNFINISHED, again.start() - start))
            start = again.end()
        found.append(Frame(content[start:], whole))

    def _tell_junk(self, found: list[Frame | Fault]) -> None:
        if self._junk:
            found.append(Fault(Trouble.JUNK, self._junk))
            self._junk = 0


def framed(content: bytes) -> bytes:
    """This message in a frame.

    >>> framed(b"MSH")
    b'\\x0bMSH\\x1c\\r'
    """
    return START + content + END
