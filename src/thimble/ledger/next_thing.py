"""What is to be done next in a case, in words, and where its case stands among the others."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta

from thimble.clinical.saying import elapsed
from thimble.clinical.windows import best_within, span_down, span_up
from thimble.ledger.assess import HOURS
from thimble.ledger.plan import CHASE, Action, Plan, State
from thimble.ledger.pressing import (
    FAR,
    NEAR,
    RANK,
    Group,
    Key,
    Limits,
    group_of,
    limit_of,
    limits_of,
    to_do,
    urgency,
    urgency_of,
)
from thimble.ledger.situation import Situation
from thimble.ledger.source.chasing import CALL, state_of
from thimble.protocol.vocabulary import Fact


@dataclass(frozen=True, slots=True)
class NextThing:
    """The next thing of one case.

    `limit` is the instant that counts: `best` says that it is a target. `share` is what is left of
    its window in per cent, for the ring; None where no clock runs. `certain` is False while
    missing facts could still make it unnecessary. `late` counts the case's actions whose latest
    instant has passed. `key` is what cases are ordered by, as the actions of one case are.
    """

    group: Group
    action: str
    what: str
    words: str
    limit: datetime | None
    best: bool
    latest: datetime | None
    share: int | None
    certain: bool
    late: int
    key: Key


def next_thing(
    plan: Plan,
    situation: Situation,
    now: datetime,
    vocabulary: Mapping[str, Fact],
    open_actions: Sequence[Action] | None = None,
    limits: Sequence[Limits] | None = None,
) -> NextThing:
    """The next thing of a case: of its open actions the one that presses most.

    While nothing can be done yet, the first open question comes next, then the signature.
    Where the time of the exposure is not known no window can be shown: that comes before all else.
    `open_actions` are `to_do(plan)` and `limits` those of each, where they are at hand.
    """
    open_actions = to_do(plan) if open_actions is None else open_actions
    late = sum(action.state is State.LATE for action in open_actions)
    if situation.occurred_at is None and HOURS not in situation.facts and open_actions:
        reported = situation.reported_at or now
        near = now - reported <= NEAR
        what = "The time of the exposure is not known"
        return _unlimited(
            Group.NOW if near else Group.OPEN, what, f"{what}: ask, or decide without it",
            reported.astimezone(UTC), late,
        )  # fmt: skip
    if open_actions:
        limits = [limits_of(a) for a in open_actions] if limits is None else limits
        at = now.timestamp()
        keys = [urgency_of(each, at) for each in limits]
        first = open_actions[keys.index(min(keys))]
        if group_of(first, now) is not Group.AHEAD:
            return _doing(first, now, late)
    if plan.questions:
        fact = vocabulary.get(plan.questions[0].fact)
        what = fact.question if fact else plan.questions[0].fact.replace("_", " ")
    elif not situation.signed:
        what = "Nothing is due: sign the plan"
    elif open_actions:
        return _doing(first, now, late)
    else:
        what = "Nothing is open: close the case"
    return _unlimited(Group.OPEN, what, what, None, late)


def _unlimited(group: Group, what: str, words: str, at: datetime | None, late: int) -> NextThing:
    # What has no limit of its own counts from when it was told, and stands behind what is due.
    key = (RANK[group], 2, FAR if at is None else at.timestamp(), False, False, True)
    return NextThing(group, "", what, words, at, False, None, None, True, late, key)


def _doing(action: Action, now: datetime, late: int) -> NextThing:
    limit, best = limit_of(action, now)
    what = short(action.what)
    latest = action.window.latest
    share = None
    end = limit if limit is None or limit >= now or latest is None else max(limit, latest)
    if end is not None:
        # The ring empties up to the limit that comes next.
        opens = action.window.earliest
        share = 100 * (end >= now)
        if opens is not None and end > opens:
            share = min(100, max(0, round(100 * (end - now) / (end - opens))))
    return NextThing(
        group=group_of(action, now),
        action=action.id,
        what=what,
        words=f"{what}: {time_left(action, now)}",
        limit=limit,
        best=best,
        latest=None if latest is None else latest.astimezone(UTC),
        share=share,
        certain=action.stands,
        late=late,
        key=urgency(action, now),
    )


def time_left(action: Action, now: datetime) -> str:
    """How much time an open action has, in words that never promise more than there is."""
    limit, best = limit_of(action, now)
    if limit is None:
        if action.window.waits_for:
            return "waits for what comes before it"
        return "no time limit"
    if limit < now:
        ago = span_down(now - limit)
        if not best:
            return f"window closed {ago} ago"
        latest = action.window.latest
        left = f", {span_down(latest - now)} left" if latest is not None else ""
        return f"due since {ago}{left}"
    earliest = action.window.earliest
    if earliest is not None and earliest > now:
        return f"opens in {span_up(earliest - now)}"
    if best:
        return best_within(limit - now)
    target = action.window.target
    overdue = "overdue, " if target is not None and target < now else ""
    return f"{overdue}{span_down(limit - now)} left"


# A comma or a bracket ends the clause only where no condition follows it.
_CLAUSE_ENDS = re.compile(r"[:;]| \((?!(?:if|unless)\b)|,(?! (?:if|unless)\b)")


def short(sentence: str) -> str:
    """The first clause of an action's sentence: enough for a list. A condition is never cut off.

    "Give the first dose, if it was decided on" without its condition would order what nobody decided.
    """
    end = _CLAUSE_ENDS.search(sentence)
    return sentence[: end.start() if end else len(sentence)].rstrip(".")


def since(at: datetime, now: datetime) -> str:
    """How long something has been so; an instant that lies ahead counts as now."""
    return span_down(max(now - at, timedelta(0)))


# -- where the source patient stands --------------------------------------------------------------


_RESULTS = {
    "source_hiv": "HIV",
    "source_hbsag": "hepatitis B",
    "source_hcv_rna": "hepatitis C",
    "source_anti_hcv": "hepatitis C",
}


_SAID = {
    "representative_asked": "representative of the source asked, no answer yet",
    "representative_consented": "representative of the source consents, not sampled",
    "representative_refused": "representative of the source refuses",
    "capacity_expected": "source cannot consent yet",
    "died": "source has died",
    "discharged": "source has gone home, not tested",
    "authorised": "source may be tested as decided, not sampled",
    "not_identified": "source not identified",
}
"""Where the last step with the source leads beyond asking, the patient's own answer and the sample."""


