"""The one next thing of a case, for a list of many: what, and until when."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, datetime

from thimble.clinical.windows import window_state
from thimble.ledger.plan import Action, Plan, State
from thimble.protocol.finding import Question
from thimble.protocol.vocabulary import Fact

_FAR = datetime.max.replace(tzinfo=UTC)


@dataclass(frozen=True, slots=True)
class NextThing:
    """`words` for a list; `closes_at` to order by, None where no limit runs.

    `action` is what to do or, with a `question`, what the answer decides; both are None when there
    is nothing to do.
    """

    words: str
    closes_at: datetime | None
    action: Action | None = None
    question: Question | None = None


def next_thing(plan: Plan, vocabulary: Mapping[str, Fact]) -> NextThing:
    """What closes first: an action to do, or the question that decides whether there is one.

    An action that is certain comes before one whose limit is the same and that is only possible;
    one that is open now before one that opens later; one that waits for another is left out, since
    that other comes first.
    """
    ready = [
        a for a in plan.actions if a.state in (State.OPEN, State.LATE) and not a.window.waits_for
    ]
    if ready:
        action = min(ready, key=lambda a: (_later(a, plan.now), _closes(a), not a.certain))
        question = _question(action, plan)
        if action.certain or question is not None:
            return NextThing(
                _words(action, question, plan.now, vocabulary),
                action.window.latest or action.window.target or _opening(action, plan.now),
                action,
                question,
            )
    if plan.questions:
        question = plan.questions[0]
        return NextThing(_asked(question, vocabulary), None, None, question)
    certain = [a for a in ready if a.certain]
    if certain:
        action = min(certain, key=lambda a: (_later(a, plan.now), _closes(a)))
        return NextThing(
            _words(action, None, plan.now, vocabulary),
            action.window.latest or action.window.target or _opening(action, plan.now),
            action,
        )
    return NextThing("Nothing to do now", None)


def _later(action: Action, now: datetime) -> bool:
    return action.window.earliest is not None and action.window.earliest > now


def _opening(action: Action, now: datetime) -> datetime | None:
    return action.window.earliest if _later(action, now) else None


def _closes(action: Action) -> datetime:
    at = action.window.latest or action.window.target
    return _FAR if at is None else at.astimezone(UTC)


def _question(action: Action, plan: Plan) -> Question | None:
    """The first question, in the plan's order, that settles a possible action."""
    if action.certain:
        return None
    return next((q for q in plan.questions if q.fact in action.open_facts), None)


def _words(
    action: Action, question: Question | None, now: datetime, vocabulary: Mapping[str, Fact]
) -> str:
    window = action.window
    limited = (window.earliest, window.target, window.latest) != (None, None, None)
    left = window_state(window.earliest, window.target, window.latest, now).words if limited else ""
    what = action.what.rstrip(".")
    if question is not None:
        what = f"{_asked(question, vocabulary)} It decides: {what}"
    return f"{what}: {left}" if left and left != "no time limit" else what


def _asked(question: Question, vocabulary: Mapping[str, Fact]) -> str:
    fact = vocabulary.get(question.fact)
    return fact.question if fact is not None else question.fact.replace("_", " ")
