"""What the entries say of a course of prophylaxis, gathered while they are folded."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Any

from thimble.ledger.entries import Entry, Kind

STOP = "stop_hiv_pep"
"""The action that ends a course early, by the id that every protocol gives it."""

COURSE_KINDS = frozenset(
    {
        Kind.DOSE_GIVEN,
        Kind.TABLETS_HANDED_OUT,
        Kind.DOSES_MISSED,
        Kind.SIDE_EFFECT,
        Kind.COURSE_REVIEWED,
        Kind.COURSE_CHANGED,
        Kind.COURSE_STOPPED,
        Kind.COURSE_RESUMED,
        Kind.ADVICE_SOUGHT,
        Kind.ADVICE_GIVEN,
    }
)


@dataclass(frozen=True, slots=True)
class GivenDose:
    """A dose, or tablets for the days to come: `days` is 0 where nobody said for how many.

    `action` is "" for tablets that were handed out without a dose. `cvx` says which vaccine it was, ""
    where it is none or nobody knows.
    """

    action: str
    product: str
    amount: str
    batch: str
    days: int
    at: datetime
    entry: int
    cvx: str = ""


@dataclass(frozen=True, slots=True)
class MissedDoses:
    """Doses that were missed: how many, and the last taken before and the first after, if told."""

    count: int
    last_taken: datetime | None
    taken_again: datetime | None
    text: str
    at: datetime
    entry: int


@dataclass(frozen=True, slots=True)
class Told:
    """An entry of a course as it is read out: its words, its code, who wrote it and when it was so.

    `code` is a severity, a review's decision, or the reason of an end; "" for a change of medicine.
    `more` is what was done about a side effect.
    """

    words: str
    code: str
    at: datetime
    by: str
    entry: int
    more: str = ""


@dataclass(frozen=True, slots=True)
class Sought:
    """Advice that was sought: of whom, when, what was said. It is open while nothing was said."""

    action: str
    of: str
    at: datetime
    entry: int
    advice: str = ""
    answered_at: datetime | None = None

    @property
    def open(self) -> bool:
        """Whether the answer is still to come."""
        return not self.advice


@dataclass(frozen=True, slots=True)
class Pause:
    """A course that was stopped and taken up again.

    `stopped` happened at the last dose before, `resumed` at the first one after; its code is one of
    `ledger.bodies.RESUMED_END`, `more` on whose advice. `in_hand` is for how many days the worker still
    had tablets, None where that is not known.
    """

    stopped: Told
    resumed: Told
    in_hand: int | None


@dataclass(frozen=True, slots=True)
class CourseRecord:
    """What is on record of medicines that were given and of the course that followed.

    `changes` have the new product as their words. `baseline_bloods` is what the last review said of
    them that knew. `adherence` is what the last review found.
    """

    given: tuple[GivenDose, ...] = ()
    missed: tuple[MissedDoses, ...] = ()
    side_effects: tuple[Told, ...] = ()
    reviews: tuple[Told, ...] = ()
    changes: tuple[Told, ...] = ()
    stopped: Told | None = None
    pauses: tuple[Pause, ...] = ()
    sought: tuple[Sought, ...] = ()
    baseline_bloods: str = "not_known"
    adherence: str = "not_asked"


class CourseReading:
    """The record of a course while it is being read; one entry at a time, as corrections leave it."""

    def __init__(self) -> None:
        self._so_far = CourseRecord()

    def record(self) -> CourseRecord:
        """What was read; doses in the order in which they were given, however late they were told."""
        so_far = self._so_far
        return replace(
            so_far,
            given=tuple(sorted(so_far.given, key=lambda g: (g.at.timestamp(), g.entry))),
            changes=tuple(sorted(so_far.changes, key=lambda c: (c.at.timestamp(), c.entry))),
        )

    def take(self, entry: Entry, body: Mapping[str, Any], at: datetime) -> None:
        """One entry of a kind in `COURSE_KINDS`."""
        before, position = self._so_far, entry.position

        def told(words: str, code: str = "") -> Told:
            return Told(words, code, at, entry.by, position)

        match entry.kind:
            case Kind.DOSE_GIVEN | Kind.TABLETS_HANDED_OUT:
                dose = GivenDose(
                    body.get("action", ""), body["product"], body.get("amount", ""),
                    body["batch"], body.get("days", 0), at, position, body.get("cvx", ""),
                )  # fmt: skip
                self._so_far = replace(before, given=(*before.given, dose))
            case Kind.DOSES_MISSED:
                last, again = (
                    None if body[key] is None else datetime.fromisoformat(body[key])
                    for key in ("last_taken", "taken_again")
                )
                missed = MissedDoses(body["count"], last, again, body["text"], at, position)
                self._so_far = replace(before, missed=(*before.missed, missed))
            case Kind.SIDE_EFFECT:
                one = replace(told(body["words"], body["severity"]), more=body["done"])
                self._so_far = replace(before, side_effects=(*before.side_effects, one))
            case Kind.COURSE_REVIEWED:
                bloods = body["baseline_bloods"]
                self._so_far = replace(
                    before,
                    reviews=(*before.reviews, told(body["text"], body["decision"])),
                    adherence=body["adherence"],
                    # A later review that did not look takes nothing back.
                    baseline_bloods=before.baseline_bloods if bloods == "not_known" else bloods,
                )
            case Kind.COURSE_CHANGED:
                change = told(body["product"], "")
                self._so_far = replace(before, changes=(*before.changes, change))
            case Kind.COURSE_STOPPED:
                self._so_far = replace(before, stopped=told(body["text"], body["reason"]))
            case Kind.COURSE_RESUMED if before.stopped is not None:
                resumed = replace(told(body["reason"], body["end"]), more=body["advised_by"])
                pause = Pause(before.stopped, resumed, body["in_hand"])
                self._so_far = replace(before, stopped=None, pauses=(*before.pauses, pause))
            case Kind.ADVICE_SOUGHT:
                said = body["advice"].strip()
                sought = Sought(
                    body.get("action", ""), body["from"], at, position, said, at if said else None
                )
                self._so_far = replace(before, sought=(*before.sought, sought))
            case Kind.ADVICE_GIVEN:
                self._answer(body, at, position)

    def _answer(self, body: Mapping[str, Any], at: datetime, position: int) -> None:
        """Put an answer to its question; one that nobody had asked stands by itself."""
        sought = self._so_far.sought
        if any(one.entry == body["asked"] for one in sought):
            after = tuple(
                replace(one, advice=body["advice"], answered_at=at)
                if one.entry == body["asked"]
                else one
                for one in sought
            )
        else:
            unasked = Sought(body.get("action", ""), body["from"], at, position, body["advice"], at)
            after = (*sought, unasked)
        self._so_far = replace(self._so_far, sought=after)
