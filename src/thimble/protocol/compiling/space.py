"""The space of situations: each fact cut into cells within which no rule can tell values apart.

A code's cells are its values. A number is cut at every threshold that occurs in any test on it: with
thresholds t1 < t2 the cells are below t1, t1 itself, between, t2 itself, above t2. A member of a set
fact has the cells `no` and `yes`. Every question about a table (what fires, is it complete, what is
still possible) is then a question about finitely many cells.
"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal

from ..feel import UnaryTest
from ..vocabulary import MEMBER_CELLS, Fact, Value

TOLERANCE = 1e-9
"""Computer arithmetic gives 60.00000000000001; a number this near to a threshold is the threshold."""


@dataclass(frozen=True, slots=True)
class Axis:
    """One column of the space: a fact, or a member of a set fact (`worker_medicines.metformin`).

    `cells` are words for the cells, `exists` says which can occur (a cell outside the fact's own
    range cannot).
    """

    id: str
    fact: Fact
    member: str
    cells: tuple[str, ...]
    exists: tuple[bool, ...]
    cuts: tuple[float, ...] = ()
    samples: tuple[Decimal, ...] = ()

    def cell_of(self, value: Value) -> int:
        """The cell that a checked value of the fact falls in."""
        if isinstance(value, frozenset):
            return int(self.member in value)
        if isinstance(value, str):
            return self.cells.index(value)
        at = bisect_left(self.cuts, value - TOLERANCE)
        if at < len(self.cuts) and abs(self.cuts[at] - value) <= TOLERANCE:
            return 2 * at + 1
        return 2 * at

    def accepted(self, test: UnaryTest) -> tuple[bool, ...]:
        """For each cell, whether the test accepts every value in it."""
        if self.fact.kind == "number":
            return tuple(test.accepts_number(sample) for sample in self.samples)
        return tuple(test.accepts_code(cell) for cell in self.cells)

    def words(self, cells: Sequence[int]) -> str:
        """A set of cells in words, neighbouring number cells joined: `[10..100) mIU/mL`."""
        if self.fact.kind != "number":
            return " or ".join(self.cells[c] for c in cells)
        unit = f" {self.fact.unit}" if self.fact.unit else ""
        return " or ".join(self._stretch(a, b) + unit for a, b in _runs(sorted(cells)))

    def _stretch(self, first: int, last: int) -> str:
        """Cells first..last as one comparison or range."""
        low = self.cuts[(first - 1) // 2] if first > 0 else None
        high = self.cuts[last // 2] if last < len(self.cells) - 1 else None
        low_closed, high_closed = first % 2 == 1, last % 2 == 1
        if low is not None and low == high:
            return f"{low:g}"
        # An end at the fact's own limit is no limit to speak of.
        if low is not None and low_closed and low <= self.fact.low:
            low = None
        if high is not None and high_closed and high >= self.fact.high:
            high = None
        if low is None:
            return "any" if high is None else f"{'<=' if high_closed else '<'} {high:g}"
        if high is None:
            return f"{'>=' if low_closed else '>'} {low:g}"
        return f"{'[' if low_closed else '('}{low:g}..{high:g}{']' if high_closed else ')'}"


def axis_for(column: str, fact: Fact, tests: Sequence[UnaryTest]) -> Axis:
    """The axis of `column`, cut at the thresholds of `tests`."""
    if fact.kind == "set":
        member = column.partition(".")[2]
        return Axis(column, fact, member, MEMBER_CELLS, (True, True))
    if fact.kind == "code":
        return Axis(column, fact, "", fact.values, (True,) * len(fact.values))
    cuts = sorted({cut for test in tests for cut in test.cuts})
    samples: list[Decimal] = []
    for at, cut in enumerate(cuts):
        samples.append(cut - 1 if at == 0 else (cuts[at - 1] + cut) / 2)
        samples.append(cut)
    samples.append(cuts[-1] + 1 if cuts else Decimal(0))
    exists = []
    for cell in range(len(samples)):
        below = cuts[cell // 2] if cell // 2 < len(cuts) else None
        above = cuts[(cell - 1) // 2] if cell > 0 else None
        if cell % 2:
            exists.append(fact.low <= float(cuts[cell // 2]) <= fact.high)
        else:
            exists.append(
                (below is None or float(below) > fact.low)
                and (above is None or float(above) < fact.high)
            )
    axis = Axis(
        column,
        fact,
        "",
        tuple(str(n) for n in range(len(samples))),
        tuple(exists),
        tuple(float(cut) for cut in cuts),
        tuple(samples),
    )
    words = tuple(axis.words([cell]) for cell in range(len(samples)))
    return Axis(column, fact, "", words, axis.exists, axis.cuts, axis.samples)


def _runs(cells: Sequence[int]) -> list[tuple[int, int]]:
    runs: list[tuple[int, int]] = []
    for cell in cells:
        if runs and runs[-1][1] == cell - 1:
            runs[-1] = (runs[-1][0], cell)
        else:
            runs.append((cell, cell))
    return runs
