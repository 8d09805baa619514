"""`thimble assess`: one situation in a file, one plan on the screen.

The file is TOML: `occurred_at`, an instant with its offset, and the table `[facts]`. A fact that is
absent has not been asked yet and stays open; it is never read as "no".
"""

from __future__ import annotations

import argparse
import json
import tomllib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta, tzinfo
from pathlib import Path
from typing import Any

from thimble.clinical import library
from thimble.clinical.durations import hours_between
from thimble.clinical.vocabulary import VOCABULARY
from thimble.commands import Commands, NotUnderstood
from thimble.ledger.assess import HOURS, assess, situation_of
from thimble.ledger.plan import Action, Plan
from thimble.protocol import STANDINGS, Finding, Protocol, ProtocolFaults, Reason, Value

KEYS = ("occurred_at", "facts")
AGREEMENT = timedelta(minutes=1)
"""How far the hours in a file may stand from those between its instants: they are often rounded."""

CAUTION = (
    "Decision support for trained staff. Local policy and licensed judgement decide; "
    "a named clinician signs."
)


def add_to(commands: Commands) -> None:
    parser = commands.add_parser(
        "assess", help="the plan for one situation", description=__doc__
    )
    parser.add_argument("file", type=Path, help="the situation (TOML)")
    parser.add_argument("--protocol", default="us", help="a shipped protocol's id, or a folder")
    parser.add_argument(
        "--as-of", metavar="INSTANT", help="the moment to decide for, with its offset; now if none"
    )
    parser.add_argument("--json", action="store_true", help="print one JSON object")
    parser.set_defaults(run=run)


@dataclass(frozen=True, slots=True)
class _Zone:
    """Stands for a site: a file names no site, so days follow the offset that it is written in."""

    zone: tzinfo


def run(options: argparse.Namespace) -> int:
    """Print the plan."""
    try:
        protocol = library.protocol(options.protocol)
    except LookupError as error:
        raise NotUnderstood(error.args[0]) from error
    except ProtocolFaults as error:
        raise NotUnderstood(str(error)) from error
    facts, occurred_at = read_situation(options.file)
    as_of = _instant(options.as_of) if options.as_of else None
    now = _moment(options.file, facts, occurred_at, as_of)
    contradictions = protocol.contradictions(facts)
    if contradictions:
        raise NotUnderstood(
            "\n".join(
                f"{options.file}: {_told(c.facts, facts)} cannot hold together: {c.because}. "
                "Correct one of them."
                for c in contradictions
            )
        )
    zone = (occurred_at or now).tzinfo or UTC
    plan = assess(situation_of(facts, occurred_at=occurred_at, now=now), protocol, now, _Zone(zone))
    if options.json:
        print(json.dumps(as_json(plan, protocol), ensure_ascii=False, indent=2))
    else:
        print("\n".join(as_text(plan, protocol)))
    return 0


# -- reading ------------------------------------------------------------------------------------


def read_situation(path: Path) -> tuple[dict[str, Value], datetime | None]:
    """The facts of a file and when the exposure was.

    Raises:
        NotUnderstood: every fault of the file, with the key, the value found and what is allowed.
    """
    try:
        raw = tomllib.loads(path.read_text(encoding="utf-8"))
    except OSError as error:
        raise NotUnderstood(f"{path}: cannot be read: {error.strerror}.") from error
    except UnicodeDecodeError as error:
        raise NotUnderstood(f"{path}: is not UTF-8 at byte {error.start}; save it so.") from error
    except tomllib.TOMLDecodeError as error:
        raise NotUnderstood(f"{path}: is not TOML: {error}.") from error
    faults = [
        f"{path}: {key}: unknown key; allowed are {', '.join(KEYS)}."
        for key in raw
        if key not in KEYS
    ]
    facts: dict[str, Value] = {}
    given = raw.get("facts", {})
    if "facts" not in raw:
        faults.append(f"{path}: facts: is missing; write a table [facts], even an empty one.")
    elif not isinstance(given, dict):
        faults.append(f"{path}: facts: must be a table; found {given!r}.")
        given = {}
    for id_, value in given.items():
        fact = VOCABULARY.get(id_)
        if fact is None:
            faults.append(
                f"{path}: facts.{id_}: unknown fact, found with {value!r}; "
                f"allowed are {', '.join(VOCABULARY)}."
            )
            continue
        try:
            facts[id_] = fact.check(value)
        except ValueError as error:
            faults.append(f"{path}: facts.{id_}: {error}.")
    occurred_at = raw.get("occurred_at")
    if occurred_at is not None and (
        not isinstance(occurred_at, datetime) or occurred_at.utcoffset() is None
    ):
        faults.append(
            f"{path}: occurred_at: must be an instant with its offset, for example "
            f"2026-03-02T02:40:00+01:00, not quoted; found {str(occurred_at)!r}."
        )
        occurred_at = None
    if faults:
        raise NotUnderstood("\n".join(faults))
    return facts, occurred_at


def _instant(text: str) -> datetime:
    try:
        instant = datetime.fromisoformat(text)
    except ValueError:
        instant = None
    if instant is None or instant.utcoffset() is None:
        raise NotUnderstood(
            f"--as-of: must be an instant with its offset, for example 2026-03-02T04:00:00+01:00; "
            f"found {text!r}."
        )
    return instant


