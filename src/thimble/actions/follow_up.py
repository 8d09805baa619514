"""Keeping in touch: the visits agreed with the worker, those that were missed, and who was reached."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from datetime import date, datetime
from typing import Any, Unpack

from thimble.actions._append import Refused, Told, Writing, append, existing
from thimble.clinical.series import DoseGiven
from thimble.ledger.entries import Entry, Kind
from thimble.ledger.fold import fold
from thimble.ledger.follow_up.record import AgreedVisit
from thimble.ledger.store import LedgerStore
from thimble.protocol.vocabulary import Fact


def agree_visits(
    store: LedgerStore,
    case: str,
    visits: Iterable[AgreedVisit],
    *,
    unavailable: Sequence[tuple[date, date]] = (),
    text: str = "",
    **told: Unpack[Writing],
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
            | ({} if visit.at is None else {"at": f"{visit.at:%H:%M}"})
            for visit in sorted(visits, key=lambda visit: visit.day)
        ],
        "unavailable": [
            {"first": first.isoformat(), "last": last.isoformat()} for first, last in unavailable
        ],
        "text": text,
    }
    return append(store, case, [(Kind.VISITS_AGREED, body)], **told)


def doses_on_record(
    store: LedgerStore,
    case: str,
    doses: Iterable[DoseGiven],
    *,
    today: date,
    text: str = "",
    **told: Unpack[Writing],
) -> list[Entry]:
    """Doses of hepatitis B vaccine given before the exposure or elsewhere, in place of those told before.

    Args:
        today: the day of `now` in the site's calendar.

    Raises:
        Refused: a dose lies wholly after today.
    """
    in_order = sorted(doses, key=lambda dose: dose.when)
    for dose in in_order:
        if dose.when.first > today:
            raise Refused(f"a dose of {dose.when} is still to come; today is {today.isoformat()}")
    body = {
        "doses": [{"when": str(dose.when), "product": dose.cvx or ""} for dose in in_order],
        "text": text,
    }
    return append(store, case, [(Kind.DOSES_ON_RECORD, body)], **told)


def miss_visit(
    store: LedgerStore,
    case: str,
    day: date,
    *,
    today: date,
    text: str = "",
    **told: Unpack[Writing],
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
        store, case, [(Kind.VISIT_MISSED, {"day": day.isoformat(), "text": text})], **told
    )


def contact(
    store: LedgerStore,
    case: str,
    *,
    how: str,
    outcome: str,
    text: str = "",
    about: str = "",
    visit: date | None = None,
    **told: Unpack[Told],
) -> list[Entry]:
    """An attempt to reach the worker, and what came of it (ids of `ledger.bodies`).

    Args:
        about, visit: for a message that went out by itself, what it was about, and the day of the visit.

    Raises:
        Refused: a way or an outcome that is none.
    """
    body: dict[str, Any] = {"how": how, "outcome": outcome, "text": text}
    if about:
        body["about"] = about
    if visit is not None:
        body["visit"] = visit.isoformat()
    return append(store, case, [(Kind.CONTACTED, body)], **told)


def worker_agrees(
    store: LedgerStore, case: str, to: str, *, agreed: bool, text: str = "", **told: Unpack[Writing]
) -> list[Entry]:
    """What the worker agrees to, or no longer does (an id of `ledger.bodies.AGREEMENTS`).

    Raises:
        Refused: there is nothing of that name to agree to.
    """
    body = {"to": to, "agreed": agreed, "text": text}
    return append(store, case, [(Kind.WORKER_AGREED, body)], **told)


def decide_reaching(
    store: LedgerStore,
    case: str,
    decision: str,
    *,
    until: date | None,
    reason: str,
    vocabulary: Mapping[str, Fact],
    today: date,
    now: datetime,
    by: str,
    role: str,
    expected_position: int | None = None,
) -> list[Entry]:
    """What a physician decides about a worker who cannot be reached (`ledger.bodies.REACHING_DECISIONS`).

    Args:
        until: the day on which it is decided anew; None for closing alone.
        today: the day of `now` in the site's calendar.

    Raises:
        Refused: there is no such decision; its day is missing or not ahead; the reason is missing; or the
            general practitioner is to be told and the worker has not agreed to that.
    """
    if until is not None and until <= today:
        raise Refused(
            f"the day to decide anew lies ahead of today ({today.isoformat()}); "
            f"found {until.isoformat()}"
        )
    situation = fold(existing(store, case), now, vocabulary)
    if decision == "inform_gp" and not situation.follow_up.agreements.get("gp_letter"):
        raise Refused(
            "the worker has not agreed to a letter to the general practitioner. Record the agreement "
            "first, or decide otherwise"
        )
    body = {
        "decision": decision,
        "until": None if until is None else until.isoformat(),
        "text": reason,
    }
    return append(
        store, case, [(Kind.REACHING_DECIDED, body)], now=now, by=by, role=role,
        expected_position=expected_position,
    )  # fmt: skip


def offer(
    store: LedgerStore,
    case: str,
    moment: str,
    *,
    answer: str,
    text: str = "",
    **told: Unpack[Writing],
) -> list[Entry]:
    """Support was offered at a moment of `follow_up.support`; the worker's answer is one of `ANSWERS`.

    Raises:
        Refused: an answer that is none.
    """
    body = {"action": moment, "text": text, "answer": answer}
    return append(store, case, [(Kind.COUNSELLED, body)], **told)
