"""What is to be done next in a case, and how urgent that is: by the window that closes first.

A window has two limits: `target`, by when it is best done, and `latest`, after which it is late. The
limit that counts is the next one still to come. A target that has just passed counts on for a day: what
should be done at once stays above what has hours left. After that the latest instant counts, or, where
there is none, the thing is past its window.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from enum import StrEnum

from thimble.clinical.windows import span_down, span_up
from thimble.ledger.assess import HOURS
from thimble.ledger.plan import TO_DO, Action, Plan, Situation, State
from thimble.protocol.vocabulary import Fact

NEAR = timedelta(hours=72)
"""What closes within this much of now stands at the top of the list."""

OVERDUE = timedelta(hours=24)
"""How long a target that has passed still counts."""


class Group(StrEnum):
    """The parts of the worklist, most urgent first."""

    NOW = "now"
    PAST = "past"
    LATER = "later"
    STILL = "still"


TITLES = {
    Group.NOW: "Closing within three days",
    Group.PAST: "Past the window",
    Group.LATER: "Later",
    Group.STILL: "No clock running",
}
_RANK = {group: rank for rank, group in enumerate(Group)}
_FAR = datetime.max.replace(tzinfo=UTC)


@dataclass(frozen=True, slots=True)
class NextThing:
    """The next thing of one case.

    `limit` is the instant that counts: `best` says that it is a target. `share` is what is left of
    its window in per cent, for the ring; None where no clock runs. `certain` is False while
    missing facts could still make it unnecessary. `late` counts the case's actions whose latest
    instant has passed.
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

    @property
    def key(self) -> tuple[int, datetime]:
        """What the worklist is ordered by."""
        if self.group is Group.PAST and self.limit is not None:
            # The window that closed last first: there is most left to save.
            return (_RANK[self.group], _turned(self.limit))
        return (_RANK[self.group], self.limit or _FAR)


def _turned(at: datetime) -> datetime:
    """Instants in reverse order."""
    return datetime.fromtimestamp(-at.timestamp(), UTC)


def limit_of(action: Action, now: datetime) -> tuple[datetime | None, bool]:
    """The limit of an action that counts at `now`, in UTC, and whether it is a target."""
    target, latest = action.window.target, action.window.latest
    still = latest is None or (now <= latest and now - OVERDUE <= (target or now) < latest)
    if target is not None and still:
        return target.astimezone(UTC), True
    return (None if latest is None else latest.astimezone(UTC)), False


def group_of(action: Action, limit: datetime | None, now: datetime) -> Group:
    """Which part of the worklist an action that is still to be done belongs to."""
    if limit is None:
        return Group.STILL
    if action.state is State.LATE or limit < now - OVERDUE:
        return Group.PAST
    return Group.NOW if limit <= now + NEAR else Group.LATER


def to_do(plan: Plan) -> tuple[Action, ...]:
    """The actions that somebody still has to do, or to decide about."""
    return tuple(a for a in plan.actions if a.state in TO_DO)


def next_thing(
    plan: Plan,
    situation: Situation,
    now: datetime,
    vocabulary: Mapping[str, Fact],
    open_actions: Sequence[Action] | None = None,
) -> NextThing:
    """The next thing of a case: of its open actions the one whose limit comes first.

    A window that has closed comes after one that is still open and near, and before one that is far.
    Where the time of the exposure is not known no window can be shown: that comes before all else.
    `open_actions` are `to_do(plan)`, where they are at hand.
    """
    open_actions = to_do(plan) if open_actions is None else open_actions
    late = sum(action.state is State.LATE for action in open_actions)
    if situation.occurred_at is None and HOURS not in situation.facts and open_actions:
        reported = situation.reported_at or now
        near = now - reported <= NEAR
        what = "The time of the exposure is not known"
        return _unlimited(
            Group.NOW if near else Group.STILL, what, f"{what}: ask, or decide without it",
            reported.astimezone(UTC), late,
        )  # fmt: skip
    if open_actions:
        return _doing(min(open_actions, key=lambda action: urgency(action, now)), now, late)
    if plan.questions:
        fact = vocabulary.get(plan.questions[0].fact)
        what = fact.question if fact else plan.questions[0].fact.replace("_", " ")
    elif situation.signed:
        what = "Nothing is open: close the case"
    else:
        what = "Nothing is due: sign the plan"
    return _unlimited(Group.STILL, what, what, None, late)


def urgency(action: Action, now: datetime) -> tuple[int, datetime, bool, bool]:
    """What the open actions of a case are ordered by."""
    limit, _ = limit_of(action, now)
    group = group_of(action, limit, now)
    at = limit or _FAR
    if group is Group.PAST:
        at = _turned(at)
    # Of two with the same limit, the one that is needed for certain.
    return (_RANK[group], at, bool(action.window.waits_for), not action.certain)


def _unlimited(group: Group, what: str, words: str, at: datetime | None, late: int) -> NextThing:
    return NextThing(group, "", what, words, at, False, None, None, True, late)


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
        group=group_of(action, limit, now),
        action=action.id,
        what=what,
        words=f"{what}: {time_left(action, now)}",
        limit=limit,
        best=best,
        latest=None if latest is None else latest.astimezone(UTC),
        share=share,
        certain=action.certain,
        late=late,
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
    return f"{'best within ' if best else ''}{span_down(limit - now)}{'' if best else ' left'}"


def short(sentence: str) -> str:
    """The first clause of an action's sentence: enough for a list."""
    ends = [at for mark in (":", ";", ",", " (") if (at := sentence.find(mark)) > 0]
    return sentence[: min(ends, default=len(sentence))].rstrip(".")


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


def source_words(situation: Situation, plan: Plan, now: datetime) -> str:
    """Where the source patient stands, in words with how long; "" where there is nothing to say."""
    steps, facts = situation.source_steps, situation.facts
    access = facts["source_access"].value if "source_access" in facts else None
    # A status that was known before is no result of this exposure's sample.
    results = {
        name
        for fact, name in _RESULTS.items()
        if fact in facts and facts[fact].said_by == "laboratory"
    }
    if results:
        waiting = [name for name in dict.fromkeys(_RESULTS.values()) if name not in results]
        said = ", ".join(name for name in dict.fromkeys(_RESULTS.values()) if name in results)
        return f"source result in: {said}" + (f"; not yet: {', '.join(waiting)}" if waiting else "")
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
