"""Text of one message to segments and fields. The only module that knows the library that splits.

The library splits at the declared delimiters and nothing more is asked of it: its character sets,
batches, line ends, escapes, acknowledgements and server are not used (docs/exchange.md says why).
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any, Final

import hl7

from thimble.exchange.hl7v2.decoding import Decoded
from thimble.exchange.hl7v2.escapes import Delimiters, unescape
from thimble.exchange.hl7v2.faults import Place, Unreadable

NULL: Final = '""'
"""What a sender writes to say: delete what you have stored."""

_NAME = re.compile(r"[A-Z][A-Z0-9]{2}")
_NO_DELIMITER = re.compile(r"[\w\s\0]")


@dataclass(frozen=True, slots=True)
class Field:
    """Repetitions, components, sub-components; empty where nothing was said."""

    repetitions: tuple[tuple[tuple[str, ...], ...], ...] = ()
    subcomponent: str = "&"

    def __bool__(self) -> bool:
        return bool(self.repetitions)

    @property
    def text(self) -> str:
        """The first component of the first repetition."""
        return self.component(1)

    def component(self, number: int, repetition: int = 1) -> str:
        """Component `number` (from 1), its sub-components put together again."""
        parts = self.parts(number, repetition)
        return self.subcomponent.join(parts)

    def parts(self, number: int, repetition: int = 1) -> tuple[str, ...]:
        """The sub-components of one component; none where it is absent."""
        if repetition > len(self.repetitions):
            return ()
        components = self.repetitions[repetition - 1]
        return components[number - 1] if number <= len(components) else ()

    def components(self, repetition: int = 1) -> tuple[str, ...]:
        """All components of one repetition, without empty ones at the end."""
        if repetition > len(self.repetitions):
            return ()
        joined = [self.subcomponent.join(parts) for parts in self.repetitions[repetition - 1]]
        while joined and not joined[-1]:
            joined.pop()
        return tuple(joined)

    def each(self) -> Iterator[Field]:
        """Each repetition as a field of its own."""
        return (Field((one,), self.subcomponent) for one in self.repetitions)


EMPTY: Final = Field()


class Segment:
    """One segment: its name, and which of that name it is (from 1). Fields are read when asked for."""

    __slots__ = ("_encoding", "_marks", "_parsed", "name", "sequence")

    def __init__(
        self, name: str, sequence: int, parsed: Any, marks: Delimiters, encoding: str
    ) -> None:
        self.name, self.sequence = name, sequence
        self._parsed, self._marks, self._encoding = parsed, marks, encoding

    def __getitem__(self, number: int) -> Field:
        """Field `number`, from 1 as the standard counts; empty where it is absent.

        The first two of MSH are the delimiters themselves; they are not for here.
        """
        if number >= len(self._parsed):
            return EMPTY
        return _field(self._parsed[number], self._marks, self._encoding)

    def place(self, field: int = 0) -> Place:
        """Where this is, for an answer."""
        return Place(self.name, self.sequence, field)


def delimiters_of(text: str) -> Delimiters:
    """What the header declares.

    Raises:
        Unreadable: there is no header, or its delimiters are not four (or five) different marks.
    """
    if not text.startswith("MSH"):
        raise Unreadable(
            "The message does not begin with MSH. Ask the sender to send whole messages.",
            Place("MSH"),
        )
    field = text[3:4]
    marks = text[4:].split(field, 1)[0] if field else ""
    declared = field + marks
    # The fifth mark is the one for cut-off texts, of version 2.7.
    if (
        len(marks) not in (4, 5)
        or len(set(declared)) != len(declared)
        or _NO_DELIMITER.search(declared)
    ):
        raise Unreadable(
            "MSH-1 and MSH-2 do not declare the delimiters: four different marks, as in |^~\\&.",
            Place("MSH", 1, 2),
        )
    return Delimiters(field, marks[0], marks[1], marks[2], marks[3])


def split(decoded: Decoded, wanted: Mapping[str, frozenset[int]]) -> tuple[Segment, ...]:
    """The segments of one message, escapes undone when a field is read.

    Args:
        decoded: one message.
        wanted: of each segment the numbers of the fields that will be read. The library is slow,
            and most of a message are fields that nobody reads: it is not given those.

    Raises:
        Unreadable: the delimiters are not declared, or a line is not a segment.
    """
    marks = delimiters_of(decoded.text)
    lines = decoded.text.split("\r")
    for number, line in enumerate(lines, 1):
        if not _NAME.fullmatch(line[:3]) or line[3:4] not in ("", marks.field):
            raise Unreadable(
                f"Line {number} is not a segment. A line break inside a text must be escaped; "
                "ask the sender.",
            )
        if number > 1 and line.startswith("MSH"):
            raise Unreadable(f"A second header begins in line {number}.", Place("MSH", 2))
    # The library trims white space at both ends, and Python counts 0x1C to 0x1F and the no-break
    # space as white space. A last segment of our own keeps what stands at the end of the last value.
    read = [_only(line, wanted.get(line[:3], frozenset()), marks) for line in lines]
    parsed = hl7.parse("\r".join([*read, "ZZZ" + marks.field]))
    seen: Counter[str] = Counter()
    segments = []
    for line, fields in zip(lines, parsed, strict=False):
        name = line[:3]
        seen[name] += 1
        segments.append(Segment(name, seen[name], fields, marks, decoded.encoding))
    return tuple(segments)


def _only(line: str, wanted: frozenset[int], marks: Delimiters) -> str:
    """This line with the fields that are wanted, and none after the last of them."""
    if line.startswith("MSH"):
        return line
    last = max(wanted, default=0)
    fields = line.split(marks.field, last + 1)[: last + 1]
    return marks.field.join(
        field if number in wanted or number == 0 else "" for number, field in enumerate(fields)
    )


def _field(container: Any, marks: Delimiters, encoding: str) -> Field:
    """The library nests only as deep as there are delimiters: texts stand at any level."""
    if list(container) in ([], [""]):
        return EMPTY
    repetitions = tuple(
        tuple(
            tuple(unescape(part, marks, encoding) for part in _children(component))
            for component in _children(repetition)
        )
        for repetition in _children(container)
    )
    return Field(repetitions, marks.subcomponent)


def _children(node: Any) -> list[Any]:
    """What is below; an empty list there stands for one empty text."""
    return [node] if isinstance(node, str) else (list(node) or [""])
