"""Prove a protocol: complete, unambiguous, monotone, every rule alive; and run its own cases.

Nothing is sampled: each statement is checked on every situation that can be, through the grids of the
index. A fault is told as the smallest situation that shows it: the fewest facts that, so set, leave no
way out.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import combinations

import numpy as np

from .faults import Fault
from .finding import Evaluation
from .index import GAP, IMPOSSIBLE, Grid, Mask, joint_grid, rules_firing
from .model import Case, Rule, Table
from .protocol import Protocol
from .reading import CASES


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
    for grid in protocol.index.grids:
        alive.setdefault(grid.table.id, set()).update(_living_rules(grid))
        if grid.unique:
            faults += _gaps(protocol, grid)
            faults += _clashes(protocol, grid)
            faults += _orders(protocol, grid)
    for table in protocol.tables:
        faults += _dead_rules(table, alive[table.id])
        faults += _key_clashes(protocol, table)
    return tuple(faults)


def _living_rules(grid: Grid) -> set[str]:
    codes = np.unique(grid.codes[grid.codes >= 0])
    if grid.unique:
        living = {grid.rules[code].id for code in codes.tolist()}
        # Where two rules clash the code names the first only; the clash is its own fault.
        return living if grid.clash is None or not grid.clash.any() else {r.id for r in grid.rules}
    bits = int(np.bitwise_or.reduce(codes)) if len(codes) else 0
    return {rule.id for number, rule in enumerate(grid.rules) if bits >> number & 1}


def _gaps(protocol: Protocol, grid: Grid) -> Iterator[Fault]:
    gap = grid.codes == GAP
    if gap.any():
        situation = smallest(protocol, grid, gap, grid.codes == IMPOSSIBLE)
        yield Fault(grid.table.file, 0, "", f"no rule covers {situation}")


def _clashes(protocol: Protocol, grid: Grid) -> Iterator[Fault]:
    if grid.clash is None or not grid.clash.any():
        return
    both = _pairs_that_clash(protocol, grid)
    for (first, second), where in both:
        situation = smallest(protocol, grid, where, grid.codes == IMPOSSIBLE)
        yield Fault(
            grid.table.file,
            second.row,
            "rule",
            f"the rules {first.id} and {second.id} both cover {situation}",
        )


def _pairs_that_clash(protocol: Protocol, grid: Grid) -> Iterator[tuple[tuple[Rule, Rule], Mask]]:
    """Pairs of rules of a UNIQUE table that fire together, with where."""
    fires = rules_firing(protocol.manifest, protocol.vocabulary, grid)
    for first, second in combinations(range(len(grid.rules)), 2):
        where = fires[first] & fires[second] & (grid.codes != IMPOSSIBLE)
        if where.any():
            yield (grid.rules[first], grid.rules[second]), where


def _orders(protocol: Protocol, grid: Grid) -> Iterator[Fault]:
    manifest = protocol.manifest
    possible = grid.codes >= 0
    for decision in grid.table.decides:
        order = manifest.outcome_order.get(decision)
        if not order:
            continue
        rank = {value: place for place, group in enumerate(order) for value in group}
        ranks = np.array([rank.get(rule.outputs[decision], np.nan) for rule in grid.rules])
        ranked = np.where(possible, ranks[np.maximum(grid.codes, 0)], np.nan)
        for at, column in enumerate(grid.axes):
            for milder, worse in _steps(protocol, grid, at, manifest.fact_order.get(column, ())):
                low = ranked.take(worse[1], axis=at)
                high = ranked.take(milder[1], axis=at)
                less = low < high
                if less.any():
                    yield _order_fault(protocol, grid, decision, at, milder, worse, less)
                    break


def _steps(
    protocol: Protocol, grid: Grid, at: int, order: Sequence[Sequence[str]]
) -> Iterator[tuple[tuple[str, int], tuple[str, int]]]:
    """Pairs (milder, worse) of values of one axis, each with its class, where the classes differ."""
    axis = protocol.index.axes[grid.axes[at]]
    seen = set()
    for mild_group, worse_group in combinations(order, 2):
        for milder in mild_group:
            for worse in worse_group:
                pair = (
                    grid.classes[at][axis.cells.index(milder)],
                    grid.classes[at][axis.cells.index(worse)],
                )
                if pair[0] != pair[1] and pair not in seen:
                    seen.add(pair)
                    yield (milder, pair[0]), (worse, pair[1])


def _order_fault(
    protocol: Protocol,
    grid: Grid,
    decision: str,
    at: int,
    milder: tuple[str, int],
    worse: tuple[str, int],
    less: Mask,
) -> Fault:
    """One violation, at a situation of the other facts that shows it."""
    others = [n for n in range(len(grid.axes)) if n != at]
    place = tuple(int(k) for k in np.argwhere(less)[0])
    cell = list(place)
    cell.insert(at, milder[1])
    mild_outcome = grid.rules[int(grid.codes[tuple(cell)])].outputs[decision]
    cell[at] = worse[1]
    worse_outcome = grid.rules[int(grid.codes[tuple(cell)])].outputs[decision]
    incomparable = ~(
        (grid.codes.take(milder[1], axis=at) >= 0) & (grid.codes.take(worse[1], axis=at) >= 0)
    )
    keep = _fewest(np.asarray(less), np.asarray(incomparable))
    told = [_say(protocol, grid, others[n], place_n) for n, place_n in keep]
    given = f" where {' and '.join(told)}" if told else ""
    column = grid.axes[at]
    return Fault(
        grid.table.file,
        0,
        f"→ {decision}",
        f"a worse exposure yields less: {column} {milder[0]} gives {mild_outcome}, the worse "
        f"{worse[0]} gives {worse_outcome}{given}",
    )


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
            if first.outputs == second.outputs:
                continue
            grid = joint_grid(protocol.manifest, protocol.vocabulary, table, (first, second))
            together = grid.codes == 0b11
            if together.any():
                situation = smallest(protocol, grid, together, grid.codes == IMPOSSIBLE)
                yield Fault(
                    table.file,
                    second.row,
                    f"→ {table.key}",
                    f"the rules {first.id} and {second.id} give {key!r} two meanings in "
                    f"{situation}",
                )


# -- the smallest situation that shows a fault --------------------------------------------------


def smallest(protocol: Protocol, grid: Grid, shows: Mask, cannot_be: Mask) -> str:
    """In words, the fewest facts that, so set, always show the fault."""
    keep = _fewest(shows, cannot_be)
    if not keep:
        return "every situation"
    return " and ".join(_say(protocol, grid, at, k) for at, k in keep)


def _fewest(shows: Mask, cannot_be: Mask) -> list[tuple[int, int]]:
    """(axis, class) pairs, as few as can be, whose every possible completion shows the fault."""
    dimensions = shows.ndim
    always = shows | cannot_be
    for size in range(dimensions + 1):
        for kept in combinations(range(dimensions), size):
            rest = tuple(at for at in range(dimensions) if at not in kept)
            sure = always.all(axis=rest) & shows.any(axis=rest)
            if sure.any():
                place = np.argwhere(sure)[0] if kept else ()
                return list(zip(kept, (int(k) for k in place), strict=True))
    raise ValueError("nothing shows the fault")  # unreachable: all axes kept is a witness


def _say(protocol: Protocol, grid: Grid, at: int, k: int) -> str:
    axis = protocol.index.axes[grid.axes[at]]
    members = grid.members[at][k]
    if axis.fact.kind == "number":
        words = axis.words(members)
        return f"{axis.id} {words}" if words[0] in "<>" else f"{axis.id} in {words}"
    # One value is a smaller witness than the list of all that behave alike.
    return f"{axis.id} = {axis.cells[members[0]]}"


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
