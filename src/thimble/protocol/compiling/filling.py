"""The cells of a grid filled in: each rule laid over the axes as a mask."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from ..feel import UnaryTest
from ..model import Rule
from .grids import FED_BY_GAP, GAP, IMPOSSIBLE, Codes, Grid, Mask
from .resting import Resting


def filled(resting: Resting, frame: Grid) -> Grid:
    """The grid with its codes: which rule fires in each cell, or which apply."""
    shape = frame.codes.shape
    starved = np.zeros(shape, bool)
    fed = outcomes_fed(resting, frame)
    for outcomes in fed.values():
        starved |= outcomes < IMPOSSIBLE
    codes: Codes = np.full(shape, GAP if frame.unique else 0, np.int64)
    hits = np.zeros(shape, np.int16)
    for number, rule in enumerate(frame.rules):
        fires = firing(resting, frame, rule, fed)
        if frame.unique:
            codes[fires & (hits == 0)] = number
            hits += fires
        else:
            codes |= np.int64(1 << number) * fires
    impossible = _impossible(resting, frame)
    codes[starved] = FED_BY_GAP
    codes[impossible] = IMPOSSIBLE
    clash = (hits > 1) & ~impossible & ~starved if frame.unique else None
    return Grid(frame.table, frame.rules, frame.axes, frame.classes, frame.members, codes, clash)


def outcomes_fed(resting: Resting, frame: Grid) -> dict[str, Codes]:
    """The outcomes of every earlier decision that this grid asks for, on its own axes."""
    return {
        column: _outcomes_on(resting, frame, column)
        for column in resting.used(frame.table, frame.rules)
        if column in resting.decided_by
    }


def firing(resting: Resting, frame: Grid, rule: Rule, fed: Mapping[str, Codes]) -> Mask:
    """Where one rule of a grid fires by itself; `fed` is from `outcomes_fed`."""
    fires = np.ones(frame.codes.shape, bool)
    for column, test in zip(frame.table.inputs, rule.tests, strict=True):
        if not test.any:
            fires &= _accepts(resting, frame, column, test, fed)
    return fires


def _accepts(
    resting: Resting, frame: Grid, column: str, test: UnaryTest, fed: Mapping[str, Codes]
) -> Mask:
    if column in fed:
        values = resting.manifest.outputs[column].values
        accepted = np.array([test.accepts_code(value) for value in values])
        return np.asarray(accepted[np.maximum(fed[column], 0)] & (fed[column] >= 0))
    at = frame.axes.index(column)
    cells = resting.axes[column].accepted(test)
    by_class = np.array([cells[members[0]] for members in frame.members[at]])
    return np.asarray(by_class.reshape(_along(at, len(frame.axes))))


def _outcomes_on(resting: Resting, frame: Grid, decision: str) -> Codes:
    """The outcome of an earlier decision, laid out on this grid's axes; codes < 0 where none."""
    source = resting.grids[resting.decided_by[decision].id]
    take = []
    for at, column in enumerate(source.axes):
        here = frame.axes.index(column)
        take.append([source.classes[at][members[0]] for members in frame.members[here]])
    codes = source.codes[np.ix_(*take)] if take else source.codes
    values = resting.manifest.outputs[decision].values
    outcome = np.array([values.index(rule.outputs[decision]) for rule in source.rules])
    outcomes = np.where(codes >= 0, outcome[np.maximum(codes, 0)], codes)
    shape = [
        len(frame.members[at]) if column in source.axes else 1
        for at, column in enumerate(frame.axes)
    ]
    return np.broadcast_to(outcomes.reshape(shape), frame.codes.shape)


def _impossible(resting: Resting, frame: Grid) -> Mask:
    impossible = np.zeros(frame.codes.shape, bool)
    for box in resting.manifest.impossible:
        if box.tests.keys() <= set(frame.axes):
            holds = np.ones(frame.codes.shape, bool)
            for column, test in box.tests.items():
                holds &= _accepts(resting, frame, column, test, {})
            impossible |= holds
    return impossible


def _along(at: int, dimensions: int) -> tuple[int, ...]:
    return tuple(-1 if n == at else 1 for n in range(dimensions))