def _moment(
    path: Path, facts: Mapping[str, Value], occurred_at: datetime | None, as_of: datetime | None
) -> datetime:
    """The moment to decide for: as asked, else as the file's own hours say, else the clock's."""
    hours = facts.get(HOURS)
    if as_of is None and occurred_at is not None and isinstance(hours, float):
        return occurred_at + timedelta(hours=hours)
    now = as_of or datetime.now(UTC).astimezone()
    if occurred_at is None:
        return now
    if occurred_at > now:
        raise NotUnderstood(
            f"{path}: occurred_at: {occurred_at.isoformat()} lies after the moment to decide for, "
            f"{now.isoformat(timespec='seconds')}. Correct it, or give a later --as-of."
        )
    elapsed = hours_between(occurred_at, now)
    if isinstance(hours, float) and abs(hours - elapsed) > AGREEMENT / timedelta(hours=1):
        raise NotUnderstood(
            f"{path}: facts.{HOURS}: {hours:g} h, but from occurred_at to --as-of it is "
            f"{elapsed:g} h. Leave one of them out, or make them agree."
        )
    return now


def _told(ids: Iterable[str], facts: Mapping[str, Value]) -> str:
    return " and ".join(f"{id_} = {facts[id_]!r}" for id_ in ids)


# -- writing ------------------------------------------------------------------------------------


def as_json(plan: Plan, protocol: Protocol) -> dict[str, Any]:
    """The plan as one object; see `docs/assess.md` for its keys."""
    decisions: dict[str, Any] = {}
    for id_, finding in plan.findings.items():
        decisions[id_] = {
            "value": finding.value,
            "possible": list(finding.possible),
            "because": [_reason(reason) for reason in finding.because],
        }
    for id_, reasons in plan.reasons.items():
        certain = [item for item in reasons if item.certain]
        decisions[id_] = {
            "value": [i.outputs[id_] for i in certain] if len(certain) == len(reasons) else None,
            "possible": [item.outputs[id_] for item in reasons],
            "because": [_reason(reason) for item in certain for reason in item.because],
        }
    return {
        "protocol": {
            "id": plan.protocol_id,
            "edition": plan.protocol_edition,
            "digest": plan.protocol_digest,
        },
        "as_of": plan.now.isoformat(),
        "decisions": decisions,
        "questions": [{"fact": q.fact, "changes": list(q.changes)} for q in plan.questions],
        "actions": [_action(action) for action in plan.actions if action.certain],
        "actions_that_may_follow": [_action(a) for a in plan.actions if not a.certain],
        "cautions": [caution.text for caution in plan.cautions if caution.certain] + [CAUTION],
    }


def _reason(reason: Reason) -> dict[str, str]:
    return {
        "table": reason.table,
        "rule": reason.rule,
        "source": reason.source,
        "standing": reason.standing,
    }


def _action(action: Action) -> dict[str, Any]:
    window = action.window
    return {
        "id": action.id,
        "what": action.what,
        "for": action.whom,
        "amount": action.amount or None,
        "due_from": _iso(window.earliest),
        "due_by": _iso(window.latest),
        "target": _iso(window.target),
        "counted_once_done": window.waits_for or None,
        "because": [f"{r.table} {r.rule}: {r.source} ({r.standing})" for r in action.because],
    }


def _iso(instant: datetime | None) -> str | None:
    return instant.isoformat(timespec="seconds") if instant else None


def as_text(plan: Plan, protocol: Protocol) -> list[str]:
    """The plan in lines for a person."""
    lines = [
        f"{protocol.title}, edition {plan.protocol_edition}; "
        f"as of {plan.now:%a %d %b %Y, %H:%M %Z}".rstrip(),
        "",
        "Decided",
    ]
    for id_, finding in plan.findings.items():
        if finding.value is not None:
            lines.append(f"  {_label(protocol, id_)}: {_value(protocol, finding)}{_doubt(finding)}")
    open_findings = [f for f in plan.findings.values() if f.value is None]
    if open_findings:
        lines += ["", "Still open"]
        for finding in open_findings:
            output = protocol.outputs[finding.decision]
            words = " or ".join(output.words(v) for v in finding.possible)
            waits = ", ".join(finding.open_facts)
            lines.append(f"  {_label(protocol, finding.decision)}: {words} (waits for {waits})")
    if plan.questions:
        lines += ["", "Ask next"]
        for question in plan.questions:
            fact = protocol.vocabulary[question.fact]
            lines.append(f"  {fact.question}  [{fact.id}]")
    lines += ["", "Do"]
    lines += [_line(action) for action in plan.actions if action.certain]
    may = [action for action in plan.actions if not action.certain]
    if may:
        lines += ["", "May follow"]
        lines += [f"{_line(a)} (waits for {', '.join(a.open_facts)})" for a in may]
    lines += ["", "Mind"]
    lines += [f"  {caution.text}" for caution in plan.cautions if caution.certain]
    lines.append(f"  {CAUTION}")
    return lines


def _label(protocol: Protocol, id_: str) -> str:
    return protocol.outputs[id_].label or id_


def _value(protocol: Protocol, finding: Finding) -> str:
    return protocol.outputs[finding.decision].words(finding.value or "")


def _doubt(finding: Finding) -> str:
    """What to say beside a decision that rests on rules not read in their own document."""
    doubtful = [reason for reason in finding.because if not reason.confirmed]
    if not doubtful:
        return ""
    told = "; ".join(f"{r.rule}: {STANDINGS[r.standing]}" for r in doubtful)
    return f"  — not yet confirmed against the document ({told})"


def _line(action: Action) -> str:
    amount = f" ({action.amount})" if action.amount else ""
    by = f"  by {action.window.latest:%a %d %b %Y, %H:%M}" if action.window.latest else ""
    return f"  {action.what}{amount}{by}"
