"""The protocol's own cases of a table in words, and whether each comes out as it says."""

from __future__ import annotations

from dataclasses import dataclass

from thimble.protocol import Protocol
from thimble.protocol.model import Case, Table
from thimble.web.rules.proof import Proof
from thimble.web.rules.wording import (
    output_label,
    plain,
    said_values,
)


@dataclass(frozen=True, slots=True)
class CasePage:
    """One of the protocol's own cases that checks a table."""

    name: str
    source: str
    facts: tuple[str, ...]
    expects: tuple[str, ...]
    fault: str


def checks(case: Case, table: Table) -> bool:
    """Whether one of the protocol's own cases expects something of a table."""
    named = {*case.expect, *case.possible, *case.includes, *case.excludes}
    return table.id in named or bool(named & set(table.decides))


def case_in_words(case: Case, protocol: Protocol, proof: Proof) -> CasePage:
    """A case with what it expects, and the fault that was found in it."""
    column = f"case {case.name!r}"
    fault = next((fault.message for fault in proof.faults if fault.column == column), "")
    facts = []
    for id_, value in case.facts.items():
        fact = protocol.vocabulary[id_]
        facts.append(f"{fact.question} {fact.label(value)}")
    expects = [
        f"{output_label(name, protocol)}: {', '.join(said_values(name, value, protocol))}"
        for name, value in case.expect.items()
    ]
    expects += [
        f"{output_label(name, protocol)}: still possible {', '.join(said_values(name, values, protocol))}"
        for name, values in case.possible.items()
    ]
    expects += [
        f"{plain(name)}: {lead} {', '.join(plain(value) for value in values)}"
        for lead, wanted in (("holds", case.includes), ("holds not", case.excludes))
        for name, values in wanted.items()
    ]
    return CasePage(case.name, case.source, tuple(facts), tuple(expects), fault)
