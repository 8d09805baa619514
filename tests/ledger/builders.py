"""What the tests of the ledger build with: moments, drafts, chains, and the protocol in force."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from functools import cache
from pathlib import Path
from types import SimpleNamespace
from typing import Any
from zoneinfo import ZoneInfo

from hypothesis import strategies as st

import thimble
from thimble.clinical.vocabulary import vocabulary
from thimble.ledger.entries import Draft, Entry, Kind
from thimble.ledger.store import MemoryStore
from thimble.protocol.protocol import Protocol, load_protocol

ZONE = ZoneInfo("Europe/Zurich")
SITE = SimpleNamespace(zone=ZONE)
NIGHT = datetime(2026, 3, 2, 2, 40, tzinfo=ZONE)
"""When the exposure of most tests was."""


@cache
def us() -> Protocol:
    folder = Path(thimble.__file__).parent / "protocols" / "us"
    return load_protocol(folder, vocabulary())


def after(hours: float = 0, minutes: float = 0) -> datetime:
    """An instant so long after the exposure."""
    return (NIGHT.astimezone(UTC) + timedelta(hours=hours, minutes=minutes)).astimezone(ZONE)


def reported(facts: dict[str, Any] | None = None, **changes: Any) -> dict[str, Any]:
    body: dict[str, Any] = {
        "facts": facts or {},
        "occurred_at": NIGHT.isoformat(),
        "occurred_at_precision": "minute",
        "place": "",
        "task": "",
        "account": "",
        "contact_left": True,
        "reported_by": "worker",
    }
    return {**body, **changes}


def learned(said_by: str = "clinician", **facts: Any) -> tuple[Kind, dict[str, Any]]:
    return Kind.FACT_LEARNED, {"facts": facts, "said_by": said_by}


def write(
    store: MemoryStore,
    case: str,
    *drafts: tuple[Kind, dict[str, Any]],
    at: datetime,
    happened_at: datetime | None = None,
) -> list[Entry]:
    return store.append(
        case,
        [Draft(kind, happened_at or at, body) for kind, body in drafts],
        expected_position=None,
        by="u1",
        role="clinician",
        now=at,
    )


def small_body(kind: Kind, words: str) -> dict[str, Any]:
    """A valid body of a kind that needs little."""
    return {
        Kind.NOTED: {"text": words},
        Kind.SAMPLE_TAKEN: {"action": "baseline_hiv"},
        Kind.REOPENED: {"reason": words},
        Kind.ASSESSED: {},
        Kind.FACT_LEARNED: {"facts": {"worker_weight": len(words)}, "said_by": "clinician"},
    }[kind]


KINDS = (Kind.NOTED, Kind.SAMPLE_TAKEN, Kind.REOPENED, Kind.ASSESSED, Kind.FACT_LEARNED)


@st.composite
def chains(draw: st.DrawFn, least: int = 1, most: int = 12) -> list[Entry]:
    """A valid ledger of several cases, entries interleaved."""
    store = MemoryStore()
    now = NIGHT
    for step in range(draw(st.integers(least, most))):
        now += timedelta(seconds=draw(st.integers(0, 5000)))
        kind = draw(st.sampled_from(KINDS))
        write(
            store,
            draw(st.sampled_from(["AAAA-AAAA", "BBBB-BBBB", "CCCC-CCCC"])),
            (kind, small_body(kind, f"words {step}")),
            at=now,
        )
    return list(store.all_entries())