_TESTED = frozenset(_RESULTS.values())


def _results(situation: Situation) -> frozenset[str]:
    """The infections for which the laboratory has said something of the source.

    A status that was known before is no result of this exposure's sample.
    """
    facts = situation.facts
    return frozenset(
        name
        for fact, name in _RESULTS.items()
        if fact in facts and facts[fact].said_by == "laboratory"
    )


def source_is_open(situation: Situation, plan: Plan) -> bool:
    """Whether somebody still has to do something about the source, or a result of it is awaited."""
    steps = situation.source_steps
    latest = max(steps, key=lambda step: steps[step]) if steps else ""
    awaited = latest in ("asked", "consented", "sampled") and _results(situation) != _TESTED
    return awaited or any(action.whom == "source" for action in to_do(plan))


def source_words(situation: Situation, plan: Plan, now: datetime) -> str:
    """Where the source patient stands, in words with how long, and with the target of the next step once
    it has passed; "" where there is nothing to say."""
    said = _source_stands(situation, plan, now)
    step = next((a for a in plan.actions if a.id.startswith(CHASE) and a.id != CALL), None)
    if not said or step is None or step.window.earliest is None or step.window.target is None:
        return said
    allowed = elapsed(step.window.earliest, step.window.target)
    return f"{said}; target {allowed} passed" if now > step.window.target else said


def _source_stands(situation: Situation, plan: Plan, now: datetime) -> str:
    steps, facts = situation.source_steps, situation.facts
    access = facts["source_access"].value if "source_access" in facts else None
    results = _results(situation)
    if results:
        waiting = [name for name in dict.fromkeys(_RESULTS.values()) if name not in results]
        said = ", ".join(name for name in dict.fromkeys(_RESULTS.values()) if name in results)
        return f"source result in: {said}" + (f"; not yet: {', '.join(waiting)}" if waiting else "")
    taken = situation.source.steps
    if (said := _SAID.get(state_of(taken), "")) and taken:
        return f"{said}, {since(taken[-1].at, now)}"
    latest = max(steps, key=lambda step: steps[step]) if steps else ""
    if latest in ("refused", "lacks_capacity"):
        said = "refuses" if latest == "refused" else "cannot consent now"
        return f"source {said}, {since(steps[latest], now)}"
    if "sampled" in steps:
        return f"source sampled, no result yet, {since(steps['sampled'], now)}"
    if "consented" in steps:
        return f"source consented, not sampled, {since(steps['consented'], now)}"
    if "asked" in steps:
        return f"source asked, no answer yet, {since(steps['asked'], now)}"
    if access == "unidentified":
        return "source not identified"
    if access == "cannot_be_tested":
        return "source cannot be tested"
    if access == "refuses":
        return "source refuses"
    begun = situation.occurred_at or situation.reported_at
    wanted = any(action.whom == "source" for action in to_do(plan))
    if access is None and "source_access" not in situation.cannot_be_known:
        return f"source not yet looked into, {since(begun, now)}" if begun and wanted else ""
    return f"source not yet asked, {since(begun, now)}" if begun and wanted else ""


def signed_words(situation: Situation, plan: Plan, now: datetime) -> str:
    """Whether the plan is signed, and whether the case or the rules have moved on since."""
    if not situation.signed:
        begun = situation.reported_at or situation.occurred_at
        return f"plan not signed, {since(begun, now)}" if begun else "plan not signed"
    last = situation.signed[-1]
    if last.protocol_digest != plan.protocol_digest:
        return "signed under another edition of the protocol"
    if situation.entries > last.entry:
        return "signed, new entries since"
    return "signed"
