"""What was done or signed and no longer follows from the plan."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime, tzinfo
from functools import lru_cache

from thimble.clinical.prophylaxis import tables
from thimble.ledger.clocks import Moment
from thimble.ledger.due.windows import window_of
from thimble.ledger.entries import Kind
from thimble.ledger.plan import CHASE, Action, State, Window
from thimble.ledger.prophylaxis.course import ANSWER
from thimble.ledger.results.found import FOUND_WORDS
from thimble.ledger.situation import Situation
from thimble.protocol.protocol import Protocol


@lru_cache(maxsize=16)
def words_of(protocol: Protocol) -> Mapping[str, str]:
    """What each action is that the protocol, the tables of a course or a result can ask for, by id."""
    rows = {**_rows_of(tables()), **_rows_of(protocol)}
    return {**FOUND_WORDS, **{id_: row["what"] for id_, row in rows.items()}}


@lru_cache(maxsize=16)
def _rows_of(protocol: Protocol) -> Mapping[str, Mapping[str, str]]:
    """The first row of each action, by its id."""
    return {
        rule.outputs["action"]: rule.outputs
        for table in reversed(protocol.tables)
        if table.role == "actions"
        for rule in reversed(table.rules)
    }


def left_over(
    produced: set[str],
    protocol: Protocol,
    situation: Situation,
    moment: Moment,
    zone: tzinfo,
    instants: Mapping[str, datetime],
) -> list[Action]:
    """What was done or signed and no longer follows: kept, with what it was."""
    rows = {**_rows_of(tables()), **_rows_of(protocol)}
    signed = [id_ for plan in situation.signed for id_ in plan.actions]
    left: list[Action] = []
    for id_ in dict.fromkeys([*signed, *situation.done]):
        done = situation.done.get(id_)
        if id_ in produced or id_.startswith((ANSWER, CHASE)):
            continue
        # Whoever departs from any advice decides; only some advice asks for that as an action.
        if id_ not in signed and done is not None and done.kind is Kind.DEPARTED:
            continue
        outputs = rows.get(id_)
        left.append(
            Action(
                id=id_,
                # An edition of the protocol that no longer has the row leaves only its id.
                what=words_of(protocol).get(id_, id_.replace("_", " ")),
                kind=outputs["kind"] if outputs else "review",
                whom=outputs["for"] if outputs else "department",
                window=(
                    window_of(outputs, situation, moment, zone, instants, protocol.share_within)
                    if outputs
                    else Window(None, None, None)
                ),
                state=State.NO_LONGER_NEEDED if done is None else State.DONE,
                certain=True,
                because=(),
                done_at=None if done is None else done.at,
                done_by_entry=None if done is None else done.entry,
            )
        )
    return left
