"""Prove a protocol: complete, unambiguous, monotone, every rule alive; and run its own cases.

Nothing is sampled: each statement is checked on every situation that can be, through the grids of the
index. A fault is told as the smallest situation that shows it: the fewest facts that, so set, leave no
way out.
"""

from __future__ import annotations

from collections.abc import Iterator
from itertools import combinations

import numpy as np

from ..compiling.boxes import Boxes, fewest_inside, fewest_outside, meet
from ..compiling.grids import GAP, IMPOSSIBLE, Grid
from ..compiling.index import joint_question, rules_firing
from ..faults import Fault
from ..finding import Evaluation
from ..model import Case, Rule, Table
from ..protocol import Protocol
from ..reading.strict import CASES, MANIFEST
from .orders import order_faults
from .witness import Kept, fewest, told


def check_protocol(protocol: Protocol) -> tuple[Fault, ...]:
    """Every fault of the protocol's logic; () means proved.

    UNIQUE tables are complete and unambiguous over every situation that can be; declared orders are
    monotone; each rule can apply; rules that apply together do not contradict each other on their
    table's key; the protocol's own cases come out as they say.
    """
    return (*prove(protocol), *run_cases(protocol))


def prove(protocol: Protocol) -> tuple[Fault, ...]:
    """The logical proofs, without the cases."""
    faults: list[Fault] = []
    alive: dict[str, set[str]] = {}
    if any((g.codes == IMPOSSIBLE).all() for g in (*protocol.index.grids, *protocol.index.guards)):
        message = "together they leave no situation that can be; mend or remove one"
        return (Fault(MANIFEST, 0, "impossible", message),)
    for question in protocol.index.questions:
        living = alive.setdefault(question.table.id, set())
        if isinstance(question, Boxes):
            living.update(
                r.id for r, b in zip(question.rules, question.boxes, strict=True) if all(b)
            )
        else:
            living.update(_living_rules(protocol, question))
        if question.unique:
            faults += _gaps(protocol, question)
            faults += _clashes(protocol, question)
            faults += order_faults(protocol, question)
    for table in protocol.tables:
        faults += _dead_rules(table, alive[table.id])
        faults += _key_clashes(protocol, table)
    return tuple(faults)


def _living_rules(protocol: Protocol, grid: Grid) -> set[str]:
    codes = np.unique(grid.codes[grid.codes >= 0])
    if not grid.unique:
        bits = int(np.bitwise_or.reduce(codes)) if len(codes) else 0
        return {rule.id for number, rule in enumerate(grid.rules) if bits >> number & 1}
    if grid.clash is None or not grid.clash.any():
        return {grid.rules[code].id for code in codes.tolist()}
    # Where rules clash the code names the first only.
    fires = rules_firing(protocol.index, grid)
    return {rule.id for rule, where in zip(grid.rules, fires, strict=True) if where.any()}


def _gaps(protocol: Protocol, question: Grid | Boxes) -> Iterator[Fault]:
    if isinstance(question, Boxes):
        keep = fewest_outside(question.boxes, question.whole) if question.gaps() else None
    else:
        gap = question.codes == GAP
        keep = fewest(gap, question.codes == IMPOSSIBLE) if gap.any() else None
    if keep is not None:
        situation = told(protocol, question, keep)
        yield Fault(question.table.file, 0, "", f"no rule covers {situation}")


def _clashes(protocol: Protocol, question: Grid | Boxes) -> Iterator[Fault]:
    for first, second, keep in (
        _boxes_that_clash(question)
        if isinstance(question, Boxes)
        else _rules_that_clash(protocol, question)
    ):
        yield Fault(
            question.table.file,
            second.row,
            "rule",
            f"the rules {first.id} and {second.id} both cover {told(protocol, question, keep)}",
        )


def _boxes_that_clash(boxes: Boxes) -> Iterator[tuple[Rule, Rule, Kept]]:
    for (first, a), (second, b) in combinations(zip(boxes.rules, boxes.boxes, strict=True), 2):
        both = meet(a, b)
        if both is not None:
            yield first, second, fewest_inside(both, boxes.whole)


def _rules_that_clash(protocol: Protocol, grid: Grid) -> Iterator[tuple[Rule, Rule, Kept]]:
    if grid.clash is None or not grid.clash.any():
        return
    fires = zip(grid.rules, rules_firing(protocol.index, grid), strict=True)
    for (first, a), (second, b) in combinations(fires, 2):
        both = a & b & grid.clash
        if both.any():
            yield first, second, fewest(both, grid.codes == IMPOSSIBLE)


