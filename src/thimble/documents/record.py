"""What the papers of a case take from its entries: which doses were given, who wrote, what was signed.

Values only. Names of accounts come from whoever may resolve them; without them a paper names the role.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any

from thimble.clinical.saying import counted, inside
from thimble.ledger.entries import Entry, Kind
from thimble.ledger.plan import Plan
from thimble.ledger.standing import known_by, standing


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
        """The doses recorded by `as_of` (aware), as their corrections leave them, the first one first.

        Tablets for the days to come are among them, under the name of their kind.
        """
        found = [
            Given(
                action=str(stands.body.get("action", stands.entry.kind.value)),
                product=str(stands.body["product"]).strip(),
                amount=_amount(stands.body),
                batch=str(stands.body["batch"]).strip(),
                at=stands.happened_at,
                entry=position,
            )
            for position, stands in standing(known_by(self.entries, as_of)).items()
            if stands is not None
            and stands.entry.kind in (Kind.DOSE_GIVEN, Kind.TABLETS_HANDED_OUT)
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

    def writer(self, position: int) -> str:
        """Who wrote the entry at a position; "" where it is not among the entries."""
        by = next((entry.by for entry in self.entries if entry.position == position), "")
        return self.who(by, position) if by else ""

    def _role(self, position: int | None) -> str:
        role = next((entry.role for entry in self.entries if entry.position == position), "")
        words = self.roles.get(role, role.replace("_", " "))
        return inside(words)


def _amount(body: Mapping[str, Any]) -> str:
    """How much was given: of one dose, and for how many days tablets were handed out."""
    days = body.get("days", 0)
    handed = f"for {counted(days, 'day')}" if days else ""
    return ", ".join(part for part in (str(body.get("amount", "")).strip(), handed) if part)


def in_entry(number: int) -> str:
    """Where somebody's own words stand that are not repeated on paper."""
    return f"as it stands in entry {number}"
