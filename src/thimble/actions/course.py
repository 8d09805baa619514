"""A course of prophylaxis after its first dose: tablets, missed doses, side effects, reviews, its end."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from typing import Any, Unpack

from thimble.actions._append import Refused, Told, Writing, append, existing
from thimble.ledger.entries import Entry, Kind
from thimble.ledger.prophylaxis.course import FIRST_DOSE
from thimble.ledger.standing import standing
from thimble.ledger.store import LedgerStore


def _write(
    store: LedgerStore,
    case: str,
    kind: Kind,
    body: Mapping[str, Any],
    **told: Unpack[Told],
) -> list[Entry]:
    """Append an entry of a course that has begun.

    Raises:
        Refused: no first dose stands on record, or as `append`.
    """
    began = [
        found.happened_at
        for found in standing(existing(store, case)).values()
        if found is not None
        and found.entry.kind is Kind.DOSE_GIVEN
        and found.body["action"] == FIRST_DOSE
    ]
    if not began:
        raise Refused("No first dose is on record. Record it on the page of the case first.")
    happened_at = told.get("happened_at")
    aware = happened_at is not None and happened_at.utcoffset() is not None
    if happened_at is not None and aware and happened_at < min(began):
        raise Refused(
            "That lies before the first dose. Check the day and the time, or correct the time of the "
            "first dose."
        )
    return append(store, case, [(kind, body)], **told)


def hand_out(
    store: LedgerStore,
    case: str,
    *,
    product: str,
    days: int,
    batch: str = "",
    text: str = "",
    **told: Unpack[Told],
) -> list[Entry]:
    """Tablets for `days` more days were handed out.

    Raises:
        Refused: no course has begun, no product, or no days; so, each in its way, for every action here.
        NoSuchCase, Overtaken: as `append`.
    """
    body = {"product": product, "days": days, "batch": batch, "text": text}
    return _write(store, case, Kind.TABLETS_HANDED_OUT, body, **told)


def miss_doses(
    store: LedgerStore,
    case: str,
    *,
    count: int,
    last_taken: datetime | None,
    taken_again: datetime | None,
    text: str = "",
    **told: Unpack[Writing],
) -> list[Entry]:
    """Doses were missed: how many, the last one taken before and the first one after, where known."""
    later = [at for at in (last_taken, taken_again) if at is not None and at > told["now"]]
    if later:
        raise Refused("That lies ahead of now. Write down what has happened.")
    body = {
        "count": count,
        "last_taken": None if last_taken is None else last_taken.isoformat(),
        "taken_again": None if taken_again is None else taken_again.isoformat(),
        "text": text,
    }
    return _write(store, case, Kind.DOSES_MISSED, body, **told)


def tell_side_effect(
    store: LedgerStore,
    case: str,
    *,
    words: str,
    severity: str,
    done: str = "",
    **told: Unpack[Told],
) -> list[Entry]:
    """A side effect in the worker's words, and what was done about it."""
    body = {"words": words, "severity": severity, "done": done}
    return _write(store, case, Kind.SIDE_EFFECT, body, **told)


def review_course(
    store: LedgerStore,
    case: str,
    *,
    adherence: str,
    baseline_bloods: str,
    source_result: str,
    decision: str,
    text: str = "",
    action: str | None = None,
    **told: Unpack[Told],
) -> list[Entry]:
    """A review of the course: what was found and what it came to (ids of `ledger.bodies`).

    `action` is the plan's action that this review does, None where the plan has none.
    """
    body = {
        "adherence": adherence,
        "baseline_bloods": baseline_bloods,
        "source_result": source_result,
        "decision": decision,
        "text": text,
        **({} if action is None else {"action": action}),
    }
    return _write(store, case, Kind.COURSE_REVIEWED, body, **told)


def change_course(
    store: LedgerStore, case: str, *, product: str, reason: str, **told: Unpack[Told]
) -> list[Entry]:
    """Another medicine from now on. The tablets handed out before count no more."""
    return _write(store, case, Kind.COURSE_CHANGED, {"product": product, "reason": reason}, **told)


def stop_course(
    store: LedgerStore,
    case: str,
    *,
    reason: str,
    text: str = "",
    action: str | None = None,
    **told: Unpack[Told],
) -> list[Entry]:
    """The course ended; `happened_at` is when the last dose was taken."""
    body = {"reason": reason, "text": text, **({} if action is None else {"action": action})}
    return _write(store, case, Kind.COURSE_STOPPED, body, **told)


def resume_course(
    store: LedgerStore,
    case: str,
    *,
    reason: str,
    in_hand: int | None,
    end: str,
    now: datetime,
    by: str,
    role: str,
    advised_by: str = "",
    happened_at: datetime | None = None,
    expected_position: int | None = None,
) -> list[Entry]:
    """A course that was stopped goes on; `happened_at` is when the first dose after the stop was taken.

    Args:
        in_hand: for how many days the worker still has tablets; None where that is not known.
        end: an id of `ledger.bodies.RESUMED_END`.
        advised_by: the service or function that advised it; "" where nobody was asked yet.

    Raises:
        Refused: the course is not stopped, or was stopped only after that.
    """
    stopped: datetime | None = None
    for found in standing(existing(store, case)).values():
        if found is not None and found.entry.kind is Kind.COURSE_STOPPED:
            stopped = found.happened_at
        elif found is not None and found.entry.kind is Kind.COURSE_RESUMED:
            stopped = None
    if stopped is None:
        raise Refused("No end of this course is on record: there is nothing to take up again.")
    at = happened_at or now
    if at.utcoffset() is not None and at < stopped:
        raise Refused(
            "That lies before the last dose on record. Check the day and the time, or correct when the "
            "course ended."
        )
    body = {"reason": reason, "advised_by": advised_by, "in_hand": in_hand, "end": end}
    return _write(
        store, case, Kind.COURSE_RESUMED, body, now=now, by=by, role=role,
        happened_at=happened_at, expected_position=expected_position,
    )  # fmt: skip


def receive_advice(
    store: LedgerStore, case: str, *, asked: int | None, of: str, advice: str, **told: Unpack[Told]
) -> list[Entry]:
    """An expert answered; `asked` is the position of the entry that says that they were asked.

    Raises:
        Refused: nobody was asked in that entry, or the answer is empty.
    """
    body: dict[str, Any] = {"asked": asked, "from": of, "advice": advice}
    if asked is not None:
        found = standing(existing(store, case)).get(asked)
        if found is None or found.entry.kind is not Kind.ADVICE_SOUGHT:
            raise Refused(f"Entry {asked} asks nobody for advice. Load the page anew.")
        if "action" in found.body:
            body["action"] = found.body["action"]
    return append(store, case, [(Kind.ADVICE_GIVEN, body)], **told)
