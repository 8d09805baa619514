"""Further sections of the manifest: what cannot be, amounts, named actions, orders of severity."""

from __future__ import annotations

from collections.abc import Mapping, Sequence, Set
from typing import Any

from ..feel import FeelError
from ..model import Amount, Impossible, Output, Table
from .cells import parse_test
from .strict import MANIFEST, Strict, nearest

Order = tuple[tuple[str, ...], ...]


# -- impossible situations ----------------------------------------------------------------------


def read_impossible(strict: Strict, raw: Any) -> list[Impossible]:
    """Every `[[impossible]]` entry that could be understood."""
    found = []
    for where, body in strict.tables(MANIFEST, raw, "impossible"):
        if not strict.keys(MANIFEST, body, where, ("when", "because"), ("gives_way",)):
            continue
        tests = {}
        for column, cell in strict.table(MANIFEST, body.get("when", {}), f"{where}.when").items():
            place = f"{where}.when.{column}"
            if not strict.check_column(MANIFEST, 0, column, place):
                continue
            if not isinstance(cell, str):
                strict.fault(MANIFEST, f"must be a text in quotes; found {cell!r}", column=place)
                continue
            try:
                tests[column] = parse_test(strict.vocabulary[column.partition(".")[0]], cell)
            except FeelError as error:
                strict.fault(MANIFEST, str(error), column=place)
        gives_way = strict.text(MANIFEST, body, "gives_way", where)
        if gives_way and gives_way not in tests:
            strict.fault(
                MANIFEST,
                f"{gives_way!r} is not among the facts of this entry; "
                f"write one of {', '.join(tests)}",
                column=f"{where}.gives_way",
            )
        because = strict.text(MANIFEST, body, "because", where)
        found.append(Impossible(tests, because, gives_way))
    return found


# -- amounts ------------------------------------------------------------------------------------


def read_amounts(
    strict: Strict, raw: Any, tables: Sequence[Table], unsure: Set[str]
) -> list[Amount]:
    """Every `[[amounts]]` entry that could be understood: its doses, decisions and weight exist.

    What entries say of the ids in `unsure` is not judged: those tables have faults of their own.
    """
    acting = [table for table in tables if table.role == "actions"]
    doses = {
        rule.outputs["action"] for t in acting for rule in t.rules if rule.outputs["kind"] == "dose"
    }
    decided = {d for table in tables for d in table.decides}
    numbers = [id_ for id_, fact in strict.vocabulary.items() if fact.kind == "number"]
    found: list[Amount] = []
    for where, body in strict.tables(MANIFEST, raw, "amounts"):
        if not strict.keys(
            MANIFEST, body, where, ("actions", "amount", "per", "unit", "weight"), ("route",)
        ):
            continue
        actions = strict.list_of_texts(MANIFEST, body.get("actions"), f"{where}.actions")
        for action in actions:
            if action not in doses and not unsure:
                strict.fault(
                    MANIFEST,
                    f"{action!r} is no dose of a table of actions; "
                    f"doses are {', '.join(sorted(doses)) or 'none'}",
                    column=f"{where}.actions",
                )
            if any(action in other.actions for other in found):
                strict.fault(
                    MANIFEST, f"{action!r} has an amount already", column=f"{where}.actions"
                )
        said = {
            key: strict.text(MANIFEST, body, key, where)
            for key in ("amount", "per", "unit", "weight", "route")
        }
        for key in ("amount", "per", "unit"):
            if said[key] and said[key] not in decided | unsure:
                strict.fault(
                    MANIFEST,
                    f"{said[key]!r} is not decided here; allowed are {', '.join(sorted(decided))}",
                    column=f"{where}.{key}",
                )
        if said["weight"] and said["weight"] not in numbers:
            strict.fault(
                MANIFEST,
                f"{said['weight']!r} is no fact that is a number{nearest(said['weight'], numbers)}",
                column=f"{where}.weight",
            )
        found.append(Amount(tuple(actions), **said))
    return found


# -- named actions ------------------------------------------------------------------------------


def read_named_actions(
    strict: Strict, raw: Any, tables: Sequence[Table], unsure: Set[str]
) -> dict[str, tuple[str, ...]]:
    """Names that programs know, each for actions of this protocol."""
    known = {rule.outputs["action"] for t in tables if t.role == "actions" for rule in t.rules}
    found = {}
    for name, body in strict.table(MANIFEST, raw, "named_actions").items():
        where = f"named_actions.{name}"
        found[name] = strict.list_of_texts(MANIFEST, body, where)
        for action in found[name]:
            if action not in known and not unsure:
                strict.fault(
                    MANIFEST,
                    f"{action!r} is no action of this protocol; name one that a rule gives",
                    column=where,
                )
    return found


# -- orders -------------------------------------------------------------------------------------


def read_severity(
    strict: Strict, raw: Any, outputs: Mapping[str, Output]
) -> tuple[dict[str, Order], dict[str, Order]]:
    """The declared orders of facts and of outcomes, ascending."""
    if not raw or not strict.keys(MANIFEST, raw, "severity", (), ("facts", "outcomes")):
        return {}, {}
    codes = {id_: f.values if f.kind == "code" else () for id_, f in strict.vocabulary.items()}
    decided = {id_: output.values for id_, output in outputs.items()}
    return _orders(strict, raw, "facts", codes), _orders(strict, raw, "outcomes", decided)


def _orders(
    strict: Strict, raw: Mapping[str, Any], kind: str, allowed: Mapping[str, tuple[str, ...]]
) -> dict[str, Order]:
    where = f"severity.{kind}"
    orders = strict.table(MANIFEST, raw.get(kind, {}), where)
    return {
        id_: _order(strict, f"{where}.{id_}", order, allowed.get(id_))
        for id_, order in orders.items()
    }


def _order(strict: Strict, where: str, raw: Any, allowed: tuple[str, ...] | None) -> Order:
    if allowed is None:
        strict.fault(MANIFEST, "orders something that is not declared", column=where)
        return ()
    if not allowed:
        strict.fault(MANIFEST, "only codes can be ordered by a list", column=where)
        return ()
    if not isinstance(raw, list):
        strict.fault(MANIFEST, "must be a list, the mildest first", column=where)
        return ()
    groups = [item if isinstance(item, list) else [item] for item in raw]
    seen: list[Any] = []
    for value in (value for group in groups for value in group):
        if value not in allowed:
            strict.fault(
                MANIFEST,
                f"the value {value!r} is not known; allowed are {', '.join(allowed)}",
                column=where,
            )
        if value in seen:
            strict.fault(MANIFEST, f"lists {value!r} twice; list it once", column=where)
        seen.append(value)
    return tuple(tuple(map(str, group)) for group in groups)
