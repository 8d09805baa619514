"""How each dose of many people stands to those after it, in the classes that the rules tell apart.

Two doses 30 or 40 days apart are the same to a schedule that asks for 28 and 56; a product is the same at
25 and at 60 years where the last limit of age is 20. A number of days is unsure where the calendar
decides, because a month has 28 to 31 of them, and where two doses may have come in either order.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from thimble.clinical.durations import Duration

from .calendar_days import Days, span_days
from .doses_many import PRODUCTS, Bytes, Ints
from .schedule import Schedule, Target, products
from .standing import ways

PLACES = 4
"""Doses of a person that a pattern tells of."""
APART_BITS, DOSE_BITS = 4, 6
UNSURE_APART, UNSURE_DOSE = (1 << APART_BITS) - 1, (1 << DOSE_BITS) - 1

Limit = tuple[int, int]
"""A span in days: the shortest and the longest that it can be."""
Limits = frozenset[Limit]


@dataclass(frozen=True, slots=True)
class Marks:
    """The classes of a schedule, by days between doses, days of age, and product with class of age."""

    apart: Bytes
    ages: Bytes
    doses: Bytes

    @classmethod
    def of(cls, plan: Schedule) -> Marks:
        """Doses that no rule tells apart are of one class, from 1 on; so are spans."""
        targets = [target for way in ways(plan) for target in way.targets]
        apart = _classes({(1, 1)}.union(*map(_spans, targets)), UNSURE_APART)
        apart[0] = UNSURE_APART
        limits = frozenset[Limit]().union(
            *map(_ages, targets), *map(_too_late, targets), *(_own(name, plan) for name in PRODUCTS)
        )
        cuts = sorted({longest for _, longest in limits})
        kinds: dict[object, int] = {}
        doses = np.full((len(PRODUCTS), UNSURE_DOSE + 1), UNSURE_DOSE, np.uint8)
        for age, days in reversed(list(enumerate((0, *cuts)))):
            reached = frozenset(limit for limit in limits if limit[1] <= days)
            for place, name in enumerate(PRODUCTS):
                kind = kinds.setdefault(_told(name, reached, plan), len(kinds) + 1)
                doses[place, min(age, UNSURE_DOSE)] = min(kind, UNSURE_DOSE)
        return cls(apart, _classes(limits, UNSURE_DOSE), doses.ravel())

    def on(self, low: Days, high: Days, product: Bytes, born: Days) -> Ints:
        """One number a row: the dose, and how far the next PLACES - 1 rows are after it."""
        age = _class_of(low - born, self.ages)
        kind = (product.astype(np.int32) << DOSE_BITS) | age
        mark = self.doses.take(kind).astype(np.int32)
        vague = np.flatnonzero(low != high)
        later = _class_of(high.take(vague) - born.take(vague), self.ages)
        mark[vague[later != age.take(vague)]] = UNSURE_DOSE
        for n in range(1, PLACES):
            apart = _class_of(low[n:] - high[:-n], self.apart).astype(np.int32)
            mark[:-n] |= apart << (DOSE_BITS + (n - 1) * APART_BITS)
        return mark


def _classes(limits: Limits | set[Limit], unsure: int) -> Bytes:
    """For each number of days how many limits are reached; `unsure` within one."""
    cuts = sorted({longest for _, longest in limits})
    days = np.arange(cuts[-1] + 1)
    found = np.minimum(np.searchsorted(cuts, days, side="right"), unsure)
    for shortest, longest in limits:
        found[max(shortest, 0) : max(longest, 0)] = unsure
    return found.astype(np.uint8)


def _class_of(days: Ints, classes: Bytes) -> Bytes:
    # Clipping beforehand is several times faster than a `take` that clips.
    return classes.take(np.clip(days, 0, len(classes) - 1))


def _less(span: Duration, days: int) -> Limit:
    shortest, longest = span_days(span)
    return shortest - days, longest - days


def _since(target: Target) -> tuple[Duration, ...]:
    asked = (target.from_previous, target.from_first, target.from_second)
    return tuple(span for span in asked if span)


def _spans(target: Target) -> Limits:
    """The days that a target asks for between doses."""
    return frozenset(_less(span, target.allowance) for span in _since(target))


def _ages(target: Target) -> Limits:
    """The ages from which a dose can be a target, and from which it no longer can."""
    found = {_less(target.min_age, target.allowance)} if target.min_age else set()
    return frozenset(found | ({span_days(target.before_age)} if target.before_age else set()))


def _too_late(target: Target) -> Limits:
    """The ages at a dose from which the target would come too late after it."""
    if not target.before_age:
        return frozenset()
    shortest, longest = span_days(target.before_age)
    spans = [span_days(span) for span in _since(target)]
    return frozenset({(shortest, longest)} | {(shortest - b, longest - a) for a, b in spans})


def _own(name: str, plan: Schedule) -> Limits:
    """The ages between which a product counts."""
    product = products()[name]
    found = {span_days(product.before_age)} if product.before_age else set()
    return frozenset(
        found | ({_less(product.min_age, plan.allowance)} if product.min_age else set())
    )


def _told(name: str, reached: Limits, plan: Schedule) -> object:
    """Everything that the rules can tell of a product at an age."""
    product = products()[name]
    young = product.min_age is not None and _less(product.min_age, plan.allowance) not in reached
    old = product.before_age is not None and span_days(product.before_age) in reached
    every = ways(plan)
    if young and product.inadvertent:
        late = frozenset[Limit]().union(*(_too_late(t) for way in every for t in way.targets))
        return "inadvertent", late & reached
    taking = [w for w in every if not w.own or w.products is None or name in w.products]
    late = frozenset[Limit]().union(*(_too_late(t) for way in taking for t in way.targets))
    told = tuple(way.id for way in taking), late & reached
    if young or old:
        return "delays", told
    targets = [
        (way.id, target)
        for way in taking
        for target in way.targets
        if target.products is None or name in target.products
    ]
    ages = frozenset[Limit]().union(*(_ages(target) for _, target in targets))
    return "counts", told, tuple((way, t.dose) for way, t in targets), ages & reached
