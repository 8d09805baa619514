"""A whole protocol folder: the manifest, the tables it names, the cases, and nothing else beside them."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping, Sequence
from datetime import date, datetime
from pathlib import Path
from typing import Any

from ..faults import ProtocolFaults
from ..model import Manifest, Output, Table
from ..vocabulary import Vocabulary
from .cases import read_cases
from .cells import DURATION
from .fitting import check_clocks, check_order
from .heads import TableHead, check_outputs, read_heads, read_outputs
from .rows import Rows
from .sections import read_amounts, read_impossible, read_named_actions, read_severity
from .strict import CASES, MANIFEST, Strict


def read_folder(folder: Path, vocabulary: Vocabulary) -> Manifest:
    """The protocol in `folder`.

    Raises:
        ProtocolFaults: every fault found, in file and row order.
    """
    strict = Strict(folder, vocabulary)
    raw = strict.toml(MANIFEST)
    if raw is None:
        raise ProtocolFaults(strict.faults)
    strict.keys(
        MANIFEST, raw, "",
        required=("id", "title", "jurisdiction", "edition", "in_force_from", "sources",
                  "outputs", "tables"),
        optional=("note", "severity", "impossible", "amounts", "named_actions", "share_within"),
    )  # fmt: skip
    words = {
        key: strict.text(MANIFEST, raw, key)
        for key in ("id", "title", "jurisdiction", "edition", "note")
    }
    sources = strict.texts(MANIFEST, raw.get("sources", {}), "sources")
    outputs = read_outputs(strict, raw.get("outputs", {}))
    heads = read_heads(strict, raw.get("tables", []), outputs)
    _check_files(strict, heads)
    tables, incomplete = _tables(strict, heads, outputs, sources)
    check_outputs(strict, heads, outputs)
    check_clocks(strict, heads, tables, incomplete)
    # What else names the content of a table with a fault in it is not judged by what is left of it.
    unsure = incomplete | {d for head in heads if head.id in incomplete for d in head.decides}
    impossible = read_impossible(strict, raw.get("impossible", []))
    amounts = read_amounts(strict, raw.get("amounts", []), tables, unsure)
    named = read_named_actions(strict, raw.get("named_actions", {}), tables, unsure)
    fact_order, outcome_order = read_severity(strict, raw.get("severity", {}), outputs)
    cases = read_cases(strict, tables, outputs, unsure)
    share_within = _share_within(strict, raw)
    in_force_from = _in_force_from(strict, raw)
    if strict.faults:
        raise ProtocolFaults(sorted(strict.faults))
    return Manifest(
        **words,
        in_force_from=in_force_from,
        sources=sources,
        outputs=outputs,
        tables=tuple(tables),
        impossible=tuple(impossible),
        amounts=tuple(amounts),
        named_actions=named,
        share_within=share_within,
        fact_order=fact_order,
        outcome_order=outcome_order,
        cases=tuple(cases),
        digest=_digest(folder),
    )


def _check_files(strict: Strict, heads: Sequence[TableHead]) -> None:
    known = {MANIFEST, CASES} | {head.file for head in heads}
    for path in sorted(strict.folder.iterdir()):
        if path.suffix in {".csv", ".toml"} and path.name not in known:
            strict.fault(path.name, "belongs to no table; name it in the manifest or remove it")


def _tables(
    strict: Strict,
    heads: Sequence[TableHead],
    outputs: Mapping[str, Output],
    sources: Mapping[str, str],
) -> tuple[list[Table], set[str]]:
    """The tables that could be read, and the ids of those in which a fault was found."""
    decided_by = {d: head.id for head in heads for d in head.decides}
    rows = Rows(strict, outputs, sources, decided_by)
    tables: list[Table] = []
    incomplete: set[str] = set()
    for head in heads:
        before = len(strict.faults)
        table = rows.read(head)
        if len(strict.faults) > before:
            incomplete.add(head.id)
        if table is not None:
            tables.append(table)
    check_order(strict, tables, decided_by)
    return tables, incomplete


def _share_within(strict: Strict, raw: Mapping[str, Any]) -> str:
    share_within = strict.text(MANIFEST, raw, "share_within")
    if share_within and not DURATION.fullmatch(share_within):
        strict.fault(
            MANIFEST,
            f"{share_within!r} is not a duration; write for example P7D",
            column="share_within",
        )
    return share_within


def _in_force_from(strict: Strict, raw: Mapping[str, Any]) -> date:
    in_force = raw.get("in_force_from")
    if isinstance(in_force, date) and not isinstance(in_force, datetime):
        return in_force
    strict.fault(MANIFEST, "write a date, for example 2026-01-01", column="in_force_from")
    return date.min


def _digest(folder: Path) -> str:
    """SHA-256 over the names and contents of the folder's files, line ends made alike."""
    digest = hashlib.sha256()
    for path in sorted(p for p in folder.iterdir() if p.suffix in {".csv", ".toml"}):
        content = path.read_bytes().replace(b"\r\n", b"\n")
        digest.update(f"{path.name}\0{len(content)}\0".encode())
        digest.update(content)
    return digest.hexdigest()
