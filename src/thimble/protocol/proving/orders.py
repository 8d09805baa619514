"""Declared orders are monotone: a worse situation never yields less.

Situation y is worse than x where some facts with a declared order are worse in y and every other fact
is the same. Facts may be worse together, since the step through one of them alone may be declared
impossible. Values that an order does not name, and values that tie, are not compared with each other.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from itertools import combinations, product

import numpy as np
from numpy.typing import NDArray

from ..compiling.boxes import Box, Boxes, fewest_inside
from ..compiling.grids import Grid
from ..faults import Fault
from ..protocol import Protocol
from .witness import Kept, fewest, say

Ranks = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class _Step:
    """From a milder to a worse value of one fact, each with its class on the fact's axis."""

    column: str
    milder: str
    worse: str
    from_class: int
    to_class: int


Steps = Mapping[int, list[_Step]]


def order_faults(protocol: Protocol, question: Grid | Boxes) -> Iterator[Fault]:
    """Where a worse situation yields less, by the fewest facts that must be worse together."""
    steps = _steps(protocol, question)
    for decision in question.table.decides:
        order = protocol.manifest.outcome_order.get(decision)
        if not order or not steps:
            continue
        rank = {value: place for place, group in enumerate(order) for value in group}
        if isinstance(question, Boxes):
            yield from _box_faults(protocol, question, decision, rank, steps)
        else:
            yield from _grid_faults(protocol, question, decision, rank, steps)


def _steps(protocol: Protocol, question: Grid | Boxes) -> Steps:
    """For each ordered axis, one step for each pair of classes that a worsening joins."""
    found: dict[int, list[_Step]] = {}
    for at, column in enumerate(question.axes):
        axis = protocol.index.axes[column]
        classes = question.classes[at]
        pairs: dict[tuple[int, int], _Step] = {}
        for mild_group, worse_group in combinations(
            protocol.manifest.fact_order.get(column, ()), 2
        ):
            for milder, worse in product(mild_group, worse_group):
                a, b = (classes[axis.cells.index(value)] for value in (milder, worse))
                if a != b:
                    pairs.setdefault((a, b), _Step(column, milder, worse, a, b))
        if pairs:
            found[at] = list(pairs.values())
    return found


# -- grids --------------------------------------------------------------------------------------


def _grid_faults(
    protocol: Protocol, grid: Grid, decision: str, rank: Mapping[str, int], steps: Steps
) -> Iterator[Fault]:
    ranks = np.array([rank.get(rule.outputs[decision], np.nan) for rule in grid.rules])
    ranked = np.where(grid.codes >= 0, ranks[np.maximum(grid.codes, 0)], np.nan)
    if not (_highest_of_milder(ranked, steps) > ranked).any():
        return
    for size in range(1, len(steps) + 1):
        faults = [
            fault
            for axes in combinations(steps, size)
            for fault in _faults_along(protocol, grid, decision, ranked, steps, axes)
        ]
        if faults:
            yield from faults
            return


def _highest_of_milder(ranked: Ranks, steps: Steps) -> Ranks:
    """For each situation, the highest rank among those that are milder or the same."""
    highest = np.where(np.isnan(ranked), -np.inf, ranked)
    for at, along in steps.items():
        source = np.moveaxis(highest, at, 0)
        raised = source.copy()
        for step in along:
            raised[step.to_class] = np.maximum(raised[step.to_class], source[step.from_class])
        highest = np.moveaxis(raised, 0, at)
    return highest


