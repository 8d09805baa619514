"""The numbered marks of events: those that would cover each other are one mark."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from thimble.web.timeline.scales import Scale, Size
from thimble.web.timeline.svg import LETTER

MARK_TEXT = 0.92
"""The size of a number in its mark, as a share of the small words."""


@dataclass(frozen=True, slots=True)
class Mark:
    """One mark for events that stand close together: their numbers, and where it is drawn."""

    numbers: tuple[int, ...]
    first: float
    last: float
    left: float
    width: float

    @property
    def label(self) -> str:
        """The numbers, runs of them as "3–9"."""
        return numbers_in_words(self.numbers)

    @classmethod
    def of(
        cls, numbers: tuple[int, ...], first: float, last: float, scale: Scale, size: Size
    ) -> Mark:
        """A mark in the middle of its events, inside the picture."""
        least = size.small * 0.72 * 2
        label = numbers_in_words(numbers)
        long = len(label) * size.small * MARK_TEXT * LETTER + size.small * 0.9
        width = least if len(label) <= 2 else max(least, long)
        left = min(max((first + last - width) / 2, scale.left), scale.right - width)
        return cls(numbers, first, last, left, width)


def marks(places: Sequence[tuple[int, float]], scale: Scale, size: Size) -> list[Mark]:
    """Marks from left to right, none over another. `places` are numbers and where they stand."""
    found: list[Mark] = []
    for number, x in places:
        mark = Mark.of((number,), x, x, scale, size)
        while found and found[-1].left + found[-1].width + 2 > mark.left:
            before = found.pop()
            numbers = before.numbers + mark.numbers
            mark = Mark.of(numbers, before.first, mark.last, scale, size)
        found.append(mark)
    return found


def numbers_in_words(numbers: Sequence[int]) -> str:
    """Ascending numbers, with a dash for what follows on: "1, 3–9"; two in a row are named both.

    >>> numbers_in_words((1, 3, 4, 5, 8, 9))
    '1, 3–5, 8, 9'
    """
    runs: list[list[int]] = []
    for number in numbers:
        if runs and number == runs[-1][-1] + 1:
            runs[-1].append(number)
        else:
            runs.append([number])
    return ", ".join(
        f"{run[0]}–{run[-1]}" if len(run) > 2 else ", ".join(str(number) for number in run)
        for run in runs
    )
