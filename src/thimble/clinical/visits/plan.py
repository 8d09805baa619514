"""A plan of visits, as data: what is held when, why there, and what could not be placed."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from enum import StrEnum

from thimble.clinical.durations import Duration
from thimble.clinical.visits.days import OpenDays
from thimble.clinical.visits.items import Item


class Cause(StrEnum):
    """What sets a limit to a visit."""

    TODAY = "today"
    WINDOW = "window"
    AFTER = "after"
    WITHIN = "within"
    BEFORE = "before"
    FOLLOWED_WITHIN = "followed_within"


@dataclass(frozen=True, slots=True)
class Bound:
    """The first or last day for a visit, open or not, and the item that sets it.

    `after`: `item` comes at least `span` after `other`, which is held on `other_day`; `within`: at most
    so long after it; `before`: `other` comes at least `span` after `item`; `followed_within`: `other`
    comes at most `span` after `item`. `other`, `other_day` and `span` are empty for the rest.
    """

    day: date
    item: str
    cause: Cause
    other: str = ""
    other_day: date | None = None
    span: Duration | None = None


class Why(StrEnum):
    """Why an item is not on its target."""

    ON_TARGET = "on_target"
    NO_TARGET = "no_target"
    CHOSEN = "chosen"
    PAST = "past"
    WINDOW = "window"
    CLOSED = "closed"
    RULE = "rule"
    APART = "apart"
    SHARED = "shared"


@dataclass(frozen=True, slots=True)
class Placement:
    """One item on its day.

    `off`: days from target, negative before it, None without a target. `outside`: days outside its
    window, only after a choice for a window that is not hard; negative before it. `why` gives the
    reason:

    - `past`: the target is over;
    - `window`: the target lies outside the window;
    - `closed`: the target is not an open day (`note` says why not), and this one is as near as any;
    - `rule`: a rule towards another item keeps it off the days nearer to its target (`bound`);
    - `apart`: `others`, which it may not meet, are held there;
    - `shared`: it is held together with `others` to save an attendance;
    - `chosen`: somebody chose the day.
    """

    item: str
    day: date
    target: date | None
    off: int | None
    why: Why
    others: tuple[str, ...] = ()
    note: str = ""
    bound: Bound | None = None
    outside: int = 0


@dataclass(frozen=True, slots=True)
class Visit:
    """One attendance. With all other visits where they are, it can be held from `opens` to `closes`."""

    day: date
    placements: tuple[Placement, ...]
    opens: Bound
    closes: Bound | None
    agreed: bool = False

    @property
    def items(self) -> tuple[str, ...]:
        """Ids of what is held."""
        return tuple(placement.item for placement in self.placements)


@dataclass(frozen=True, slots=True)
class Nearest:
    """An open day outside a window and how many days outside it lies."""

    day: date
    outside: int


class Because(StrEnum):
    """Why an item has no day."""

    NO_OPEN_DAY = "no_open_day"
    RULE = "rule"
    BEYOND = "beyond"
    WAITS = "waits"
    CONFLICT = "conflict"


@dataclass(frozen=True, slots=True)
class Unplaceable:
    """An item that is not planned: a human decides.

    `no_open_day`: none in its window; `rule`: its rule towards `others` leaves none; `beyond`: its
    window opens after the last day planned; `waits`: it comes after `others`, which have no day;
    `conflict`: its rules towards `others` cannot all be kept, and leaving it out loses least.
    `opens` and `closes` are its window, rules included. `before` and `after` are the nearest open days
    outside it, None when there is none from today to the last day planned.
    """

    item: str
    because: Because
    opens: Bound
    closes: Bound | None
    before: Nearest | None
    after: Nearest | None
    others: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Overdue:
    """An item whose last day is past. `proposal` is the first open day on which it can be held, None
    when there is none: a human decides."""

    item: str
    closes: Bound
    days_late: int
    proposal: date | None


class Refused(StrEnum):
    """Why a chosen day is not honoured."""

    CLOSED = "closed"
    TOO_EARLY = "too_early"
    TOO_LATE = "too_late"
    CONFLICT = "conflict"


@dataclass(frozen=True, slots=True)
class Refusal:
    """A choice that is not honoured: the day is not open (`note` says why), lies before or after a
    limit (`bound`), or would leave `others` without a day."""

    item: str
    day: date
    because: Refused
    bound: Bound | None = None
    note: str = ""
    others: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class VisitPlan:
    """The fewest attendances, and everything it was made from.

    `distance`: sum of days between items and their targets. `added`: attendances that the honoured
    choices cost. `dropped`: agreed days that the plan does not keep.
    """

    items: tuple[Item, ...]
    days: OpenDays
    done: Mapping[str, date]
    agreed: frozenset[date]
    chosen: Mapping[str, date]
    visits: tuple[Visit, ...]
    unplaceable: tuple[Unplaceable, ...]
    overdue: tuple[Overdue, ...]
    refused: tuple[Refusal, ...]
    distance: int
    added: int

    @property
    def held(self) -> dict[str, date]:
        """The day of each item that has one."""
        return {
            placement.item: visit.day for visit in self.visits for placement in visit.placements
        }

    @property
    def dropped(self) -> tuple[date, ...]:
        """Agreed days on which nothing is held any more, in order."""
        return tuple(sorted(self.agreed - {visit.day for visit in self.visits}))


@dataclass(frozen=True, slots=True)
class Alternative:
    """Another day for a visit. `change`: days farther from the targets in all, negative when nearer."""

    day: date
    change: int
