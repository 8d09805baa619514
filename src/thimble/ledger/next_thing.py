"""The one next thing of a case, for a list of many: what, and until when."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime

from thimble.clinical.windows import span_down, window_state
from thimble.ledger.due import urgency
from thimble.ledger.plan import Action, Plan, State, Window
from thimble.protocol.finding import Question
from thimble.protocol.vocabulary import Fact


@dataclass(frozen=True, slots=True)
class NextThing:
    """`words` for a list.

    `closes_at` is the last instant of its window, or its target where there is no last instant;
    `due_at` is what to order a list by: its target, or its last instant where there is no target,
    or when it opens. None where no limit runs.
    `action` is what to do or, with a `question`, what the answer decides; both are None when there
    is nothing to do.
    """

    words: str
    closes_at: datetime | None
    action: Action | None = None
    question: Question | None = None
    due_at: datetime | None = None


def next_thing(plan: Plan, vocabulary: Mapping[str, Fact]) -> NextThing:
    """What comes first (`urgency`): an action to do, or the question that decides whether it is one.

    Of two with the same limit the certain one comes first. One that waits for another action is
    left out, since that other comes first.
    """
    ready = [
        a for a in plan.actions if a.state in (State.OPEN, State.LATE) and not a.window.waits_for
    ]
    ready.sort(key=lambda a: (urgency(a, plan.now), not a.certain))
    if ready:
        question = _question(ready[0], plan)
        if ready[0].certain or question is not None:
            return _thing(ready[0], question, plan.now, vocabulary)
    if plan.questions:
        return NextThing(_asked(plan.questions[0], vocabulary), None, None, plan.questions[0])
    for action in ready:
        if action.certain:
            return _thing(action, None, plan.now, vocabulary)
    return NextThing("Nothing to do now", None)


def _thing(
    action: Action, question: Question | None, now: datetime, vocabulary: Mapping[str, Fact]
) -> NextThing:
    window = action.window
    opens = window.earliest if _later(action, now) else None
    return NextThing(
        words=_words(action, question, now, vocabulary),
        closes_at=window.latest or window.target or opens,
        action=action,
        question=question,
        due_at=opens or window.target or window.latest,
    )


def _later(action: Action, now: datetime) -> bool:
    return action.window.earliest is not None and action.window.earliest > now


def _question(action: Action, plan: Plan) -> Question | None:
    """The first question, in the plan's order, that settles a possible action."""
    if action.certain:
        return None
    return next((q for q in plan.questions if q.fact in action.open_facts), None)


def _words(
    action: Action, question: Question | None, now: datetime, vocabulary: Mapping[str, Fact]
) -> str:
    left = _left(action.window, now)
    what = action.what.rstrip(".")
    if question is not None:
        what = f"{_asked(question, vocabulary)} It decides: {what}"
    return f"{what}: {left}" if left else what


def _left(window: Window, now: datetime) -> str:
    """The time left; to the target first, while it can still be met."""
    if (window.target, window.latest) == (None, None) and (
        window.earliest is None or window.earliest <= now
    ):
        return ""
    words = window_state(window.earliest, window.target, window.latest, now).words
    opens = window.earliest is not None and window.earliest > now
    if opens or window.target is None or window.latest is None or now > window.target:
        return words
    if window.target == window.latest:
        return words
    return f"{span_down(window.target - now)} to the target, {words}"


def _asked(question: Question, vocabulary: Mapping[str, Fact]) -> str:
    fact = vocabulary.get(question.fact)
    return fact.question if fact is not None else question.fact.replace("_", " ")
