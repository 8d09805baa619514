"""Two plans side by side: what changed, in words; and whether a plan is still the one that was seen."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from dataclasses import dataclass

from thimble.ledger.plan import CHASE, TO_DO, Action, Caution, Plan, State
from thimble.protocol.model import Output


@dataclass(frozen=True, slots=True)
class DecisionChange:
    """A decision that reads otherwise. None stands for a decision that is still open."""

    decision: str
    before: str | None
    after: str | None
    possible: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Change:
    """What is different in the plan after.

    `added`: actions to do that were not to do before; `settled`: possible before, certain now;
    `changed`: the same action with other words or another amount; `no_longer_needed`: certainly to
    do before, not now and not done; `ruled_out`: possible before, not now; `done`, `departed` and
    `late`: since then; `reasons`: reasons that came (table, reason); `contradictions`: sentences
    that came.
    """

    decisions: tuple[DecisionChange, ...] = ()
    added: tuple[Action, ...] = ()
    settled: tuple[Action, ...] = ()
    no_longer_needed: tuple[Action, ...] = ()
    ruled_out: tuple[Action, ...] = ()
    done: tuple[Action, ...] = ()
    departed: tuple[Action, ...] = ()
    late: tuple[Action, ...] = ()
    changed: tuple[Action, ...] = ()
    cautions: tuple[Caution, ...] = ()
    reasons: tuple[tuple[str, str], ...] = ()
    contradictions: tuple[str, ...] = ()

    def __bool__(self) -> bool:
        return self != Change()

    def words(self, outputs: Mapping[str, Output]) -> tuple[str, ...]:
        """The change as sentences, what was decided first. `outputs` are the protocol's."""
        said = [*self.contradictions]
        for change in self.decisions:
            output = outputs.get(change.decision)
            label = (output.label if output else "") or change.decision.replace("_", " ")
            before, after = (
                "open" if value is None else output.words(value) if output else value
                for value in (change.before, change.after)
            )
            said.append(f"{label.rstrip('?')}: {after} (before: {before})")
        for lead, actions in (
            ("New", self.added),
            ("Now certain", self.settled),
            ("Changed", self.changed),
            ("No longer needed", self.no_longer_needed),
            ("Ruled out", self.ruled_out),
            ("Done", self.done),
            ("Departed from", self.departed),
            ("Late", self.late),
        ):
            for action in actions:
                amount = (
                    f" ({action.amount})"
                    if action.amount and lead in ("New", "Changed", "Now certain")
                    else ""
                )
                said.append(f"{lead}: {action.what}{amount}")
        for table, reason in self.reasons:
            output = outputs.get(table)
            label = (output.label if output else "") or table.replace("_", " ")
            said.append(f"{label}: {output.words(reason) if output else reason}")
        said += [f"Caution: {caution.text}" for caution in self.cautions]
        return tuple(said)


def diff(before: Plan, after: Plan) -> Change:
    """What is different in `after`."""
    earlier = {action.id: action for action in before.actions}
    to_do_before = {a.id for a in before.actions if a.state in TO_DO}
    later = {action.id: action for action in after.actions}

    def newly(state: State) -> tuple[Action, ...]:
        return tuple(
            a
            for a in after.actions
            if a.state is state and (a.id not in earlier or earlier[a.id].state is not state)
        )

    gone = [
        action
        for action in before.actions
        if action.state in TO_DO
        and (action.id not in later or later[action.id].state is State.NO_LONGER_NEEDED)
    ]
    both = [(earlier[a.id], a) for a in after.actions if a.id in to_do_before and a.state in TO_DO]
    seen = {(c.topic, c.text) for c in before.cautions}
    reasons_before = _reasons(before)
    return Change(
        decisions=tuple(
            DecisionChange(name, was.value if was else None, now.value, now.possible)
            for name, now in after.findings.items()
            if (was := before.findings.get(name)) is None
            or (was.value, was.possible) != (now.value, now.possible)
        ),
        added=tuple(a for a in after.actions if a.state in TO_DO and a.id not in to_do_before),
        settled=tuple(now for was, now in both if now.stands and not was.stands),
        no_longer_needed=tuple(later.get(a.id, a) for a in gone if a.stands),
        ruled_out=tuple(later.get(a.id, a) for a in gone if not a.stands),
        done=newly(State.DONE),
        departed=newly(State.DEPARTED),
        late=tuple(now for was, now in both if now.state is State.LATE is not was.state),
        changed=tuple(now for was, now in both if (was.what, was.amount) != (now.what, now.amount)),
        cautions=tuple(c for c in after.cautions if (c.topic, c.text) not in seen),
        reasons=tuple(reason for reason in _reasons(after) if reason not in reasons_before),
        contradictions=tuple(c for c in after.contradictions if c not in before.contradictions),
    )


def _reasons(plan: Plan) -> dict[tuple[str, str], bool]:
    return {
        (table, next(iter(item.outputs.values()))): item.certain
        for table, items in plan.reasons.items()
        for item in items
        if item.certain
    }


def fingerprint(plan: Plan) -> str:
    """What a clinician sees of a plan, as one short text: equal fingerprints, the same advice.

    The passing of time alone changes it only where it changes the advice or makes an action late.
    """
    seen = [
        plan.protocol_digest,
        *(f"{name}={finding.value}:{finding.possible}" for name, finding in plan.findings.items()),
        *sorted(
            f"{a.id}|{a.what}|{a.state.value}|{a.stands}|{a.amount}|{_limits(a)}"
            for a in plan.actions
            if not a.id.startswith(CHASE)
        ),
        *(f"{c.topic}|{c.text}|{c.certain}" for c in plan.cautions),
        *(f"{table}:{reason}" for table, reason in _reasons(plan)),
        *plan.contradictions,
    ]
    return hashlib.sha256("\n".join(seen).encode()).hexdigest()[:32]


def _limits(action: Action) -> str:
    window = action.window
    limits = (window.earliest, window.target, window.latest)
    return " ".join("-" if at is None else str(at.timestamp()) for at in limits)
