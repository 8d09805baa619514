"""What the papers of a case take from its entries: which doses were given, who wrote, what was signed.

Values only. Names of accounts come from whoever may resolve them; without them a paper names the role.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from enum import Enum, auto

from thimble.ledger.entries import Entry, Kind
from thimble.ledger.fold import known_by, standing
from thimble.ledger.plan import TO_DO, Plan, SignedPlan, Situation, State
from thimble.ledger.telling import told
from thimble.protocol.protocol import Protocol


@dataclass(frozen=True, slots=True)
class Given:
    """A dose that was given: for which action, what, how much, from which batch, when, by which entry.

    `amount` and `batch` are "" where nobody recorded them. `at` is aware.
    """

    action: str
    product: str
    amount: str
    batch: str
    at: datetime
    entry: int


@dataclass(frozen=True, slots=True)
class Record:
    """The entries of one case, and the words for those who wrote them.

    Args:
        entries: of one case; none gives papers that name accounts only.
        names: account to display name, where it is known.
        roles: role to its words ("Emergency clinician"); what is missing is told by its own id.
        as_signed: the plan at this moment without what was recorded after the last signature, where
            it was computed: with it a changed amount is seen too.
    """

    entries: Sequence[Entry] = ()
    names: Mapping[str, str] = field(default_factory=dict)
    roles: Mapping[str, str] = field(default_factory=dict)
    as_signed: Plan | None = None

    def doses(self, as_of: datetime) -> tuple[Given, ...]:
        """The doses recorded by `as_of` (aware), as their corrections leave them, the first one first."""
        found = [
            Given(
                action=str(stands.body["action"]),
                product=str(stands.body["product"]).strip(),
                amount=str(stands.body["amount"]).strip(),
                batch=str(stands.body["batch"]).strip(),
                at=stands.happened_at,
                entry=position,
            )
            for position, stands in standing(known_by(self.entries, as_of)).items()
            if stands is not None and stands.entry.kind is Kind.DOSE_GIVEN
        ]
        return tuple(sorted(found, key=lambda dose: (dose.at, dose.entry)))

    def who(self, account: str, position: int | None = None) -> str:
        """Who wrote an entry: by name and role, by role and account, or by the account alone.

        >>> Record(names={"u-7": "Dr. Invented"}).who("u-7")
        'Dr. Invented'
        """
        if account == "worker":
            return "the worker"
        role = self._role(position)
        name = self.names.get(account, "").strip()
        if name:
            return f"{name}, {role}" if role else name
        if not role:
            return f"account {account}"
        article = "an" if role[0] in "aeiou" else "a"
        return f"{article} {role}, account {account}"

    def _role(self, position: int | None) -> str:
        role = next((entry.role for entry in self.entries if entry.position == position), "")
        words = self.roles.get(role, role.replace("_", " "))
        return words[:1].lower() + words[1:]


class Standing(Enum):
    """Whether a plan stands signed as it reads now."""

    UNSIGNED = auto()
    AS_SIGNED = auto()
    CHANGED = auto()
    OTHER_RULES = auto()


def standing_of(plan: Plan, situation: Situation, protocol: Protocol, record: Record) -> Standing:
    """How the plan compares with the last signature: what was signed is what its entry says.

    A change is a decision that people are told, something new to do, something no longer needed, or
    another amount. What was done since is none; nor is what is not told (how many hours have passed
    for a dose that is not needed) while every decision stands.
    """
    if not situation.signed:
        return Standing.UNSIGNED
    last: SignedPlan = situation.signed[-1]
    if last.protocol_digest != plan.protocol_digest:
        return Standing.OTHER_RULES
    matters = {finding.decision for finding in told(plan, protocol)} | set(protocol.amount_parts)
    now = {name: plan.findings[name].value for name in matters if name in plan.findings}
    signed = set(last.actions)
    before = record.as_signed.actions if record.as_signed else ()
    amounts = {action.id: action.amount for action in before if action.state in TO_DO}
    to_do = [action for action in plan.actions if action.state in TO_DO]
    changed = (
        any(now[name] != value for name, value in last.decisions.items() if name in now)
        or any(a.stands and a.id not in signed for a in to_do)
        or any(amounts.get(a.id, a.amount) != a.amount for a in to_do)
        or any(a.state is State.NO_LONGER_NEEDED and a.id in signed for a in plan.actions)
    )
    return Standing.CHANGED if changed else Standing.AS_SIGNED
