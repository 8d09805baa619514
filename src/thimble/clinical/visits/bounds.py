"""From when and until when an item can be held, everything else being where it is, and what says so."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from datetime import date

from thimble.clinical.visits.items import Item, first_that_allows, last_that_allows, shifted
from thimble.clinical.visits.plan import Bound, Cause


def opens(
    item: Item,
    held: Mapping[str, date],
    first: date,
    followers: Collection[Item] = (),
    *,
    window: bool = True,
) -> Bound:
    """The first day for `item`, open or not.

    Args:
        item: which.
        held: the days of other items, planned or done; rules towards the rest are left aside.
        first: today.
        followers: items that may come after this one.
        window: False leaves the item's own window aside.
    """
    found = [Bound(first, item.id, Cause.TODAY)]
    if window and item.earliest is not None:
        found.append(Bound(item.earliest, item.id, Cause.WINDOW))
    for rule in item.after:
        if (day := held.get(rule.item)) is not None:
            on = shifted(day, rule.at_least)
            found.append(Bound(on, item.id, Cause.AFTER, rule.item, day, rule.at_least))
    for other in followers:
        for rule in other.after:
            day = held.get(other.id)
            if rule.item == item.id and day is not None and rule.at_most is not None:
                on = first_that_allows(day, rule.at_most)
                found.append(Bound(on, item.id, Cause.FOLLOWED_WITHIN, other.id, day, rule.at_most))
    return max(found, key=lambda bound: bound.day)


def closes(
    item: Item,
    held: Mapping[str, date],
    followers: Collection[Item] = (),
    *,
    window: bool = True,
) -> Bound | None:
    """The last day for `item`, open or not; None when nothing limits it. Arguments as for `opens`."""
    found = []
    if window and item.latest is not None:
        found.append(Bound(item.latest, item.id, Cause.WINDOW))
    for rule in item.after:
        if (day := held.get(rule.item)) is not None and rule.at_most is not None:
            by = shifted(day, rule.at_most)
            found.append(Bound(by, item.id, Cause.WITHIN, rule.item, day, rule.at_most))
    for other in followers:
        for rule in other.after:
            if rule.item == item.id and (day := held.get(other.id)) is not None:
                by = last_that_allows(day, rule.at_least)
                found.append(Bound(by, item.id, Cause.BEFORE, other.id, day, rule.at_least))
    return min(found, key=lambda bound: bound.day, default=None)
