"""Small random protocols, and a plain evaluation of them that shares no code with the engine.

Facts are codes, numbers and sets; tables feed tables; some situations cannot be. `brute` enumerates
every completion over representative values: each code, each subset, each threshold, points between the
thresholds and beyond them.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from datetime import date
from typing import Any

from hypothesis import strategies as st

from thimble.protocol import Fact, Protocol, Value, Vocabulary
from thimble.protocol.feel import UnaryTest, parse_codes, parse_numbers
from thimble.protocol.model import Impossible, Manifest, Output, Rule, Table

FACTS = (
    Fact("colour", "code", "?", ("red", "green", "blue")),
    Fact("size", "code", "?", ("small", "large")),
    Fact("heat", "number", "?", unit="K", low=0, high=10),
    Fact("load", "number", "?", unit="kg", low=-5),
    Fact("parts", "set", "?", ("bolt", "nut")),
)
OUTCOMES = ("o1", "o2", "o3")


@dataclass(frozen=True)
class Cell:
    """A test: any; some codes; or a stretch of numbers (low, closed, high, closed); or its negation."""

    codes: tuple[str, ...] = ()
    stretches: tuple[tuple[float | None, bool, float | None, bool], ...] = ()
    negated: bool = False

    @property
    def any(self) -> bool:
        return not self.codes and not self.stretches

    def holds(self, value: object) -> bool:
        if self.any:
            return True
        if self.codes:
            return (value in self.codes) != self.negated
        assert isinstance(value, float)
        inside = any(
            (low is None or value > low or (low_in and value == low))
            and (high is None or value < high or (high_in and value == high))
            for low, low_in, high, high_in in self.stretches
        )
        return inside != self.negated

    def text(self) -> str:
        if self.any:
            return "-"
        body = ", ".join(self.codes or (_stretch(*s) for s in self.stretches))
        return f"not({body})" if self.negated else body


def _stretch(low: float | None, low_in: bool, high: float | None, high_in: bool) -> str:
    if low is None:
        return f"{'<=' if high_in else '<'} {high}"
    if high is None:
        return f"{'>=' if low_in else '>'} {low}"
    if low == high:
        return f"{low}"
    return f"{'[' if low_in else '('}{low}..{high}{']' if high_in else ')'}"


@dataclass(frozen=True)
class Sheet:
    """A table: a UNIQUE one decides its own id; a COLLECT one gives items (its last column)."""

    id: str
    unique: bool
    inputs: tuple[str, ...]
    rules: tuple[tuple[tuple[Cell, ...], str], ...]


@dataclass(frozen=True)
class Spec:
    facts: tuple[Fact, ...]
    sheets: tuple[Sheet, ...]
    impossible: tuple[Mapping[str, Cell], ...] = ()
    fact_order: Mapping[str, tuple[tuple[str, ...], ...]] = field(default_factory=dict)
    outcome_order: tuple[tuple[str, ...], ...] = ()

    # -- for the engine ---------------------------------------------------------------------

    def protocol(self) -> Protocol:
        vocabulary = Vocabulary({fact.id: fact for fact in self.facts})
        tables = tuple(self._table(sheet, vocabulary) for sheet in self.sheets)
        return Protocol(
            Manifest(
                id="random", title="-", jurisdiction="-", edition="1",
                in_force_from=date(2026, 1, 1), note="", sources={"S": "-"},
                outputs={sheet.id: Output(sheet.id, OUTCOMES) for sheet in self.sheets},
                tables=tables,
                amounts=(),
                named_actions={},
        share_within="",
                impossible=tuple(
                    Impossible({c: _parse(c, cell, vocabulary) for c, cell in box.items()}, "why")
                    for box in self.impossible
                ),
                fact_order=self.fact_order,
                outcome_order={s.id: self.outcome_order for s in self.sheets if s.unique}
                if self.outcome_order
                else {},
                cases=(), digest="",
            ),
            vocabulary,
        )  # fmt: skip

    def _table(self, sheet: Sheet, vocabulary: Vocabulary) -> Table:
        rules = tuple(
            Rule(
                f"{sheet.id}-{n}",
                n + 2,
                tuple(
                    _parse(column, cell, vocabulary)
                    for column, cell in zip(sheet.inputs, cells, strict=True)
                ),
                {sheet.id: outcome},
                "S: 1",
                "read",
                "",
            )
            for n, (cells, outcome) in enumerate(sheet.rules)
        )
        return Table(
            id=sheet.id,
            file=f"{sheet.id}.csv",
            hit_policy="UNIQUE" if sheet.unique else "COLLECT",
            role="decision" if sheet.unique else "reasons",
            question="?",
            inputs=sheet.inputs,
            outputs=(sheet.id,),
            rules=rules,
            decides=(sheet.id,) if sheet.unique else (),
            key="",
            clock_stops_with="",
        )

    # -- by brute force ---------------------------------------------------------------------

    def columns(self) -> list[str]:
        return [
            column
            for fact in self.facts
            for column in (
                [f"{fact.id}.{m}" for m in fact.values] if fact.kind == "set" else [fact.id]
            )
        ]

    def values(self, fact: Fact) -> list[Value]:
        """Representative values of a fact."""
        if fact.kind == "code":
            return list(fact.values)
        if fact.kind == "set":
            return [
                frozenset(m)
                for n in range(len(fact.values) + 1)
                for m in itertools.combinations(fact.values, n)
            ]
        cuts = sorted(
            {
                end
                for cells in self._cells(fact.id)
                for low, _, high, _ in cells.stretches
                for end in (low, high)
                if end is not None
            }
        )
        points = {fact.low, min(fact.high, 1000.0), *cuts}
        points |= {cut + d for cut in cuts for d in (-0.25, 0.25)}
        return [float(p) for p in sorted(points) if fact.low <= p <= fact.high]

    def _cells(self, column: str) -> Iterator[Cell]:
        for sheet in self.sheets:
            for cells, _ in sheet.rules:
                yield from (
                    c for used, c in zip(sheet.inputs, cells, strict=True) if used == column
                )
        for box in self.impossible:
            if column in box:
                yield box[column]

    def completions(self, known: Mapping[str, Value]) -> list[dict[str, Value]]:
        """Every situation that can be and agrees with what is known."""
        ways = [[known[f.id]] if f.id in known else self.values(f) for f in self.facts]
        found = []
        for way in itertools.product(*ways):
            situation = {fact.id: value for fact, value in zip(self.facts, way, strict=True)}
            if not any(
                all(cell.holds(look(situation, {}, c)) for c, cell in box.items())
                for box in self.impossible
            ):
                found.append(situation)
        return found

    def fire(self, situation: Mapping[str, Value]) -> dict[str, list[int]]:
        """For each table, the rules that fire."""
        decided: dict[str, str] = {}
        fired: dict[str, list[int]] = {}
        for sheet in self.sheets:
            fired[sheet.id] = [
                n
                for n, (cells, _) in enumerate(sheet.rules)
                if all(
                    cell.holds(look(situation, decided, column))
                    for column, cell in zip(sheet.inputs, cells, strict=True)
                )
            ]
            if sheet.unique and fired[sheet.id]:
                decided[sheet.id] = sheet.rules[fired[sheet.id][0]][1]
        return fired


def look(situation: Mapping[str, Value], decided: Mapping[str, str], column: str) -> Any:
    fact_id, _, member = column.partition(".")
    if fact_id in decided:
        return decided[fact_id]
    value = situation.get(fact_id)
    if isinstance(value, frozenset):
        return "yes" if member in value else "no"
    return value


def _parse(column: str, cell: Cell, vocabulary: Vocabulary) -> UnaryTest:
    fact = vocabulary.get(column.partition(".")[0])
    if fact is None:
        return parse_codes(cell.text(), OUTCOMES)
    if fact.kind == "number":
        return parse_numbers(cell.text(), fact.unit)
    return parse_codes(cell.text(), fact.values if fact.kind == "code" else ("no", "yes"))


def codes_of(column: str) -> tuple[str, ...]:
    """The codes of a column that is no number."""
    for fact in FACTS:
        if column == fact.id:
            return fact.values
        if column.startswith(f"{fact.id}."):
            return ("no", "yes")
    return OUTCOMES


def is_number(column: str) -> bool:
    return any(fact.id == column and fact.kind == "number" for fact in FACTS)


# -- strategies ---------------------------------------------------------------------------------


@st.composite
def cells(draw: st.DrawFn, column: str) -> Cell:
    """A random test of a column, often `-`."""
    if draw(st.integers(0, 2)) == 0:
        return Cell()
    negated = draw(st.booleans()) and draw(st.booleans())
    if not is_number(column):
        chosen = draw(st.lists(st.sampled_from(codes_of(column)), min_size=1, unique=True))
        return Cell(codes=tuple(chosen), negated=negated)
    stretches = draw(st.lists(stretch(), min_size=1, max_size=2))
    return Cell(stretches=tuple(stretches), negated=negated)


@st.composite
def stretch(draw: st.DrawFn) -> tuple[float | None, bool, float | None, bool]:
    low, high = sorted(draw(st.tuples(st.integers(-2, 11), st.integers(-2, 11))))
    kind = draw(st.sampled_from(["point", "below", "above", "range"]))
    if kind == "point" or low == high:
        return float(low), True, float(low), True
    if kind == "below":
        return None, False, float(high), draw(st.booleans())
    if kind == "above":
        return float(low), draw(st.booleans()), None, False
    return float(low), draw(st.booleans()), float(high), draw(st.booleans())


@st.composite
def partitions(draw: st.DrawFn, columns: tuple[str, ...]) -> tuple[tuple[Cell, ...], ...]:
    """Rows that cover every situation once: a box, cut again and again."""
    boxes: list[dict[str, Any]] = [
        {c: (None, False, None, False) if is_number(c) else codes_of(c) for c in columns}
    ]
    for _ in range(draw(st.integers(0, 5))):
        box = boxes.pop(draw(st.integers(0, len(boxes) - 1)))
        boxes += _cut(draw, box, draw(st.sampled_from(columns)))
    order = draw(st.permutations(boxes))
    return tuple(tuple(_as_cell(c, box[c]) for c in columns) for box in order)


def _cut(draw: st.DrawFn, box: dict[str, Any], column: str) -> list[dict[str, Any]]:
    part = box[column]
    if not is_number(column):
        if len(part) == 1:
            return [box]
        at = draw(st.integers(1, len(part) - 1))
        return [{**box, column: part[:at]}, {**box, column: part[at:]}]
    low, low_in, high, high_in = part
    first = -2 if low is None else int(low) + 1
    last = 11 if high is None else int(high) - 1
    if first > last:
        return [box]
    cut = float(draw(st.integers(first, last)))
    below_in = draw(st.booleans())
    return [
        {**box, column: (low, low_in, cut, below_in)},
        {**box, column: (cut, not below_in, high, high_in)},
    ]


def _as_cell(column: str, part: Any) -> Cell:
    if is_number(column):
        return Cell() if part == (None, False, None, False) else Cell(stretches=(part,))
    return Cell() if len(part) == len(codes_of(column)) else Cell(codes=part)


@st.composite
def specs(
    draw: st.DrawFn,
    *,
    complete: bool = True,
    feeding: bool = True,
    may_be_impossible: bool = True,
    orders: bool = False,
    most_facts: int = 4,
) -> Spec:
    """A random protocol. `complete`: every UNIQUE table covers each situation exactly once."""
    facts = tuple(
        draw(
            st.lists(
                st.sampled_from(FACTS), min_size=2, max_size=most_facts, unique_by=lambda f: f.id
            )
        )
    )
    columns = Spec(facts, ()).columns()
    sheets: list[Sheet] = []
    for name in ("first", "second", "third")[: draw(st.integers(1, 3))]:
        unique = draw(st.booleans()) or (orders and not sheets)
        fed_by = [s.id for s in sheets if s.unique] if feeding else []
        inputs = tuple(
            draw(
                st.lists(st.sampled_from([*columns, *fed_by]), min_size=1, max_size=4, unique=True)
            )
        )
        last = not feeding or name == "third"
        if unique and (complete or not last):
            rows = draw(partitions(inputs))
        else:
            rows = tuple(
                draw(st.lists(st.tuples(*(cells(c) for c in inputs)), min_size=1, max_size=5))
            )
        outcomes = [draw(st.sampled_from(OUTCOMES)) for _ in rows]
        sheets.append(Sheet(name, unique, inputs, tuple(zip(rows, outcomes, strict=True))))
    impossible = []
    if may_be_impossible:
        for _ in range(draw(st.integers(0, 2))):
            pair = draw(st.lists(st.sampled_from(columns), min_size=1, max_size=2, unique=True))
            box = {c: draw(cells(c)) for c in pair}
            if not all(cell.any for cell in box.values()):
                impossible.append(box)
    fact_order: dict[str, tuple[tuple[str, ...], ...]] = {}
    outcome_order: tuple[tuple[str, ...], ...] = ()
    if orders:
        outcome_order = draw(groupings(OUTCOMES))
        fact_order = {f.id: draw(groupings(f.values)) for f in facts if f.kind == "code"}
    return Spec(facts, tuple(sheets), tuple(impossible), fact_order, outcome_order)


@st.composite
def groupings(draw: st.DrawFn, values: tuple[str, ...]) -> tuple[tuple[str, ...], ...]:
    """An ascending order over some of the values, ties allowed."""
    named = draw(st.permutations(values))[: draw(st.integers(2, len(values)))]
    groups: list[tuple[str, ...]] = [(named[0],)]
    for value in named[1:]:
        if draw(st.integers(0, 3)) == 0:
            groups[-1] = (*groups[-1], value)
        else:
            groups.append((value,))
    return tuple(groups)


@st.composite
def situations(draw: st.DrawFn, spec: Spec) -> dict[str, Value]:
    """A random situation, known in part or in full; numbers at, near and away from thresholds."""
    known: dict[str, Value] = {}
    for fact in spec.facts:
        if draw(st.booleans()):
            values = st.sampled_from(spec.values(fact))
            if fact.kind == "number":
                values = values | st.floats(fact.low, min(fact.high, 100.0)).map(  # type: ignore[assignment]
                    lambda x: round(x, 2)
                )
            known[fact.id] = draw(values)
    return known
