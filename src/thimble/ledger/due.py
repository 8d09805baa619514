"""What is due and when: the rows of a protocol's action tables as actions with windows and states."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from datetime import datetime, tzinfo
from functools import lru_cache
from typing import Any

from thimble.clinical.durations import add, parse
from thimble.clinical.prophylaxis import put, tables
from thimble.ledger.amounts import Lacking, doses_of, lacking_of
from thimble.ledger.clocks import Moment, union
from thimble.ledger.course import ANSWER, COURSE_ACTIONS, FIRST_DOSE, Course
from thimble.ledger.entries import Kind
from thimble.ledger.fold import Done
from thimble.ledger.found import FOUND_WORDS
from thimble.ledger.plan import (
    CHASE,
    TO_DO,
    Action,
    CourseRecord,
    Follows,
    MissedDoses,
    Situation,
    State,
    Told,
    Window,
)
from thimble.ledger.pressing import FAR, urgency
from thimble.ledger.series import Series
from thimble.protocol.finding import Evaluation, Item
from thimble.protocol.model import COURSE_CLOCKS
from thimble.protocol.protocol import Protocol
from thimble.protocol.vocabulary import Value

FROM_EXPOSURE = "exposure"
NONE = "-"
SETTLED_BY = "settled_by_"
"""Before the fact that settles the actions of that name, among the named actions of a protocol."""
TOLD_AGAIN: Mapping[str, Callable[[CourseRecord], Sequence[MissedDoses | Told]]] = {
    "doses_missed": lambda record: record.missed,
    "side_effects": lambda record: record.side_effects,
    "course_resumed": lambda record: [pause.resumed for pause in record.pauses],
}
"""Instants of a course that come anew each time that such a thing is told, and where it is on record."""


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
            _of_series(
                id_,
                _window(
                    _counted(item.outputs, series),
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
        done = _done(id_, outputs["counted_from"], situation) or _known(id_, protocol, situation)
        if series is not None and id_ in series.again:
            done = None
        actions.append(
            Action(
                id=id_,
                what=outputs["what"],
                kind=outputs["kind"],
                whom=outputs["for"],
                window=window,
                state=_state(id_, window, done is not None, departed, now),
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
    actions += _answers_awaited(situation, departed)
    asked = {sought.action for sought in situation.course.sought if sought.open}
    # While the expert's answer is awaited, that is what is to be done about the question.
    actions = [a for a in actions if a.id not in asked or a.state is State.DONE]
    shown = {action.id for action in actions} | set(produced)
    actions += _left_over(shown, protocol, situation, moment, zone, instants)
    return in_order(actions, now), lacking_of(actions, doses, protocol)


def in_order(actions: Sequence[Action], now: datetime) -> tuple[Action, ...]:
    """Actions by what presses most; what is done, decided otherwise or not needed comes last."""
    order = {action.id: at for at, action in enumerate(actions)}
    return tuple(sorted(actions, key=lambda a: (_rank(a.state), urgency(a, now), order[a.id])))


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


def _done(id_: str, counted_from: str, situation: Situation) -> Any:
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


def _known(id_: str, protocol: Protocol, situation: Situation) -> Done | None:
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


def _answers_awaited(situation: Situation, departed: set[str]) -> list[Action]:
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


def _that_can_follow(actions: list[Action]) -> list[Action]:
    """Without those that wait for an action which is not due: nobody stops what never began."""
    while True:
        ids = {action.id for action in actions}
        fewer = [a for a in actions if not a.window.waits_for or a.window.waits_for in ids]
        if len(fewer) == len(actions):
            return actions
        actions = fewer


def _state(id_: str, window: Window, done: bool, departed: set[str], now: datetime) -> State:
    if done:
        return State.DONE
    if id_ in departed:
        return State.DEPARTED
    # Limits are inclusive: at the last instant there is still time.
    if window.latest is not None and now > window.latest:
        return State.LATE
    return State.OPEN


def _rank(state: State) -> int:
    if state in TO_DO:
        return 0
    return 1 + [State.DEPARTED, State.NO_LONGER_NEEDED, State.DONE].index(state)


def _closes(window: Window) -> float:
    limit = window.target or window.latest
    return FAR if limit is None else limit.timestamp()


def _window(
    outputs: Mapping[str, str],
    situation: Situation,
    moment: Moment,
    zone: tzinfo,
    instants: Mapping[str, datetime],
    share_within: str,
) -> Window:
    counted_from = outputs["counted_from"]
    start: datetime | None
    if counted_from in (FROM_EXPOSURE, NONE):
        start, waits_for = moment.first, ""
    elif counted_from in COURSE_CLOCKS:
        start = instants.get(counted_from)
        waits_for = "" if instants else FIRST_DOSE
    else:
        done = situation.done.get(counted_from)
        start, waits_for = (None, counted_from) if done is None else (done.at, "")
    if start is None:
        return Window(None, None, None, waits_for, follows=_follows(outputs, situation, zone))

    def limit(column: str) -> datetime | None:
        text = outputs[column]
        return None if text == NONE else add(start, _duration(text), zone)

    window = Window(limit("earliest"), limit("target"), limit("latest"), waits_for)
    window = _not_before(window, outputs.get("not_before", NONE), situation, zone)
    if window.target is None or window.latest is not None:
        return window
    if outputs["kind"] == "dose" or window.earliest != window.target:
        # What can be done before its best day shares a visit before it: nobody is left without tablets.
        return replace(window, put_off_to=window.target)
    if not share_within:
        return window
    return replace(window, put_off_to=add(window.target, _duration(share_within), zone))


def _counted(outputs: Mapping[str, str], series: Series | None) -> Mapping[str, str]:
    """A row that counts from the last dose of a series counts from the one that completes it."""
    if series is None or not series.ends_with or outputs["counted_from"] != series.names.last:
        return outputs
    return {**outputs, "counted_from": series.ends_with}


def _of_series(id_: str, window: Window, series: Series | None) -> Window:
    """The window of a dose of a series; the first dose keeps its own, and waits until it counts."""
    own = None if series is None else series.windows.get(id_)
    if own is None or series is None:
        return window
    if id_ != series.names.first:
        return own
    opens = own.earliest
    if opens is None or (window.earliest is not None and window.earliest >= opens):
        return window
    target = opens if window.target is None or window.target < opens else window.target
    return replace(window, earliest=opens, target=target, put_off_to=target)


def _follows(outputs: Mapping[str, str], situation: Situation, zone: tzinfo) -> Follows | None:
    """How a row will follow what it waits for; None where it counts in hours."""
    least, most = (
        None if outputs[column] == NONE else _duration(outputs[column])
        for column in ("earliest", "latest")
    )
    if least is None or least.unit == "hours" or (most is not None and most.unit == "hours"):
        return None
    held = _not_before(Window(None, None, None), outputs.get("not_before", NONE), situation, zone)
    opens = held.earliest
    # As for a window: a last instant before the waiting time of another action is over falls away.
    return Follows(least, None if opens is not None else most, opens)


def _not_before(window: Window, cell: str, situation: Situation, zone: tzinfo) -> Window:
    """The window moved behind another action's own waiting time, if that action was done.

    A last instant that would lie before it falls away: what cannot be done in time is not late.
    """
    action, _, duration = cell.partition(" ")
    done = situation.done.get(action)
    if cell == NONE or done is None:
        return window
    opens = add(done.at, _duration(duration), zone)
    if window.earliest is not None and window.earliest >= opens:
        return window
    late = window.latest is not None and window.latest < opens
    target = opens if window.target is None or window.target < opens else window.target
    return Window(opens, target, None if late else window.latest, window.waits_for)


_duration = lru_cache(maxsize=256)(parse)


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


def _left_over(
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
                    _window(outputs, situation, moment, zone, instants, protocol.share_within)
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
