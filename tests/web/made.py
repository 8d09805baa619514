"""Plans and situations made by hand, so that a test says exactly what stands in them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import UTC, datetime, timedelta
from typing import Any

from thimble.ledger.plan import Action, Plan, State, Window
from thimble.ledger.situation import Departure, KnownFact, SignedPlan, Situation
from thimble.protocol import Question

NOW = datetime(2026, 3, 3, 12, 0, tzinfo=UTC)


def hours(count: float, after: datetime = NOW) -> datetime:
    return after + timedelta(hours=count)


def action(
    id_: str = "dose",
    *,
    earliest: datetime | None = None,
    target: datetime | None = None,
    latest: datetime | None = None,
    state: State | None = None,
    what: str = "",
    certain: bool = True,
    waits_for: str = "",
    whom: str = "worker",
    done_at: datetime | None = None,
    now: datetime = NOW,
) -> Action:
    """An action; its state follows from its window and `done_at` as `assess` has it."""
    if state is None:
        state = State.LATE if latest is not None and now > latest else State.OPEN
        state = State.DONE if done_at is not None else state
    return Action(
        id=id_,
        what=what or f"Give {id_}",
        kind="dose",
        whom=whom,
        window=Window(earliest, target, latest, waits_for),
        state=state,
        certain=certain,
        because=(),
        done_at=done_at,
    )


def plan(
    *actions: Action, now: datetime = NOW, questions: Sequence[Question] = (), **more: Any
) -> Plan:
    return Plan(
        now=now,
        protocol_id="made",
        protocol_edition="1",
        protocol_digest="0" * 64,
        findings={},
        questions=tuple(questions),
        actions=actions,
        cautions=(),
        undecidable={},
        contradictions=more.get("contradictions", ()),
        computed={},
    )


def situation(
    occurred_at: datetime | None = NOW - timedelta(hours=2),
    *,
    precision: str = "minute",
    reported_at: datetime | None = NOW - timedelta(hours=1),
    facts: Mapping[str, str] | None = None,
    said_by: str = "clinician",
    steps: Mapping[str, datetime] | None = None,
    signed_at: datetime | None = None,
    departures: tuple[Departure, ...] = (),
    closed_at: datetime | None = None,
    entries: int = 3,
) -> Situation:
    signed = () if signed_at is None else (SignedPlan(2, "u-1", signed_at, {}, (), "0" * 64),)
    return Situation(
        case="K7QM-2F49",
        as_of=NOW,
        occurred_at=occurred_at,
        occurred_at_precision=precision if occurred_at else "unknown",
        reported_at=reported_at,
        facts={
            id_: KnownFact(id_, value, said_by, reported_at, 1)
            for id_, value in (facts or {}).items()
        },
        cannot_be_known={},
        done={},
        source_steps=dict(steps or {}),
        signed=signed,
        departures=departures,
        closed_at=closed_at,
        closed_reason="all_clear" if closed_at else "",
        entries=entries,
        last_digest="0" * 64,
    )
