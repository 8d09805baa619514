"""The tables as a JDM graph for zen-engine: a chain of decision table nodes, each passing its input on."""

from __future__ import annotations

import json
from itertools import pairwise
from typing import Any

import zen
from bench.situations import Situation, look

from thimble.protocol import Protocol
from thimble.protocol.feel import UnaryTest
from thimble.protocol.model import Table


class ZenPeer:
    """One protocol in zen-engine; `ask` with or without its trace."""

    def __init__(self, protocol: Protocol) -> None:
        self.protocol = protocol
        self._decision = zen.ZenEngine().create_decision(json.dumps(_graph(protocol)))
        self.columns = {column: _name(column) for column in protocol.index.axes}

    def context(self, situation: Situation) -> dict[str, str | float]:
        """The situation in zen's own form: made beforehand, outside of the time."""
        return {name: look(situation, column) for column, name in self.columns.items()}

    def ask(self, context: dict[str, str | float], *, trace: bool = True) -> Any:
        return self._decision.evaluate(context, {"trace": trace})

    def as_rules(self, answer: Any) -> dict[str, set[str]]:
        """Table → rules that fired, for comparison."""
        result = answer["result"]
        return {
            table.id: {result[f"rule_of_{table.id}"]}
            if table.hit_policy == "UNIQUE"
            else {row["rule"] for row in result[f"rows_of_{table.id}"]}
            for table in self.protocol.tables
        }


def _name(column: str) -> str:
    return column.replace(".", "__")


def _graph(protocol: Protocol) -> dict[str, Any]:
    nodes = [{"id": "in", "name": "in", "type": "inputNode", "position": {"x": 0, "y": 0}}]
    nodes += [
        {
            "id": table.id,
            "name": table.id,
            "type": "decisionTableNode",
            "position": {"x": 0, "y": 0},
            "content": _table(table),
        }
        for table in protocol.tables
    ]  # type: ignore[misc]
    nodes.append({"id": "out", "name": "out", "type": "outputNode", "position": {"x": 0, "y": 0}})
    ids = [str(node["id"]) for node in nodes]
    edges = [
        {"id": f"{a}-{b}", "sourceId": a, "targetId": b, "type": "edge"} for a, b in pairwise(ids)
    ]
    return {"nodes": nodes, "edges": edges}


def _table(table: Table) -> dict[str, Any]:
    inputs = [{"id": f"i{n}", "name": c, "field": _name(c)} for n, c in enumerate(table.inputs)]
    unique = table.hit_policy == "UNIQUE"
    rule_field = f"rule_of_{table.id}" if unique else "rule"
    outputs = [{"id": f"o{n}", "name": c, "field": c} for n, c in enumerate(table.outputs)]
    outputs.append({"id": "rule", "name": "rule", "field": rule_field})
    rules = []
    for rule in table.rules:
        row = {"_id": rule.id, "rule": json.dumps(rule.id)}
        row |= {f"i{n}": _cell(test) for n, test in enumerate(rule.tests)}
        row |= {f"o{n}": json.dumps(rule.outputs[c]) for n, c in enumerate(table.outputs)}
        rules.append(row)
    content: dict[str, Any] = {
        "hitPolicy": "first" if unique else "collect",
        "passThrough": True,
        "inputs": inputs,
        "outputs": outputs,
        "rules": rules,
    }
    return content if unique else {**content, "outputPath": f"rows_of_{table.id}"}


def _cell(test: UnaryTest) -> str:
    if test.any:
        return ""
    if test.codes:
        codes = ", ".join(json.dumps(code) for code in test.codes)
        return f"not($ in [{codes}])" if test.negated else codes
    parts = []
    for i in test.intervals:
        if i.low is None or i.high is None:
            sign = "<" if i.low is None else ">"
            closed = "=" if i.low_closed or i.high_closed else ""
            parts.append(f"{sign}{closed} {i.high if i.low is None else i.low}")
        elif i.low == i.high:
            parts.append(f"{i.low}")
        else:
            ends = "[" if i.low_closed else "(", "]" if i.high_closed else ")"
            parts.append(f"{ends[0]}{i.low}..{i.high}{ends[1]}")
    if not test.negated:
        return ", ".join(parts)
    whole = [
        f"$ in {p}" if p[0] in "[(" else f"$ {p}" if p[0] in "<>" else f"$ == {p}" for p in parts
    ]
    return f"not({' or '.join(whole)})"
