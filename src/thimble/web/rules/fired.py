"""Which rules of a table a plan rests on, and what it leaves open."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import fields, is_dataclass

from thimble.ledger.plan import Plan
from thimble.protocol import Protocol, Reason
from thimble.protocol.model import Table
from thimble.web.rules.wording import output_label, said_values


def fired_in(plan: Plan, table: str) -> frozenset[str]:
    """The rules of a table that a plan rests on: every reason in it, wherever it stands."""
    return frozenset(reason.rule for reason in _reasons(plan) if reason.table == table)


def _reasons(value: object) -> Iterable[Reason]:
    if isinstance(value, Reason):
        yield value
    elif isinstance(value, Mapping):
        for inner in value.values():
            yield from _reasons(inner)
    elif isinstance(value, tuple | list):
        for inner in value:
            yield from _reasons(inner)
    elif is_dataclass(value) and not isinstance(value, type):
        for part in fields(value):
            yield from _reasons(getattr(value, part.name))


def open_in(plan: Plan, table: Table, protocol: Protocol) -> tuple[str, ...]:
    """What a table's decisions still can be for a case, in words; () where all is settled."""
    said = []
    for decision in table.decides:
        finding = plan.findings.get(decision)
        if finding is not None and finding.value is None:
            possible = " or ".join(said_values(decision, finding.possible, protocol))
            said.append(f"{output_label(decision, protocol)} is still open: {possible}")
    return tuple(said)
