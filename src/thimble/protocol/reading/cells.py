"""How a cell is written: its test, a duration, nothing."""

from __future__ import annotations

import re

from ..feel import UnaryTest, parse_codes, parse_numbers
from ..vocabulary import MEMBER_CELLS, Fact

OUTPUT_MARK = "→ "
NONE = "-"
DURATION = re.compile(r"PT[0-9]+[HM]|P[0-9]+[DWMY]")


def parse_test(fact: Fact, cell: str) -> UnaryTest:
    """A cell over `fact`; a member column of a set fact takes yes or no."""
    if fact.kind == "number":
        return parse_numbers(cell, fact.unit)
    return parse_codes(cell, fact.values if fact.kind == "code" else MEMBER_CELLS)