def _faults_along(
    protocol: Protocol,
    grid: Grid,
    decision: str,
    ranked: Ranks,
    steps: Steps,
    axes: tuple[int, ...],
) -> Iterator[Fault]:
    """The first fault, if any, in which exactly these axes grow worse together."""
    others = [at for at in range(len(grid.axes)) if at not in axes]
    for path in product(*(steps[at] for at in axes)):
        mild = _places(grid, axes, [step.from_class for step in path])
        worse = _places(grid, axes, [step.to_class for step in path])
        less = np.asarray(ranked[worse] < ranked[mild])
        if not less.any():
            continue
        cannot_be = np.asarray((grid.codes[mild] < 0) | (grid.codes[worse] < 0))
        keep = fewest(less, cannot_be)
        inside = less[_places_kept(less.ndim, keep)]
        place = tuple(np.argwhere(inside)[0].tolist()) if inside.ndim else ()
        outcomes = [
            grid.rules[int(grid.codes[where][_places_kept(less.ndim, keep)][place])].outputs[
                decision
            ]
            for where in (mild, worse)
        ]
        kept = [(others[n], k) for n, k in keep]
        yield _fault(protocol, grid, decision, path, outcomes, kept)
        return


def _places(grid: Grid, axes: tuple[int, ...], classes: list[int]) -> tuple[int | slice, ...]:
    chosen = dict(zip(axes, classes, strict=True))
    return tuple(chosen.get(at, slice(None)) for at in range(len(grid.axes)))


def _places_kept(dimensions: int, keep: Kept) -> tuple[int | slice, ...]:
    chosen = dict(keep)
    return tuple(chosen.get(at, slice(None)) for at in range(dimensions))


# -- boxes --------------------------------------------------------------------------------------


def _box_faults(
    protocol: Protocol, boxes: Boxes, decision: str, rank: Mapping[str, int], steps: Steps
) -> Iterator[Fault]:
    """Rule against rule: some situation of the lower one is worse than some of the higher."""
    ranked = [
        (rank[boxes.rules[n].outputs[decision]], n, piece)
        for n, piece in boxes.firsts()
        if boxes.rules[n].outputs[decision] in rank
    ]
    found: dict[tuple[int, ...], tuple[Kept, list[_Step], list[str]]] = {}
    for (high, a, mild), (low, b, worse) in product(ranked, repeat=2):
        path = _path(mild, worse, steps) if high > low else None
        if path is None:
            continue
        shared = tuple(
            w if at in path else m & n
            for at, (m, n, w) in enumerate(zip(mild, worse, boxes.whole, strict=True))
        )
        keep = fewest_inside(shared, boxes.whole)
        outcomes = [boxes.rules[n].outputs[decision] for n in (a, b)]
        axes = tuple(path)
        if axes not in found or len(keep) < len(found[axes][0]):
            found[axes] = (keep, list(path.values()), outcomes)
    size = min(map(len, found), default=0)
    for axes, (keep, along, outcomes) in found.items():
        if len(axes) == size:
            yield _fault(protocol, boxes, decision, along, outcomes, keep)


def _path(mild: Box, worse: Box, steps: Steps) -> dict[int, _Step] | None:
    """The steps that lead from one box into the other, or None if none do."""
    path: dict[int, _Step] = {}
    for at, (m, n) in enumerate(zip(mild, worse, strict=True)):
        if m & n:
            continue
        for step in steps.get(at, ()):
            if m >> step.from_class & 1 and n >> step.to_class & 1:
                path[at] = step
                break
        else:
            return None
    return path


# -- words --------------------------------------------------------------------------------------


def _fault(
    protocol: Protocol,
    question: Grid | Boxes,
    decision: str,
    path: tuple[_Step, ...] | list[_Step],
    outcomes: list[str],
    keep: Kept,
) -> Fault:
    given = [say(protocol, question, at, k) for at, k in keep]
    milder = " and ".join(f"{step.column} {step.milder}" for step in path)
    worse = " and ".join(f"{step.column} {step.worse}" for step in path)
    where = f" where {' and '.join(given)}" if given else ""
    return Fault(
        question.table.file,
        0,
        f"→ {decision}",
        f"a worse situation yields less: {milder} gives {outcomes[0]}, the worse {worse} gives "
        f"{outcomes[1]}{where}",
    )
