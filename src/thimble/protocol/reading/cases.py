"""The protocol's own cases: each decision, value and name in them is one that can come out."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence, Set
from typing import Any

from ..model import Case, Output, Table
from ..vocabulary import Fact
from .strict import CASES, Strict, nearest


def read_cases(
    strict: Strict, tables: Sequence[Table], outputs: Mapping[str, Output], unsure: Set[str]
) -> list[Case]:
    """The protocol's own cases; each decision, value and name in them is one that can come out.

    What cases say of the ids in `unsure` is not judged: those tables have faults of their own.
    """
    raw = strict.toml(CASES)
    if raw is None or not strict.keys(CASES, raw, "", ("case",)):
        return []
    decisions: dict[str, tuple[str, ...] | None] = {
        d: outputs[d].values for t in tables for d in t.decides if d in outputs
    }
    named: dict[str, tuple[str, ...] | None] = {
        t.id: tuple(dict.fromkeys(rule.outputs[t.key or t.outputs[0]] for rule in t.rules))
        for t in tables
        if t.hit_policy == "COLLECT" and t.outputs and (not t.key or t.key in t.outputs)
    }
    decisions.update(dict.fromkeys(unsure))
    named.update(dict.fromkeys(unsure))
    cases: list[Case] = []
    for number, body in strict.tables(CASES, raw.get("case", []), "case"):
        if not strict.keys(
            CASES, body, number, ("name", "source", "facts"),
            ("expect", "possible", "includes", "excludes"),
        ):  # fmt: skip
            continue
        name = strict.text(CASES, body, "name", number)
        where = f"case {name!r}"
        if any(name == other.name for other in cases):
            strict.fault(CASES, "two cases have this name; rename one", column=where)
        if not any(body.get(key) for key in ("expect", "possible", "includes", "excludes")):
            strict.fault(CASES, "expects nothing; say what must come out", column=where)
        cases.append(
            Case(
                name=name,
                source=strict.text(CASES, body, "source", where),
                facts=_facts(strict, where, body.get("facts", {})),
                expect=_expected(strict, where, body.get("expect", {}), decisions, named),
                possible=_outcomes(strict, where, "possible", body, decisions),
                includes=_outcomes(strict, where, "includes", body, named),
                excludes=_outcomes(strict, where, "excludes", body, named),
            )
        )
    return cases


def _expected(
    strict: Strict,
    where: str,
    raw: Any,
    decisions: Mapping[str, tuple[str, ...] | None],
    named: Mapping[str, tuple[str, ...] | None],
) -> dict[str, str | list[str]]:
    found: dict[str, str | list[str]] = {}
    for id_, value in strict.table(CASES, raw, f"{where}.expect").items():
        place = f"{where}.expect.{id_}"
        if id_ in decisions and decisions[id_] is None:
            continue
        if id_ in decisions:
            if not isinstance(value, str):
                strict.fault(CASES, f"must be one value; found {value!r}", column=place)
                continue
            _check_values(strict, place, [value], decisions[id_])
            found[id_] = value
        elif _is_decided(strict, f"{where}.expect", id_, (*decisions, *named)):
            found[id_] = list(strict.list_of_texts(CASES, value, place))
            _check_values(strict, place, found[id_], named[id_])
    return found


def _outcomes(
    strict: Strict,
    where: str,
    key: str,
    body: Mapping[str, Any],
    allowed: Mapping[str, tuple[str, ...] | None],
) -> dict[str, tuple[str, ...]]:
    found = {}
    for id_, value in strict.table(CASES, body.get(key, {}), f"{where}.{key}").items():
        if _is_decided(strict, f"{where}.{key}", id_, tuple(allowed)):
            place = f"{where}.{key}.{id_}"
            found[id_] = strict.list_of_texts(CASES, value, place)
            _check_values(strict, place, found[id_], allowed[id_])
    return found


def _is_decided(strict: Strict, where: str, id_: str, among: Sequence[str]) -> bool:
    if id_ in among:
        return True
    strict.fault(
        CASES, f"{id_!r} is not decided here; allowed are {', '.join(sorted(among))}", column=where
    )
    return False


def _check_values(
    strict: Strict, where: str, values: Iterable[str], allowed: Sequence[str] | None
) -> None:
    for value in values:
        if allowed is not None and value not in allowed:
            strict.fault(
                CASES,
                f"the value {value!r} is not known; allowed are {', '.join(allowed)}",
                column=where,
            )


def _facts(strict: Strict, where: str, raw: Any) -> dict[str, Any]:
    facts: dict[str, Any] = {}
    for id_, value in strict.table(CASES, raw, f"{where}.facts").items():
        fact: Fact | None = strict.vocabulary.get(id_)
        if fact is None:
            near = nearest(id_, tuple(strict.vocabulary))
            strict.fault(CASES, f"{id_!r} is not a fact{near}", column=f"{where}.facts")
            continue
        try:
            facts[id_] = fact.check(value)
        except ValueError as error:
            strict.fault(CASES, str(error), column=f"{where}.facts")
    return facts
