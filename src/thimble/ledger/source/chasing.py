"""The source patient chased: which step is waited for, since when, of whom, and when to call.

A pure function of the situation and the site's law. Its things to do are actions like any other, so the
one order of `pressing` holds for them. What the law lets be done comes from `protocols/source_law`.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, tzinfo

from thimble.clinical.durations import add
from thimble.clinical.saying import inside
from thimble.clinical.source_law import NextStep, next_step
from thimble.clinical.source_rules import SourceRules
from thimble.ledger.plan import CHASE, Action, State, Window
from thimble.ledger.situation import Situation
from thimble.ledger.source.record import Escalation, SourceStep
from thimble.protocol.finding import Finding

SETTLE = f"{CHASE}settle_without"
SETTLED_WORDS = "The plan is settled without the source's result."
"""Done, it ends the chase: a physician has settled the plan without the source's result."""
CALL = f"{CHASE}call"
NOT_ASKED = "not_asked"
REPRESENTATIVE = "representative"

_MISSING = {
    "hiv": ("source_hiv", "unknown"),
    "hbv": ("source_hbsag", "unknown"),
    "hcv": ("source_hcv_rna", "not_tested"),
}
"""For each infection the fact that a result settles, and the value that is none."""


@dataclass(frozen=True, slots=True)
class Chase:
    """Where the chase stands.

    `state` is a value of the fact `source_state`; `awaits` the infections without a result, most urgent
    first; `began` when the state began; `target` by when the next step is best done; `call_at` when the
    registrar is to be called, or called again; `calls` those already made about this step. `significant`
    says that the exposure is, for certain.
    """

    state: str
    held: str
    awaits: tuple[str, ...]
    step: NextStep
    began: datetime
    target: datetime
    call_at: datetime
    calls: tuple[Escalation, ...]
    significant: bool = False

    def overdue(self, now: datetime) -> bool:
        """Whether the target has passed. It is inclusive: at the last instant there is still time."""
        return now > self.target


def awaited(situation: Situation) -> tuple[str, ...]:
    """The infections of which no result of the source is known, most urgent first."""
    facts = situation.facts
    return tuple(
        name
        for name, (fact, none) in _MISSING.items()
        if fact not in facts or facts[fact].value == none
    )


def speaking(steps: tuple[SourceStep, ...]) -> SourceStep | None:
    """The step that says how things stand: the last one, but for two that outlast what comes after.

    A patient's own refusal stands whatever a representative says and though they sleep, die or go home;
    they may be asked again, and a recorded decision of a named function is another matter. A sample that
    is taken has a result, wherever the patient is.
    """
    found = refusal = None
    for step in steps:
        others = step.step in _WORDS and step.whom == REPRESENTATIVE
        own = step.step in _WORDS and not others
        if own and step.step != "asked":
            refusal = step if step.step == "refused" else None
        where = step.step in _WHERE
        if refusal is not None and found is not None and (others or where):
            found = refusal if found.step in _WORDS else found
        elif not (where and found is not None and found.step == "sampled"):
            found = step
    return found


_WORDS = ("asked", "consented", "refused")
_WHERE = ("lacks_capacity", "died", "discharged")


def state_of(steps: tuple[SourceStep, ...]) -> str:
    """The value of `source_state` that the steps lead to."""
    told = speaking(steps)
    if told is None:
        return NOT_ASKED
    if told.step in _WORDS and told.whom == REPRESENTATIVE:
        return f"{REPRESENTATIVE}_{told.step}"
    if told.step == "lacks_capacity":
        return "capacity_expected" if told.capacity == "expected" else "lacks_capacity"
    return told.step


def held_of(steps: tuple[SourceStep, ...]) -> str:
    """Whether blood of the source is in the laboratory, as far as anybody said."""
    said = [step.blood_held for step in steps if step.blood_held]
    return said[-1] if said else "unknown"


def chase_of(
    situation: Situation, significance: Finding | None, rules: SourceRules, zone: tzinfo
) -> Chase | None:
    """The chase of a case; None where nothing is chased.

    That is while the case is closed, the exposure is not significant, every result is in, a physician
    has settled it since the last step, or nobody has reported yet.
    """
    awaits = awaited(situation)
    steps = situation.source.steps
    told = speaking(steps)
    begun = told.at if told else (situation.occurred_at or situation.reported_at)
    settled = situation.last_done.get(SETTLE)
    if (
        situation.closed_at is not None
        or situation.reported_at is None
        or not awaits
        or begun is None
        or (significance is not None and significance.value == "not_significant")
        or (settled is not None and settled >= (steps[-1].at if steps else begun))
    ):
        return None
    state, held = state_of(steps), held_of(steps)
    step = next_step(rules.jurisdiction, state, held, awaits[0])
    target = add(begun, step.target, zone)
    calls = tuple(
        call
        for call in situation.source.escalations
        if call.about == step.next and call.at >= begun
    )
    # A call made before the target does not put off the one that is due when it passes.
    last = max((call.at for call in calls), default=None)
    call_at = target
    if not steps:
        # Nobody could ask before the report: a late one is no reason to call in its first minute.
        call_at = add(max(begun, situation.reported_at), step.target, zone)
    if last is not None:
        call_at = max(call_at, add(last, step.again, zone))
    sure = significance is not None and significance.value == "significant"
    return Chase(state, held, awaits, step, begun, target, call_at, calls, sure)


def chase_actions(
    chase: Chase | None, situation: Situation, actions: tuple[Action, ...], rules: SourceRules
) -> tuple[Action, ...]:
    """What the chase asks for, beside the plan's own actions.

    Until somebody has taken a first step the plan's own asking, or its question about the source, is what
    presses; and its own samples are the blood to take. The call is due in every state: a source whom
    nobody has asked must not be forgotten either, once it is settled that the exposure is significant.
    """
    if chase is None or not (situation.source.steps or chase.significant):
        return ()
    sampling = any(
        a.whom == "source" and a.kind == "sample" and a.state is State.OPEN for a in actions
    )
    step = chase.step
    found = []
    by_the_plan = not situation.source.steps or (step.next == "take_blood" and sampling)
    if not by_the_plan:
        found.append(
            _action(f"{CHASE}{step.next}", step.words("next"), chase.began, chase.target, chase)
        )
    whom = rules.registrar or "the registrar on call"
    found.append(
        _action(
            CALL,
            f"Call {whom} about the source: {inside(step.words('next'))}",
            chase.call_at, chase.call_at, chase,
        )
    )  # fmt: skip
    return tuple(found)


def _action(id_: str, what: str, opens: datetime, target: datetime, chase: Chase) -> Action:
    return Action(
        id=id_,
        what=what,
        kind="review" if id_ == SETTLE else "ask",
        whom="department",
        window=Window(opens, target, None),
        state=State.OPEN,
        certain=True,
        because=chase.step.because,
    )


def chases(action: str) -> bool:
    """Whether an action is done on the page of the source patient, and in no other way."""
    return action.startswith(CHASE)
