"""Published decision tables and FEEL cases (DMN Technology Compatibility Kit) against our engine.

Source and licence: `tests/published/dmn/README.md`. Cells go through our parser unchanged; expected
outcomes are the kit's own. Hit policies that we do not have are applied here, so that what is checked
is which rules fire; UNIQUE models are moreover written out as a protocol, proved and evaluated.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass
from decimal import Decimal
from pathlib import Path
from typing import Any
from xml.etree import ElementTree

import pytest

from thimble.protocol import Fact, Vocabulary, check_protocol, load_protocol
from thimble.protocol.feel import FeelError, UnaryTest, parse_codes, parse_numbers

KIT = Path(__file__).parent.parent / "published" / "dmn"
MODELS = sorted(path.name for path in KIT.glob("0[01][01]*-*") if "feel" not in path.name)
CODES = {"boolean": ("true", "false"), "string": ("High", "Low", "Medium")}
XSI = "{http://www.w3.org/2001/XMLSchema-instance}type"


@dataclass(frozen=True)
class Model:
    hit_policy: str
    aggregation: str
    inputs: list[tuple[str, str]]
    outputs: list[tuple[str, list[str]]]
    rules: list[tuple[list[str], list[str]]]


def named(element: ElementTree.Element, name: str) -> list[ElementTree.Element]:
    return [child for child in element.iter() if child.tag.rpartition("}")[2] == name]


def text(element: ElementTree.Element) -> str:
    return "".join(element.itertext()).strip()


def read_model(name: str) -> Model:
    root = ElementTree.parse(next((KIT / name).glob("*.dmn"))).getroot()  # noqa: S314 - our own copy
    (table,) = named(root, "decisionTable")
    data = {v.get("name"): v.get("typeRef", "") for v in named(root, "variable")}
    inputs = []
    for clause in named(table, "input"):
        fact = text(named(clause, "inputExpression")[0])
        inputs.append((fact, data[fact]))
    outputs = [
        (clause.get("name", ""), [text(v).split(",") for v in named(clause, "outputValues")])
        for clause in named(table, "output")
    ]
    return Model(
        table.get("hitPolicy", "UNIQUE"),
        table.get("aggregation", ""),
        inputs,
        [(name, [v.strip().strip('"') for v in (order[0] if order else [])])
         for name, order in outputs],
        [
            (
                [text(e) for e in named(rule, "inputEntry")],
                [text(e).strip('"') for e in named(rule, "outputEntry")],
            )
            for rule in named(table, "rule")
        ],
    )  # fmt: skip


def plain(element: ElementTree.Element) -> Any:
    """An expected value: a text, a list of them, or a row of components."""
    items = [child for child in element if child.tag.rpartition("}")[2] == "item"]
    lists = [child for child in element if child.tag.rpartition("}")[2] == "list"]
    if lists:
        return [plain(item) for item in lists[0]]
    if items:
        return [plain(item) for item in items]
    components = [child for child in element if child.tag.rpartition("}")[2] == "component"]
    if components:
        return {c.get("name"): text(c) for c in components}
    return text(element)


def read_cases(name: str) -> Iterator[tuple[str, dict[str, str], Any]]:
    root = ElementTree.parse(next((KIT / name).glob("*-test-01.xml"))).getroot()  # noqa: S314
    for case in named(root, "testCase"):
        situation = {str(n.get("name")): text(n) for n in named(case, "inputNode")}
        yield str(case.get("id")), situation, plain(named(case, "expected")[0])


def unary_test(kind: str, cell: str) -> UnaryTest:
    return parse_numbers(cell, "") if kind == "number" else parse_codes(cell, CODES[kind])


def accepts(kind: str, test: UnaryTest, value: str) -> bool:
    return test.accepts_number(Decimal(value)) if kind == "number" else test.accepts_code(value)


def outcome(model: Model, situation: dict[str, str]) -> Any:
    """DMN 1.5 clause 8.2.8, hit policies, over the rules that our parser lets fire."""
    rows = [
        outputs
        for cells, outputs in model.rules
        if all(
            accepts(kind, unary_test(kind, cell), situation[fact])
            for (fact, kind), cell in zip(model.inputs, cells, strict=True)
        )
    ]

    def priority(row: list[str]) -> list[int]:
        return [
            order.index(value) if order else 0
            for (_, order), value in zip(model.outputs, row, strict=True)
        ]

    if model.hit_policy in {"PRIORITY", "OUTPUT ORDER"}:
        rows.sort(key=priority)
    if model.aggregation:
        numbers = [Decimal(row[0]) for row in rows]
        return str({"SUM": sum, "MIN": min, "MAX": max, "COUNT": len}[model.aggregation](numbers))
    if model.hit_policy == "UNIQUE":
        assert len(rows) == 1
    if model.hit_policy == "ANY":
        assert rows == [rows[0]] * len(rows)
    named_rows = [
        row[0]
        if len(row) == 1
        else {name: value for (name, _), value in zip(model.outputs, row, strict=True)}
        for row in rows
    ]
    several = model.hit_policy in {"COLLECT", "RULE ORDER", "OUTPUT ORDER"}
    return named_rows if several else named_rows[0]


def unordered(value: Any) -> Any:
    return sorted(value, key=str) if isinstance(value, list) else value


CASES = [(name, *case) for name in MODELS for case in read_cases(name)]


def test_the_kit_is_here() -> None:
    assert len(MODELS) == 17
    assert len(CASES) == 51
    assert {read_model(name).hit_policy for name in MODELS} == {
        "UNIQUE", "ANY", "PRIORITY", "FIRST", "RULE ORDER", "OUTPUT ORDER", "COLLECT",
    }  # fmt: skip


@pytest.mark.parametrize(
    ("name", "situation", "expected"),
    [pytest.param(n, s, e, id=f"{n}-{c}") for n, c, s, e in CASES],
)
def test_published_outcomes(name: str, situation: dict[str, str], expected: Any) -> None:
    model = read_model(name)
    found = outcome(model, situation)
    if model.hit_policy == "COLLECT":  # "in arbitrary order", DMN 1.5 clause 8.2.8
        assert unordered(found) == unordered(expected)
    else:
        assert found == expected


@pytest.mark.parametrize("name", ["0004-simpletable-U", "0010-multi-output-U"])
def test_published_unique_tables_as_protocols(name: str, tmp_path: Path) -> None:
    model = read_model(name)
    facts = {
        fact.lower(): Fact(fact.lower(), "number", "?", low=0, high=150)
        if kind == "number"
        else Fact(fact.lower(), "code", "?", CODES[kind])
        for fact, kind in model.inputs
    }
    outputs = [(column or "status").lower() for column, _ in model.outputs]
    manifest = [
        'id = "kit"\ntitle = "kit"\njurisdiction = "kit"\nedition = "1"',
        'in_force_from = 2026-01-01\n[sources]\nK = "kit"',
    ]
    for at, (column, (_, values)) in enumerate(zip(outputs, model.outputs, strict=True)):
        every = sorted({v for v in values if v} | {row[1][at] for row in model.rules})
        manifest.append(f"[outputs.{column}]\nvalues = {every}")
    manifest.append(
        '[[tables]]\nid = "table"\nfile = "table.csv"\nhit_policy = "UNIQUE"\nquestion = "?"\n'
        f"decides = {outputs}"
    )
    rows = [["rule", *facts, *(f"→ {o}" for o in outputs), "source", "standing", "note"]]
    rows += [
        [f"R{n}", *cells, *values, "K: 1", "read", "-"]
        for n, (cells, values) in enumerate(model.rules, start=1)
    ]
    (tmp_path / "protocol.toml").write_text("\n".join(manifest), encoding="utf-8")
    quoted = [",".join('"' + cell.replace('"', '""') + '"' for cell in row) for row in rows]
    (tmp_path / "table.csv").write_text("\n".join(quoted), encoding="utf-8")
    (tmp_path / "cases.toml").write_text(
        '[[case]]\nname = "one"\nsource = "own"\n'
        'facts = { isaffordable = "false" }\nexpect = '
        f'{{ {outputs[0]} = "Declined" }}\n',
        encoding="utf-8",
    )
    protocol = load_protocol(tmp_path, Vocabulary(facts))
    assert check_protocol(protocol) == ()
    for _, situation, expected in read_cases(name):
        found = protocol.evaluate(
            {
                fact.lower(): float(situation[fact]) if kind == "number" else situation[fact]
                for fact, kind in model.inputs
            }
        ).findings
        wanted = expected if isinstance(expected, dict) else {"status": expected}
        assert {k.lower(): v for k, v in wanted.items()} == {k: f.value for k, f in found.items()}


# -- FEEL: `number in test` ---------------------------------------------------------------------


def feel_cases() -> Iterator[tuple[str, str, str, bool]]:
    folder = KIT / "0072-feel-in"
    root = ElementTree.parse(folder / "0072-feel-in.dmn").getroot()  # noqa: S314
    formulas = {
        str(d.get("name")): text(named(d, "text")[0])
        for d in named(root, "decision")
        if named(d, "text")
    }
    cases = ElementTree.parse(folder / "0072-feel-in-test-01.xml").getroot()  # noqa: S314
    for case in named(cases, "testCase"):
        node = named(case, "resultNode")[0]
        formula = formulas.get(str(node.get("name")), "")
        match = re.fullmatch(r"(-?[\d.]+) in (.+)", formula)
        expected = text(named(node, "expected")[0])
        if (
            match
            and expected in {"true", "false"}
            and re.fullmatch(r"[\d\s.,<>=!()\[\]-]+", match[2])
        ):
            yield str(node.get("name")), match[1], match[2], expected == "true"


def as_cell(formula: str) -> str:
    """A list literal `[…, …]` or bracketed tests `(…, …)` as the bare list that a cell holds."""
    inner = re.fullmatch(r"[\[(](.*)[\])]", formula)
    return inner[1] if inner and (".." not in formula or formula.startswith("[[")) else formula


FEEL_CASES = list(feel_cases())


def test_there_are_feel_cases() -> None:
    assert len(FEEL_CASES) >= 35
    assert {expected for *_, expected in FEEL_CASES} == {True, False}


@pytest.mark.parametrize(
    ("number", "formula", "expected"), [pytest.param(*c[1:], id=c[0]) for c in FEEL_CASES]
)
def test_published_feel_cases(number: str, formula: str, expected: bool) -> None:
    cell = as_cell(formula)
    if re.match(r"!?=", cell):  # `= 10` and `!= 10`: not in our subset, refused in words
        with pytest.raises(FeelError, match="is not a test of a number"):
            parse_numbers(cell, "")
    else:
        assert parse_numbers(cell, "").accepts_number(Decimal(number)) == expected
