"""The windows that press most, each as a ring that empties."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from thimble.ledger.next_thing import short
from thimble.ledger.plan import TO_DO, Action, State
from thimble.ledger.pressing import Group as Pressing
from thimble.ledger.pressing import group_of, has_opened
from thimble.web.desk.plan.lens import Lens
from thimble.web.desk.words import (
    WindowWords,
)

MOST_RINGS = 3


@dataclass(frozen=True, slots=True)
class Ring:
    """A window that closes: its share left, what closes with it, and the words."""

    share: float
    left: str
    until: str
    whats: tuple[str, ...]
    closed: bool
    if_needed: bool
    href: str


def rings_of(lens: Lens) -> tuple[Ring, ...]:
    """The windows that press most, in the plan's order; what shares its limits shares a ring."""
    alike: dict[tuple[datetime | None, datetime | None], list[Action]] = {}
    for action in lens.plan.actions:
        window = action.window
        if action.state not in TO_DO or action.kind == "first_aid":
            continue
        if (window.target is None and window.latest is None) or not has_opened(action, lens.now):
            continue
        if group_of(action, lens.now) not in (Pressing.NOW, Pressing.PAST):
            continue
        if action.state is State.LATE and not action.stands:
            continue
        alike.setdefault((window.target, window.latest), []).append(action)
    rings = []
    for actions in list(alike.values())[:MOST_RINGS]:
        first = actions[0]
        shown = [a for a in actions if a.certain == first.certain]
        words = WindowWords.of(first.window, lens.now, lens.zone, since=lens.situation.occurred_at)
        rings.append(
            Ring(
                share=words.share if words.share is not None else 1.0,
                left=words.left,
                until=words.until,
                whats=tuple(short(a.what) for a in shown),
                closed=words.closed,
                if_needed=not first.certain,
                href=f"#action-{first.id}",
            )
        )
    return tuple(rings)
