"""Keeping in touch: the visits agreed with the worker, those that were missed, and who was reached."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from datetime import date, datetime

from thimble.actions._append import Refused, append
from thimble.ledger.entries import Entry, Kind
from thimble.ledger.plan import AgreedVisit
from thimble.ledger.store import LedgerStore


def agree_visits(
    store: LedgerStore,
    case: str,
    visits: Iterable[AgreedVisit],
    *,
    now: datetime,
    by: str,
    role: str,
    unavailable: Sequence[tuple[date, date]] = (),
    text: str = "",
    expected_position: int | None = None,
) -> list[Entry]:
    """The dates that the worker was told, in place of all that were told before.

    Args:
        unavailable: stretches of days on which the worker cannot come, first and last included.

    Raises:
        Refused: two visits on one day, an action in two visits, a visit for nothing, or a stretch
            that ends before it begins.
        NoSuchCase, Overtaken: as `append`; so for every action of this module.
    """
    body = {
        "visits": [
            {"day": visit.day.isoformat(), "actions": list(visit.actions)}
            for visit in sorted(visits, key=lambda visit: visit.day)
        ],
        "unavailable": [
            {"first": first.isoformat(), "last": last.isoformat()} for first, last in unavailable
        ],
        "text": text,
    }
    return append(
        store, case, [(Kind.VISITS_AGREED, body)], now=now, by=by, role=role,
        expected_position=expected_position,
    )  # fmt: skip


def miss_visit(
    store: LedgerStore,
    case: str,
    day: date,
    *,
    today: date,
    now: datetime,
    by: str,
    role: str,
    text: str = "",
    expected_position: int | None = None,
) -> list[Entry]:
    """The worker was expected on `day` and did not come.

    Args:
        today: the day of `now` in the site's calendar.

    Raises:
        Refused: the day has not come yet.
    """
    if day > today:
        raise Refused(
            f"a visit on {day.isoformat()} is still to come; today is {today.isoformat()}"
        )
    return append(
        store, case, [(Kind.VISIT_MISSED, {"day": day.isoformat(), "text": text})],
        now=now, by=by, role=role, expected_position=expected_position,
    )  # fmt: skip


def contact(
    store: LedgerStore,
    case: str,
    *,
    how: str,
    outcome: str,
    now: datetime,
    by: str,
    role: str,
    text: str = "",
    happened_at: datetime | None = None,
    expected_position: int | None = None,
) -> list[Entry]:
    """An attempt to reach the worker, and what came of it (ids of `ledger.bodies`).

    Raises:
        Refused: a way or an outcome that is none.
    """
    body = {"how": how, "outcome": outcome, "text": text}
    return append(
        store, case, [(Kind.CONTACTED, body)], now=now, by=by, role=role,
        happened_at=happened_at, expected_position=expected_position,
    )  # fmt: skip
