"""The rows of a protocol's action tables as actions with windows and states."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import datetime, tzinfo

from thimble.clinical.prophylaxis import put
from thimble.ledger.amounts import Lacking, doses_of, lacking_of
from thimble.ledger.clocks import Moment, union
from thimble.ledger.due.done import (
    answers_awaited,
    done_of,
    doses_decided_against,
    settled_by_answer,
    state_of,
)
from thimble.ledger.due.left_over import left_over
from thimble.ledger.due.windows import counted_from_series, of_series, window_of
from thimble.ledger.plan import TO_DO, Action, State, Window
from thimble.ledger.pressing import FAR, urgency
from thimble.ledger.prophylaxis.course import COURSE_ACTIONS, Course
from thimble.ledger.series import Series
from thimble.ledger.situation import Situation
from thimble.protocol.finding import Evaluation, Item
from thimble.protocol.protocol import Protocol
from thimble.protocol.vocabulary import Value


def actions_of(
    evaluation: Evaluation,
    protocol: Protocol,
    situation: Situation,
    moment: Moment,
    now: datetime,
    zone: tzinfo,
    facts: Mapping[str, Value],
    course: Course | None = None,
    series: Series | None = None,
) -> tuple[tuple[Action, ...], Lacking]:
    """The actions of a plan, what presses first; and the weights that doses among them lack.

    The doses of a vaccine series have their windows from `series`. Where a course of prophylaxis has
    begun, what its own tables ask for is among them.

    Raises:
        ValueError: a window's text is no duration.
    """
    departed = {departure.subject for departure in situation.departures}
    departed |= doses_decided_against(situation, protocol)
    produced: dict[str, list[Item]] = {}
    for table in protocol.tables:
        if table.role == "actions":
            for item in evaluation.items.get(table.id, ()):
                produced.setdefault(item.outputs["action"], []).append(item)

    for item in () if course is None else put(course.facts).items.get(COURSE_ACTIONS, ()):
        produced.setdefault(item.outputs["action"], []).append(item)
    instants = {} if course is None else course.instants

    doses = doses_of(evaluation, protocol, facts)
    actions: list[Action] = []
    for id_, items in produced.items():
        if series is not None and id_ in series.left_out:
            continue
        windows = [
            of_series(
                id_,
                window_of(
                    counted_from_series(item.outputs, series),
                    situation,
                    moment,
                    zone,
                    instants,
                    protocol.share_within,
                ),
                series,
            )
            for item in items
        ]
        # Where the meaning is still open, the window that closes first is the one to keep.
        best = min(
            range(len(items)),
            key=lambda at: (not items[at].certain, _closes(windows[at]), at),
        )
        outputs, window = items[best].outputs, windows[best]
        certain = any(item.certain for item in items)
        open_facts = dict.fromkeys(fact for item in items for fact in item.open_facts)
        if series is not None and series.waits_for and id_ in series.names.later:
            certain = False
            open_facts |= dict.fromkeys(series.waits_for)
        done = done_of(id_, outputs["counted_from"], situation) or settled_by_answer(
            id_, protocol, situation
        )
        if series is not None and id_ in series.again:
            done = None
        actions.append(
            Action(
                id=id_,
                what=outputs["what"],
                kind=outputs["kind"],
                whom=outputs["for"],
                window=window,
                state=state_of(id_, window, done is not None, departed, now),
                certain=certain,
                because=union(item.because for item in items),
                open_facts=() if certain else tuple(open_facts),
                stuck=not certain and open_facts.keys() <= situation.cannot_be_known.keys(),
                amount=doses[id_].text if id_ in doses else "",
                done_at=None if done is None else done.at,
                done_by_entry=None if done is None else done.entry,
            )
        )
    actions = _that_can_follow(actions)
    actions += answers_awaited(situation, departed)
    asked = {sought.action for sought in situation.course.sought if sought.open}
    # While the expert's answer is awaited, that is what is to be done about the question.
    actions = [a for a in actions if a.id not in asked or a.state is State.DONE]
    shown = {action.id for action in actions} | set(produced)
    actions += left_over(shown, protocol, situation, moment, zone, instants)
    return in_order(actions, now), lacking_of(actions, doses, protocol)


def in_order(actions: Sequence[Action], now: datetime) -> tuple[Action, ...]:
    """Actions by what presses most; what is done, decided otherwise or not needed comes last."""
    order = {action.id: at for at, action in enumerate(actions)}
    return tuple(sorted(actions, key=lambda a: (_rank(a.state), urgency(a, now), order[a.id])))


def _that_can_follow(actions: list[Action]) -> list[Action]:
    """Without those that wait for an action which is not due: nobody stops what never began."""
    while True:
        ids = {action.id for action in actions}
        fewer = [a for a in actions if not a.window.waits_for or a.window.waits_for in ids]
        if len(fewer) == len(actions):
            return actions
        actions = fewer


def _rank(state: State) -> int:
    if state in TO_DO:
        return 0
    return 1 + [State.DEPARTED, State.NO_LONGER_NEEDED, State.DONE].index(state)


def _closes(window: Window) -> float:
    limit = window.target or window.latest
    return FAR if limit is None else limit.timestamp()
