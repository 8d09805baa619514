"""Whether an action was done, is awaited, or was decided against."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from datetime import datetime
from functools import lru_cache
from typing import Any

from thimble.ledger.entries import Kind
from thimble.ledger.fold import Done
from thimble.ledger.plan import Action, State, Window
from thimble.ledger.prophylaxis.course import ANSWER
from thimble.ledger.prophylaxis.record import CourseRecord, MissedDoses, Told
from thimble.ledger.situation import Situation
from thimble.protocol.protocol import Protocol

SETTLED_BY = "settled_by_"
"""Before the fact that settles the actions of that name, among the named actions of a protocol."""
TOLD_AGAIN: Mapping[str, Callable[[CourseRecord], Sequence[MissedDoses | Told]]] = {
    "doses_missed": lambda record: record.missed,
    "side_effects": lambda record: record.side_effects,
    "course_resumed": lambda record: [pause.resumed for pause in record.pauses],
}
"""Instants of a course that come anew each time that such a thing is told, and where it is on record."""


def doses_decided_against(situation: Situation, protocol: Protocol) -> set[str]:
    """Doses that no rule gives under what a clinician decided instead of the advice.

    Only where the last word on a decision is one of its values, and every rule of the dose looks at that
    decision and leaves this value out. Tests and visits stay: whoever does without a dose is followed.
    """
    instead: dict[str, str] = {}
    for departure in situation.departures:
        output = protocol.outputs.get(departure.subject)
        if output is None:
            continue
        said = departure.decided.strip().rstrip(".").casefold()
        meant = [v for v in output.values if said in (v.casefold(), output.words(v).casefold())]
        instead.pop(departure.subject, None)
        if len(meant) == 1:
            instead[departure.subject] = meant[0]
    if not instead:
        return set()
    against: dict[str, bool] = {}
    for table in protocol.tables:
        if table.role != "actions":
            continue
        for rule in table.rules:
            if rule.outputs["kind"] != "dose":
                continue
            tests = dict(zip(table.inputs, rule.tests, strict=True))
            left_out = any(
                decision in tests and not tests[decision].accepts_code(value)
                for decision, value in instead.items()
            )
            id_ = rule.outputs["action"]
            against[id_] = against.get(id_, True) and left_out
    return {id_ for id_, none in against.items() if none}


def done_of(id_: str, counted_from: str, situation: Situation) -> Any:
    """How an action was done; None where what it answers was told again since.

    An action that counts from something that can be told again, such as missed doses, is to be done
    again then: whether it happened since, or was only told since.
    """
    told = TOLD_AGAIN.get(counted_from)
    again = () if told is None else told(situation.course)
    last = situation.last_done.get(id_)
    if last is not None and any(
        last < one.at or situation.last_entry[id_] < one.entry for one in again
    ):
        return None
    return situation.done.get(id_)


def settled_by_answer(id_: str, protocol: Protocol, situation: Situation) -> Done | None:
    """The answer in the case's ledger that settles an action, such as the titre drawn for the exposure."""
    fact = situation.facts.get(_settled_by(protocol).get(id_, ""))
    if fact is None or fact.entry is None or fact.known_at is None:
        return None
    return Done(fact.entry, fact.known_at, Kind.FACT_LEARNED)


@lru_cache(maxsize=16)
def _settled_by(protocol: Protocol) -> Mapping[str, str]:
    """The fact that settles an action, by the action."""
    return {
        action: name.removeprefix(SETTLED_BY)
        for name, actions in protocol.named_actions.items()
        if name.startswith(SETTLED_BY)
        for action in actions
    }


def answers_awaited(situation: Situation, departed: set[str]) -> list[Action]:
    """The answers that an expert still owes, each open until it is on record."""
    return [
        Action(
            id=f"{ANSWER}{sought.entry}",
            what=f"Get the answer of {sought.of}, who was asked for advice",
            kind="advice",
            whom="worker",
            # Whoever was asked is expected to answer; until then the question stands as it was asked.
            window=Window(sought.at, sought.at, None),
            state=State.DEPARTED if f"{ANSWER}{sought.entry}" in departed else State.OPEN,
            certain=True,
            because=(),
        )
        for sought in situation.course.sought
        if sought.open and f"{ANSWER}{sought.entry}" not in situation.done
    ]


def state_of(id_: str, window: Window, done: bool, departed: set[str], now: datetime) -> State:
    """Where an action stands at `now`."""
    if done:
        return State.DONE
    if id_ in departed:
        return State.DEPARTED
    # Limits are inclusive: at the last instant there is still time.
    if window.latest is not None and now > window.latest:
        return State.LATE
    return State.OPEN
