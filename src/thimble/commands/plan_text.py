"""A plan in lines for a person who reads it at night: what to do first, what is uncertain last."""

from __future__ import annotations

import textwrap
from collections.abc import Iterable, Sequence
from datetime import UTC, datetime

from thimble.clinical.saying import minute
from thimble.commands.plan_json import CAUTION, certain
from thimble.ledger.plan import Action, Plan, Window
from thimble.ledger.telling import told
from thimble.protocol import STANDINGS, Fact, Finding, Protocol, Reason

WIDTH = 100
FIRST_AID = "first_aid"


def as_text(
    plan: Plan,
    protocol: Protocol,
    occurred_at: datetime | None = None,
    notes: Sequence[str] = (),
) -> list[str]:
    """The plan in lines: first aid, what to do now, what is decided, what to ask, what may follow."""
    actions = plan.actions
    sure = certain(actions)
    due = [action for action in actions if action.id in sure]
    at_once = [c.text for c in plan.cautions if c.certain and c.topic == FIRST_AID]
    minds = [c.text for c in plan.cautions if c.certain and c.topic != FIRST_AID]
    now = [a for a in due if _opened(a.window, plan.now)]
    later = [a for a in due if not _opened(a.window, plan.now)]
    names = {action.id: action.what for action in actions}
    shown = told(plan, protocol)
    settled = [f for f in shown if f.value is not None]
    undecided = [f for f in shown if f.value is None]
    lines = [
        f"{protocol.title} ({plan.protocol_id}, edition {plan.protocol_edition})",
        _when(plan.now, occurred_at),
    ]
    lines += _part("First aid, at once", at_once)
    lines += _part("Do now", [_line(a, names, plan.now) for a in now])
    lines += _part("Decided", [_decided(protocol, f) for f in settled] + _why(plan, protocol))
    lines += _part(
        "Ask next, what matters most first",
        [_question(protocol.vocabulary[q.fact]) for q in plan.questions],
    )
    may = [action for action in actions if action.id not in sure]
    lines += _part(
        "May be due now: the facts in brackets decide",
        [_open_line(a, names, plan.now) for a in may if _opened(a.window, plan.now)],
    )
    lines += _part("Still open", [_undecided(protocol, f) for f in undecided])
    lines += _part("Do later", [_line(a, names, plan.now) for a in later])
    lines += _part(
        "May follow later: the facts in brackets decide",
        [_open_line(a, names, plan.now) for a in may if not _opened(a.window, plan.now)],
    )
    return lines + _part("Mind", [*notes, *minds, CAUTION])


def _part(title: str, items: Sequence[str]) -> list[str]:
    if not items:
        return []
    lines = ["", title]
    for item in items:
        for at, paragraph in enumerate(item.split("\n")):
            lines += textwrap.wrap(
                paragraph,
                WIDTH,
                initial_indent="  " if at == 0 else "      ",
                subsequent_indent="      ",
                break_long_words=False,
                break_on_hyphens=False,
            )
    return lines


def _when(now: datetime, occurred_at: datetime | None) -> str:
    zone = f"{now:%Z}" or "local time"
    if occurred_at is None:
        return f"As of {_at(now)}; times are {zone}"
    minutes = int((now - occurred_at).total_seconds() // 60)
    days, rest = divmod(minutes, 24 * 60)
    since = (f"{days} d " if days else "") + f"{rest // 60} h {rest % 60:02d} min"
    return f"Exposure {_at(occurred_at)}; as of {_at(now)}, {since} later; times are {zone}"


def _at(instant: datetime) -> str:
    return minute(instant, instant.tzinfo or UTC)


def _label(protocol: Protocol, id_: str) -> str:
    label = protocol.outputs[id_].label or id_.replace("_", " ")
    return label if label.endswith("?") else f"{label}:"


def _decided(protocol: Protocol, finding: Finding) -> str:
    words = protocol.outputs[finding.decision].words(finding.value or "")
    return f"{_label(protocol, finding.decision)} {words}{_doubt(finding.because)}"


def _why(plan: Plan, protocol: Protocol) -> list[str]:
    """The reasons that hold for certain, such as those to ask an expert."""
    lines = []
    for id_, items in plan.reasons.items():
        words = [protocol.outputs[id_].words(i.outputs[id_]) for i in items if i.certain]
        if words:
            lines.append(f"{_label(protocol, id_)} {'; '.join(words)}")
    return lines


def _doubt(reasons: Iterable[Reason]) -> str:
    """What to say beside a decision that rests on rules not read in their own document."""
    doubtful = [reason for reason in reasons if not reason.confirmed]
    if not doubtful:
        return ""
    why = "; ".join(f"{r.rule}: {STANDINGS[r.standing]}" for r in doubtful)
    return f"\nrule not yet confirmed against its source ({why})"


def _undecided(protocol: Protocol, finding: Finding) -> str:
    words = " | ".join(protocol.outputs[finding.decision].words(v) for v in finding.possible)
    return (
        f"{_label(protocol, finding.decision)} {words}\nwaits for {', '.join(finding.open_facts)}"
    )


def _question(fact: Fact) -> str:
    if fact.kind == "number":
        answer = f"a number, {fact.unit}" if fact.unit else "a number"
    else:
        answer = (" | " if fact.kind == "code" else ", ").join(fact.values)
        answer = answer if fact.kind == "code" else f"any of {answer}; [] for none"
    return f"{fact.question}\n{fact.id} = {answer}"


def _opened(window: Window, now: datetime) -> bool:
    return not window.waits_for and (window.earliest is None or window.earliest <= now)


def _line(action: Action, names: dict[str, str], now: datetime) -> str:
    amount = ""
    if action.amount:
        # A dose that cannot be computed yet is a sentence that says what it needs.
        amount = f" ({action.amount.rstrip('.')})"
    whom = "" if action.whom == "worker" else f" ({action.whom})"
    when = _window(action.window, names, now)
    return f"{action.what}{amount}{whom}{f': {when}' if when else ''}"


def _open_line(action: Action, names: dict[str, str], now: datetime) -> str:
    return f"{_line(action, names, now)} [{', '.join(action.open_facts)}]"


def _window(window: Window, names: dict[str, str], now: datetime) -> str:
    if window.waits_for:
        return f"once this is done: “{names.get(window.waits_for, window.waits_for)}”"
    best, last = window.target, window.latest
    if window.earliest is not None and window.earliest > now:
        until = f" to {_at(last)}" if last else ""
        return f"from {_at(window.earliest)}{until}"
    told = []
    if best is not None:
        told.append(f"best by {_at(best)}" + (" (that is past)" if best < now else ""))
    if last is not None:
        told.append(f"was due by {_at(last)}, LATE" if last < now else f"no later than {_at(last)}")
    return ", ".join(told)
