"""The tables written out as Python: one function, an `if` a rule, as a programmer would by hand.

It answers with the same explanation (rule, source, standing, note) as we do, but knows nothing of
unknown facts, and nobody proves it.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from thimble.protocol import Protocol, Reason
from thimble.protocol.feel import UnaryTest

Answer = tuple[dict[str, tuple[str, Any]], dict[str, list[tuple[Any, Any]]]]


def generate(protocol: Protocol) -> Callable[[dict[str, Any]], Answer]:
    """A function from a full situation to (decision → (value, reason)) and (table → rows, reasons)."""
    names: dict[str, Any] = {}
    lines = ["def decide(facts):", "    decided = {}", "    items = {}"]
    used = dict.fromkeys(c.partition(".")[0] for c in protocol.index.axes)
    lines += [f"    {fact} = facts[{fact!r}]" for fact in used]
    for table in protocol.tables:
        if table.hit_policy == "COLLECT":
            lines.append(f"    rows = items[{table.id!r}] = []")
        for number, rule in enumerate(table.rules):
            reason = f"R_{table.id}_{number}"
            names[reason] = table.reason(rule)
            tests = [
                _condition(protocol, column, test)
                for column, test in zip(table.inputs, rule.tests, strict=True)
                if not test.any
            ]
            head = "if" if table.hit_policy == "COLLECT" or number == 0 else "elif"
            lines.append(f"    {head} {' and '.join(tests) or 'True'}:")
            if table.hit_policy == "COLLECT":
                names[f"O_{reason}"] = rule.outputs
                lines.append(f"        rows.append((O_{reason}, {reason}))")
            for decision in table.decides:
                value = rule.outputs[decision]
                lines.append(f"        d_{decision} = {value!r}")
                lines.append(f"        decided[{decision!r}] = ({value!r}, {reason})")
    lines.append("    return decided, items")
    exec("\n".join(lines), names)  # noqa: S102 - our own text, generated above
    decide: Callable[[dict[str, Any]], Answer] = names["decide"]
    return decide


def _condition(protocol: Protocol, column: str, test: UnaryTest) -> str:
    if column not in protocol.index.axes:
        name, member = f"d_{column}", ""
    else:
        name, _, member = column.partition(".")
    if member:
        wanted = [code == "yes" for code in ("no", "yes") if test.accepts_code(code)]
        if len(wanted) == 2:
            return "True"
        return f"{member!r} {'in' if wanted == [True] else 'not in'} {name}"
    if test.codes:
        if len(test.codes) == 1:
            return f"{name} {'!=' if test.negated else '=='} {test.codes[0]!r}"
        return f"{name} {'not in' if test.negated else 'in'} {test.codes!r}"
    parts = []
    for i in test.intervals:
        if i.low is not None and i.low == i.high:
            parts.append(f"{name} == {i.low}")
            continue
        ends = []
        if i.low is not None:
            ends.append(f"{name} {'>=' if i.low_closed else '>'} {i.low}")
        if i.high is not None:
            ends.append(f"{name} {'<=' if i.high_closed else '<'} {i.high}")
        parts.append(f"({' and '.join(ends)})")
    return f"{'not ' if test.negated else ''}({' or '.join(parts)})"


def as_rules(answer: Answer) -> dict[str, set[str]]:
    """Table → rules that fired, for comparison."""
    decided, items = answer
    rules: dict[str, set[str]] = {table: set() for table in items}
    reasons: list[Reason] = [reason for _, reason in decided.values()]
    reasons += [reason for rows in items.values() for _, reason in rows]
    for reason in reasons:
        rules.setdefault(reason.table, set()).add(reason.rule)
    return rules
