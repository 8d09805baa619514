"""What only all tables together show: who feeds whom, and which clocks start and stop."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence, Set

from ..model import COUNTED_FROM_EXPOSURE, COURSE_CLOCKS, NOT_BEFORE, Rule, Table
from .cells import DURATION, NONE, OUTPUT_MARK
from .heads import TableHead
from .strict import MANIFEST, Strict


def check_order(strict: Strict, tables: Sequence[Table], decided_by: Mapping[str, str]) -> None:
    """No table feeds itself, and each stands after those that feed it."""
    feeds = {table.id: {decided_by[i] for i in table.inputs if i in decided_by} for table in tables}
    order = {table.id: at for at, table in enumerate(tables)}
    for table in tables:
        circle = _circle(table.id, feeds)
        if circle:
            strict.fault(
                table.file,
                f"the table feeds itself: {' → '.join(circle)}; break the circle",
                row=1,
            )
            continue
        for column in table.inputs:
            feeder = decided_by.get(column)
            if feeder in order and order[feeder] > order[table.id]:
                strict.fault(
                    table.file,
                    f"is decided by the table {feeder!r}, which stands later in the "
                    f"manifest; move {feeder!r} before {table.id!r}",
                    row=1,
                    column=column,
                )


def _circle(start: str, feeds: Mapping[str, set[str]]) -> list[str]:
    """A way from `start` back to itself along what it is fed by, or []."""
    ways = [[start]]
    seen: set[str] = set()
    while ways:
        way = ways.pop()
        for feeder in sorted(feeds.get(way[-1], ())):
            if feeder == start:
                return [*way, start]
            if feeder not in seen:
                seen.add(feeder)
                ways.append([*way, feeder])
    return []


def check_clocks(
    strict: Strict, heads: Sequence[TableHead], tables: Sequence[Table], incomplete: Set[str]
) -> None:
    """A clock starts or stops with the exposure or with an action that some rule gives."""
    actions = {r.outputs["action"] for t in tables if t.role == "actions" for r in t.rules}
    if any(head.role == "actions" and head.id in incomplete for head in heads):
        return  # the action may stand in a row that could not be read
    for number, head in enumerate(heads, start=1):
        if head.clock_stops_with and head.clock_stops_with not in actions:
            strict.fault(
                MANIFEST,
                f"{head.clock_stops_with!r} is no action of this protocol; "
                f"actions are {', '.join(sorted(actions)) or 'none'}",
                column=f"tables[{number}].clock_stops_with",
            )
    for table in tables:
        for rule in table.rules if table.role == "actions" else ():
            start = rule.outputs["counted_from"]
            if start != COUNTED_FROM_EXPOSURE and start not in (*actions, *COURSE_CLOCKS):
                strict.fault(
                    table.file,
                    f"{start!r} is no action of this protocol; write "
                    f"{COUNTED_FROM_EXPOSURE} or one of {', '.join(sorted(actions))}; "
                    f"or, of a course of prophylaxis, {', '.join(COURSE_CLOCKS)}",
                    row=rule.row,
                    column=f"{OUTPUT_MARK}counted_from",
                )
            _check_not_before(strict, table, rule, actions)


def _check_not_before(strict: Strict, table: Table, rule: Rule, actions: Collection[str]) -> None:
    cell = rule.outputs.get(NOT_BEFORE, NONE)
    action, _, duration = cell.partition(" ")
    if cell != NONE and (action not in actions or not DURATION.fullmatch(duration)):
        strict.fault(
            table.file,
            f"{cell!r} is not understood; write an action of this protocol and a duration, "
            "for example hbig_first_dose P6M, or -",
            row=rule.row,
            column=OUTPUT_MARK + NOT_BEFORE,
        )
