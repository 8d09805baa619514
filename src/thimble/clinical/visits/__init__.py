"""Fewest attendances that put every test, dose and review inside its window on an open day.

`day_window` turns a window in instants into days, `open_days` lists the days on which a worker can be
seen, `plan_visits` makes the plan, `alternatives` offers other days for one visit, `sentences` says why
each date is where it is.
"""

from thimble.clinical.visits.choosing import alternatives, choice
from thimble.clinical.visits.days import OpenDays, open_days
from thimble.clinical.visits.instants import DayWindow, day_window, why_not_at
from thimble.clinical.visits.items import After, Item, PartOfDay, last_day_needed, shared
from thimble.clinical.visits.plan import (
    Alternative,
    Because,
    Bound,
    Cause,
    Nearest,
    Overdue,
    Placement,
    Refusal,
    Refused,
    Unplaceable,
    Visit,
    VisitPlan,
    Why,
)
from thimble.clinical.visits.planning import plan_visits
from thimble.clinical.visits.words import sentences

__all__ = [
    "After",
    "Alternative",
    "Because",
    "Bound",
    "Cause",
    "DayWindow",
    "Item",
    "Nearest",
    "OpenDays",
    "Overdue",
    "PartOfDay",
    "Placement",
    "Refusal",
    "Refused",
    "Unplaceable",
    "Visit",
    "VisitPlan",
    "Why",
    "alternatives",
    "choice",
    "day_window",
    "last_day_needed",
    "open_days",
    "plan_visits",
    "sentences",
    "shared",
    "why_not_at",
]
