"""What a house asks for before the first day."""

from __future__ import annotations

from dataclasses import dataclass

from thimble.clinical.durations import Duration


@dataclass(frozen=True, slots=True)
class Asked:
    """Diseases in the house's order, the protocol they are judged by, how long its laboratory takes from
    the draw to the result, and the rule set of exposure-prone procedures, "" where none is chosen."""

    diseases: tuple[str, ...]
    protocol: str
    turnaround: Duration
    rule_set: str = ""
