"""What the manifest declares: the outputs, and the head of each table before its file is read."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from ..model import Output
from .strict import MANIFEST, Strict

ROLES = ("reasons", "actions", "cautions")
IDENTIFIER = re.compile(r"[a-z][a-z0-9_]*")


@dataclass(frozen=True, slots=True)
class TableHead:
    """A `[[tables]]` entry of the manifest, before its file is read."""

    id: str
    file: str
    hit_policy: str
    role: str
    question: str
    decides: tuple[str, ...]
    key: str
    clock_stops_with: str


def read_outputs(strict: Strict, raw: Any) -> dict[str, Output]:
    """The outputs that the manifest declares, by id."""
    outputs: dict[str, Output] = {}
    for id_, body in strict.table(MANIFEST, raw, "outputs").items():
        where = f"outputs.{id_}"
        if id_ in strict.vocabulary:
            strict.fault(MANIFEST, "is the name of a fact; choose another", column=where)
        if not strict.keys(
            MANIFEST, body, where, ("values",), ("label", "labels", "inner", "beside")
        ):
            continue
        values = strict.list_of_texts(MANIFEST, body.get("values"), f"{where}.values")
        labels = strict.texts(MANIFEST, body.get("labels", {}), f"{where}.labels")
        for value in labels:
            if value not in values:
                strict.fault(
                    MANIFEST,
                    f"labels {value!r}, which is not a value; values are {', '.join(values)}",
                    column=f"{where}.labels",
                )
        inner = body.get("inner", False)
        if not isinstance(inner, bool):
            strict.fault(MANIFEST, "write true or false", column=f"{where}.inner")
        outputs[id_] = Output(
            id_, values, strict.text(MANIFEST, body, "label", where), labels, inner is True,
            strict.text(MANIFEST, body, "beside", where),
        )  # fmt: skip
    return outputs


def read_heads(strict: Strict, raw: Any, outputs: Mapping[str, Output]) -> list[TableHead]:
    """Every `[[tables]]` entry that could be understood, in order."""
    heads: list[TableHead] = []
    for where, body in strict.tables(MANIFEST, raw, "tables"):
        if not strict.keys(
            MANIFEST, body, where,
            ("id", "file", "hit_policy", "question"),
            ("decides", "role", "key", "clock_stops_with"),
        ):  # fmt: skip
            continue
        head = TableHead(
            id=strict.text(MANIFEST, body, "id", where),
            file=strict.text(MANIFEST, body, "file", where),
            hit_policy=strict.text(MANIFEST, body, "hit_policy", where),
            role=strict.text(MANIFEST, body, "role", where) or "decision",
            question=strict.text(MANIFEST, body, "question", where),
            decides=strict.list_of_texts(MANIFEST, body["decides"], f"{where}.decides")
            if "decides" in body
            else (),
            key=strict.text(MANIFEST, body, "key", where),
            clock_stops_with=strict.text(MANIFEST, body, "clock_stops_with", where),
        )
        _check_head(strict, head, heads, outputs, where)
        heads.append(head)
    return heads


def _check_head(
    strict: Strict,
    head: TableHead,
    earlier: Sequence[TableHead],
    outputs: Mapping[str, Output],
    where: str,
) -> None:
    if not IDENTIFIER.fullmatch(head.id):
        strict.fault(MANIFEST, "write lower-case letters, digits and _", column=f"{where}.id")
    if head.file != Path(head.file).name or not head.file.endswith(".csv"):
        strict.fault(
            MANIFEST,
            f"{head.file!r} must be the name of a CSV file in this folder",
            column=f"{where}.file",
        )
    if any(head.file == other.file for other in earlier):
        strict.fault(MANIFEST, f"{head.file!r} holds another table already", column=f"{where}.file")
    if any(head.id == other.id for other in earlier):
        strict.fault(MANIFEST, f"the table {head.id!r} is declared twice", column=f"{where}.id")
    if head.hit_policy == "UNIQUE":
        if head.role != "decision":
            strict.fault(MANIFEST, "a UNIQUE table has no role; remove it", column=f"{where}.role")
        if not head.decides:
            strict.fault(
                MANIFEST,
                "a UNIQUE table says what it decides: decides = [output, …]",
                column=f"{where}.decides",
            )
    elif head.hit_policy == "COLLECT":
        if head.role not in ROLES:
            strict.fault(
                MANIFEST,
                f"a COLLECT table has one of the roles {', '.join(ROLES)}",
                column=f"{where}.role",
            )
        if head.decides:
            strict.fault(
                MANIFEST, "only a UNIQUE table decides; remove it", column=f"{where}.decides"
            )
        if head.role == "reasons" and head.id not in outputs:
            strict.fault(
                MANIFEST,
                f"declare the values of these reasons in [outputs.{head.id}]",
                column=f"{where}.id",
            )
    else:
        strict.fault(
            MANIFEST,
            f"{head.hit_policy!r} is not a hit policy here; write UNIQUE or COLLECT",
            column=f"{where}.hit_policy",
        )
    taken = {d: other.id for other in earlier for d in other.decides}
    for decision in head.decides:
        if decision not in outputs:
            strict.fault(
                MANIFEST,
                f"{decision!r} is not declared; add [outputs.{decision}] with its values",
                column=f"{where}.decides",
            )
        if decision in taken:
            strict.fault(
                MANIFEST,
                f"{decision!r} is decided by the table {taken[decision]!r} already",
                column=f"{where}.decides",
            )


def check_outputs(
    strict: Strict, heads: Sequence[TableHead], outputs: Mapping[str, Output]
) -> None:
    """Every output is decided once; a collection does not share its id with a decision."""
    decided = {decision for head in heads for decision in head.decides}
    reasons = {head.id for head in heads if head.role == "reasons"}
    for id_ in outputs:
        if id_ not in decided | reasons:
            strict.fault(
                MANIFEST,
                "no table decides it; name it in `decides` of a table or remove it",
                column=f"outputs.{id_}",
            )
    for id_, output in outputs.items():
        if output.beside and (output.beside not in decided or output.beside == id_):
            strict.fault(
                MANIFEST,
                f"{output.beside!r} is no other decision of this protocol; name one or leave "
                "`beside` out",
                column=f"outputs.{id_}.beside",
            )
    for number, head in enumerate(heads, start=1):
        if head.hit_policy == "COLLECT" and head.id in decided:
            strict.fault(
                MANIFEST,
                f"{head.id!r} is the name of a decision; choose another",
                column=f"tables[{number}].id",
            )