def _dead_rules(table: Table, living: set[str]) -> Iterator[Fault]:
    for rule in table.rules:
        if rule.id not in living:
            yield Fault(
                table.file,
                rule.row,
                "rule",
                f"the rule {rule.id} can never apply in a situation that can be; mend or remove it",
            )


def _key_clashes(protocol: Protocol, table: Table) -> Iterator[Fault]:
    """Rules that apply together and give one key two meanings."""
    if not table.key:
        return
    by_key: dict[str, list[Rule]] = {}
    for rule in table.rules:
        by_key.setdefault(rule.outputs[table.key], []).append(rule)
    for key, rules in by_key.items():
        for first, second in combinations(rules, 2):
            if first.outputs == second.outputs or _part_ways(protocol, table, first, second):
                continue
            question = joint_question(protocol.index, table, (first, second))
            if isinstance(question, Boxes):
                both = meet(*question.boxes)
                keep = None if both is None else fewest_inside(both, question.whole)
            else:
                where = question.codes == 0b11
                keep = fewest(where, question.codes == IMPOSSIBLE) if where.any() else None
            if keep is not None:
                yield Fault(
                    table.file,
                    second.row,
                    f"→ {table.key}",
                    f"the rules {first.id} and {second.id} give {key!r} two meanings in "
                    f"{told(protocol, question, keep)}",
                )


def _part_ways(protocol: Protocol, table: Table, first: Rule, second: Rule) -> bool:
    """Whether some column by itself keeps two rules apart: cheap, and true of most pairs."""
    for column, a, b in zip(table.inputs, first.tests, second.tests, strict=True):
        if a.any or b.any:
            continue
        axis = protocol.index.axes.get(column)
        if axis is None:
            values = protocol.outputs[column].values
            meets = any(a.accepts_code(v) and b.accepts_code(v) for v in values)
        else:
            cells = zip(axis.accepted(a), axis.accepted(b), axis.exists, strict=True)
            meets = any(all(cell) for cell in cells)
        if not meets:
            return True
    return False


# -- the protocol's own cases -------------------------------------------------------------------


def run_cases(protocol: Protocol) -> tuple[Fault, ...]:
    """Each case that does not come out as it says, told as expected and found."""
    faults: list[Fault] = []
    for case in protocol.cases:
        try:
            evaluation = protocol.evaluate(case.facts)
        except ValueError as error:
            faults.append(_case_fault(case, str(error)))
            continue
        faults += [
            _case_fault(case, message) for message in _differences(protocol, case, evaluation)
        ]
    return tuple(faults)


def _case_fault(case: Case, message: str) -> Fault:
    return Fault(CASES, 0, f"case {case.name!r}", message)


def _differences(protocol: Protocol, case: Case, evaluation: Evaluation) -> Iterator[str]:
    for id_, expected in case.expect.items():
        if id_ in evaluation.findings:
            finding = evaluation.findings[id_]
            if finding.value != expected:
                found = finding.value or f"still open: {', '.join(finding.possible)}"
                yield f"{id_} should be {expected}; it is {found}"
        else:
            found_items = sorted(_items(protocol, evaluation, id_, certain=True))
            if isinstance(expected, str) or sorted(expected) != found_items:
                yield f"{id_} should be {expected}; it is {found_items}"
    for id_, outcomes in case.possible.items():
        finding = evaluation.findings[id_]
        if set(finding.possible) != set(outcomes):
            yield (
                f"{id_} should be able to come out as exactly {', '.join(sorted(outcomes))}; "
                f"it is {', '.join(sorted(finding.possible))}"
            )
    for id_, names in case.includes.items():
        for name in sorted(set(names) - _items(protocol, evaluation, id_, certain=True)):
            yield f"{id_} should include {name} for certain; it does not"
    for id_, names in case.excludes.items():
        for name in sorted(set(names) & _items(protocol, evaluation, id_, certain=False)):
            yield f"{id_} should not hold {name}; it does or may"


def _items(protocol: Protocol, evaluation: Evaluation, table: str, *, certain: bool) -> set[str]:
    """Names (key or first output) of the items that apply for certain, or that may apply."""
    key = protocol.table(table).key or protocol.table(table).outputs[0]
    return {item.outputs[key] for item in evaluation.items[table] if item.certain or not certain}
