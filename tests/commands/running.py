"""Run the command as a user does: arguments in; status, output and errors out."""

from __future__ import annotations

import contextlib
import io
import json
import tempfile
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from thimble.cli import main

HEAD = "occurred_at = 2026-03-02T02:40:00+01:00\n[facts]\n"


@dataclass(frozen=True)
class Ran:
    """How one run of the command ended."""

    status: int
    out: str
    err: str

    @property
    def json(self) -> dict[str, Any]:
        told: dict[str, Any] = json.loads(self.out)
        return told


def run(*arguments: object) -> Ran:
    out, err = io.StringIO(), io.StringIO()
    with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
        try:
            status = main([str(argument) for argument in arguments])
        except SystemExit as stop:  # argparse, on options that it does not know
            status = int(stop.code or 0)
    return Ran(status, out.getvalue(), err.getvalue())


def assess(text: str | bytes, *options: object) -> Ran:
    """`thimble assess` on a file that holds this text."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "situation.toml"
        path.write_bytes(text if isinstance(text, bytes) else text.encode("utf-8"))
        return run("assess", path, *options)


def plan(text: str, *options: object) -> dict[str, Any]:
    """What `thimble assess --json` prints for this text."""
    ran = assess(text, "--json", *options)
    assert (ran.status, ran.err) == (0, "")
    return ran.json


def toml(facts: Mapping[str, Any], occurred_at: str = "") -> str:
    """A situation file for these facts."""
    head = f"occurred_at = {occurred_at}\n" if occurred_at else ""
    return head + "[facts]\n" + "".join(f"{id_} = {_value(v)}\n" for id_, v in facts.items())


def _value(value: Any) -> str:
    if isinstance(value, str):
        return json.dumps(value)
    if isinstance(value, Iterable):
        return "[" + ", ".join(json.dumps(member) for member in sorted(value)) + "]"
    return repr(value)


def values(told: Mapping[str, Any]) -> dict[str, Any]:
    """Each decision's value, or the tuple of what is still possible."""
    return {
        id_: tuple(found["possible"]) if found["value"] is None else found["value"]
        for id_, found in told["decisions"].items()
    }


def by_id(told: Mapping[str, Any], which: str = "actions") -> dict[str, dict[str, Any]]:
    return {action["id"]: action for action in told[which]}
