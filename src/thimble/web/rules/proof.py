"""What was proved of a protocol."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from thimble.protocol import Fault, Protocol, check_protocol
from thimble.protocol.compiling.grids import IMPOSSIBLE


@dataclass(frozen=True, slots=True)
class Proof:
    """What was proved of a protocol: `situations` by table id, `faults` as found."""

    faults: tuple[Fault, ...]
    situations: Mapping[str, int]
    ordered: frozenset[str]

    @property
    def total(self) -> int:
        return sum(self.situations.values())


@lru_cache(maxsize=8)
def proof_of(protocol: Protocol) -> Proof:
    """Prove a protocol once; it cannot change while it is loaded."""
    situations: Counter[str] = Counter()
    for grid in protocol.index.grids:
        situations[grid.table.id] += int(np.count_nonzero(grid.codes != IMPOSSIBLE))
    ordered = frozenset(
        table.id
        for table in protocol.tables
        if any(decision in protocol.manifest.outcome_order for decision in table.decides)
    )
    return Proof(check_protocol(protocol), dict(situations), ordered)
