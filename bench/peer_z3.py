"""The tables as formulas for z3: enumerations, reals and Booleans; a decision is a nested if-then-else.

Questions are put the way one would to a solver: can this outcome come out, can these two situations that
differ in one fact come out differently, can no rule fire, can two.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import combinations, count
from typing import Any

import z3
from bench.situations import Situation, look

from thimble.protocol import Protocol
from thimble.protocol.feel import UnaryTest
from thimble.protocol.model import Rule, Table

_NUMBERS = count()
"""z3 keeps the names of enumerations for good, so that each peer needs its own."""

Opened = dict[str, tuple[frozenset[str], frozenset[str]]]
"""Decision, or table and item → what is still possible, and the missing facts that can change it."""


@dataclass(frozen=True)
class _Term:
    """What is asked about: a decision's value or whether an item applies, and the facts beneath it."""

    name: str
    expression: Any
    outcomes: dict[str, Any]
    facts: frozenset[str]


class Z3Peer:
    """One protocol as formulas, built once."""

    def __init__(self, protocol: Protocol) -> None:
        self.protocol = protocol
        self._number = next(_NUMBERS)
        self._sorts: dict[str, tuple[Any, dict[str, Any]]] = {}
        self.columns = {c: self._variable(c, "") for c in protocol.index.axes}
        self.other = {c: self._variable(c, "'") for c in protocol.index.axes}
        self.decided: dict[str, Any] = {}
        self.fires: dict[str, list[Any]] = {}
        self._beneath: dict[str, frozenset[str]] = {}
        for table in protocol.tables:
            self._add(table)
        self.possible = self._possible()
        self.terms = list(self._terms())
        self._swapped: dict[tuple[str, str], Any] = {}

    # -- formulas -----------------------------------------------------------------------------

    def _enumeration(self, name: str, values: tuple[str, ...]) -> tuple[Any, dict[str, Any]]:
        if name not in self._sorts:
            context = f"{self.protocol.id}_{self._number}_{name}"
            sort, constants = z3.EnumSort(context, [f"{context}_{v}" for v in values])
            self._sorts[name] = (sort, dict(zip(values, constants, strict=True)))
        return self._sorts[name]

    def _variable(self, column: str, mark: str) -> Any:
        fact = self.protocol.index.axes[column].fact
        if fact.kind == "number":
            return z3.Real(column + mark)
        if fact.kind == "set":
            return z3.Bool(column + mark)
        return z3.Const(column + mark, self._enumeration(fact.id, fact.values)[0])

    def _holds(self, column: str, test: UnaryTest) -> Any:
        if test.any:
            return z3.BoolVal(True)
        axis = self.protocol.index.axes.get(column)
        if axis is not None and axis.fact.kind == "set":
            parts = [self.columns[column] == (code == "yes") for code in test.codes]
        elif axis is not None and axis.fact.kind == "number":
            parts = [z3.And(*self._ends(self.columns[column], i)) for i in test.intervals]
        else:
            if axis is None:
                variable = self.decided[column]
                values = self._enumeration(column, self.protocol.outputs[column].values)[1]
            else:
                variable = self.columns[column]
                values = self._enumeration(axis.fact.id, axis.fact.values)[1]
            parts = [variable == values[code] for code in test.codes]
        return z3.Not(z3.Or(*parts)) if test.negated else z3.Or(*parts)

    @staticmethod
    def _ends(variable: Any, interval: Any) -> Iterator[Any]:
        if interval.low is not None:
            low = z3.RealVal(str(interval.low))
            yield variable >= low if interval.low_closed else variable > low
        if interval.high is not None:
            high = z3.RealVal(str(interval.high))
            yield variable <= high if interval.high_closed else variable < high

    def _add(self, table: Table) -> None:
        fires = [
            z3.And(*(self._holds(c, t) for c, t in zip(table.inputs, rule.tests, strict=True)))
            for rule in table.rules
        ]
        self.fires[table.id] = fires
        beneath = self._facts_beneath(table, table.rules)
        for decision in table.decides:
            values = self._enumeration(decision, self.protocol.outputs[decision].values)[1]
            *first, last = [values[rule.outputs[decision]] for rule in table.rules]
            formula = last
            for condition, value in reversed(list(zip(fires, first, strict=False))):
                formula = z3.If(condition, value, formula)
            self.decided[decision] = formula
            self._beneath[decision] = beneath

    def _facts_beneath(self, table: Table, rules: tuple[Rule, ...]) -> frozenset[str]:
        found: set[str] = set()
        for at, column in enumerate(table.inputs):
            if any(not rule.tests[at].any for rule in rules):
                found |= self._beneath.get(column, {column.partition(".")[0]})
        return frozenset(found)

    def _possible(self) -> Any:
        limits = []
        for column, variable in self.columns.items():
            fact = self.protocol.index.axes[column].fact
            if fact.kind == "number":
                limits.append(variable >= z3.RealVal(str(fact.low)))
                if fact.high != float("inf"):
                    limits.append(variable <= z3.RealVal(str(fact.high)))
        boxes = [
            z3.Not(z3.And(*(self._holds(c, t) for c, t in box.tests.items())))
            for box in self.protocol.impossible
        ]
        return z3.And(*limits, *boxes)

    def _terms(self) -> Iterator[_Term]:
        for table in self.protocol.tables:
            for decision in table.decides:
                output = self.protocol.outputs[decision]
                values = self._enumeration(decision, output.values)[1]
                yield _Term(decision, self.decided[decision], values, self._beneath[decision])
            if table.hit_policy == "COLLECT":
                items: dict[tuple[str, ...], list[int]] = {}
                for number, rule in enumerate(table.rules):
                    items.setdefault(tuple(rule.outputs.values()), []).append(number)
                for key, numbers in items.items():
                    applies = z3.Or(*(self.fires[table.id][n] for n in numbers))
                    rules = tuple(table.rules[n] for n in numbers)
                    yield _Term(
                        item_name(table.id, key),
                        applies,
                        {"yes": z3.BoolVal(True), "no": z3.BoolVal(False)},
                        self._facts_beneath(table, rules),
                    )

    def _swap(self, fact: str, name: str, formula: Any) -> Any:
        """The formula with this fact's columns replaced by their other copies."""
        key = (fact, name)
        if key not in self._swapped:
            pairs = [
                (variable, self.other[column])
                for column, variable in self.columns.items()
                if column.partition(".")[0] == fact
            ]
            self._swapped[key] = z3.substitute(formula, *pairs)
        return self._swapped[key]

    # -- questions ----------------------------------------------------------------------------

    def open(self, situation: Situation) -> Opened:
        """The exact outcomes of every decision and item, and the missing facts that matter."""
        solver = z3.Solver()
        solver.add(self.possible)
        for column, variable in self.columns.items():
            if column.partition(".")[0] in situation:
                solver.add(variable == self._constant(column, look(situation, column)))
        found: Opened = {}
        for term in self.terms:
            outcomes = frozenset(
                name
                for name, value in term.outcomes.items()
                if solver.check(term.expression == value) == z3.sat
            )
            facts: frozenset[str] = frozenset()
            if len(outcomes) > 1:
                facts = frozenset(
                    fact
                    for fact in term.facts
                    if fact not in situation and self._matters(solver, term, fact)
                )
            found[term.name] = (outcomes, facts)
        return found

    def _matters(self, solver: Any, term: _Term, fact: str) -> bool:
        other = self._swap(fact, term.name, term.expression)
        can_be = self._swap(fact, "possible", self.possible)
        return bool(solver.check(can_be, term.expression != other) == z3.sat)

    def _constant(self, column: str, value: str | float) -> Any:
        fact = self.protocol.index.axes[column].fact
        if fact.kind == "number":
            return z3.RealVal(repr(value))
        if fact.kind == "set":
            return z3.BoolVal(value == "yes")
        return self._enumeration(fact.id, fact.values)[1][str(value)]

    def prove(self) -> set[tuple[str, ...]]:
        """Gaps, clashes, dead rules, key clashes and orders; z3's model would be the counterexample."""
        solver = z3.Solver()
        solver.add(self.possible)
        found: set[tuple[str, ...]] = set()

        def can(*formulas: Any) -> bool:
            return bool(solver.check(*formulas) == z3.sat)

        for table in self.protocol.tables:
            fires = self.fires[table.id]
            if table.hit_policy == "UNIQUE":
                if can(z3.Not(z3.Or(*fires))):
                    found.add(("gap", table.id))
                if can(z3.Not(z3.AtMost(*fires, 1))):
                    found.add(("clash", table.id))
                found |= {("order", d) for d in table.decides if self._disordered(solver, d)}
            for rule, condition in zip(table.rules, fires, strict=True):
                if not can(condition):
                    found.add(("dead", rule.id))
            if table.key:
                pairs = combinations(zip(table.rules, fires, strict=True), 2)
                for (first, a), (second, b) in pairs:
                    alike = first.outputs[table.key] == second.outputs[table.key]
                    if alike and first.outputs != second.outputs and can(a, b):
                        found.add(("key", table.id))
        return found

    def _disordered(self, solver: Any, decision: str) -> bool:
        order = self.protocol.manifest.outcome_order.get(decision, ())
        values = self._enumeration(decision, self.protocol.outputs[decision].values)[1]
        formula = self.decided[decision]
        for fact, groups in self.protocol.manifest.fact_order.items():
            if fact not in self._beneath[decision]:
                continue
            codes = self._enumeration(fact, self.protocol.vocabulary[fact].values)[1]
            worse = [
                z3.And(
                    z3.Or(*(self.columns[fact] == codes[v] for v in mild)),
                    z3.Or(*(self.other[fact] == codes[v] for v in worse)),
                )
                for mild, worse in combinations(groups, 2)
            ]
            other = self._swap(fact, decision, formula)
            less = [
                z3.And(
                    z3.Or(*(formula == values[v] for v in high)),
                    z3.Or(*(other == values[v] for v in low)),
                )
                for low, high in combinations(order, 2)
            ]
            can_be = self._swap(fact, "possible", self.possible)
            if solver.check(can_be, z3.Or(*worse), z3.Or(*less)) == z3.sat:
                return True
        return False


def item_name(table: str, outputs: tuple[str, ...]) -> str:
    return f"{table}: {' | '.join(outputs)}"
