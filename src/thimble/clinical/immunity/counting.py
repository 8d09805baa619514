"""Which doses against a disease count: on every day that their dates allow, or only on some of them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from thimble.clinical.immunity.evidence import Days, Given
from thimble.clinical.immunity.rules import DoseRule, Live
from thimble.clinical.saying import calendar_day, month_name
from thimble.clinical.series.calendar_days import step


@dataclass(frozen=True, slots=True)
class DoseSaid:
    """One dose as it was judged: whether it counts for certain, and why or why not, in a sentence."""

    given: Given
    counts: bool
    why: str


@dataclass(frozen=True, slots=True)
class Counted:
    """`certain` doses count whatever the days were; no more than `possible` count on any days.

    `last` is the latest day that a dose can have had, None without a dated dose.
    """

    certain: int
    possible: int
    said: tuple[DoseSaid, ...]
    last: int | None


@dataclass(frozen=True, slots=True)
class _Fault:
    """Why a dose does not count for certain; `never` if on no day at all."""

    why: str
    never: bool = False


@dataclass(frozen=True, slots=True)
class Counter:
    """Counts the doses against one disease.

    Args:
        doses: every dose of the person: other live vaccines matter too.
        born: ordinal of the birth, None where it is not known.
        since: the first day from which a dose counts; None where any day does.
    """

    disease: str
    rule: DoseRule
    live: Live
    doses: Sequence[Given]
    born: int | None
    since: int | None

    def count(self) -> Counted:
        """The doses, earliest first, those without a day last."""
        mine = [d for d in self.doses if self.disease in d.diseases]
        dated = sorted(
            ((d.days, d) for d in mine if d.days is not None), key=lambda p: (p[0], p[1].entry)
        )
        said: list[DoseSaid] = []
        certain = possible = 0
        before: int | None = None  # the latest day that any earlier dose can have had
        exact: int | None = None  # the latest day of an earlier dose whose day is known
        for days, dose in dated:
            alone = self._alone(dose, days)
            fault = alone or self._too_close(days, before)
            certain += fault is None
            known = days[0] == days[1]
            never = (alone and alone.never) or (known and self._too_close(days, exact))
            possible += not never
            before = max(days[1], before or 0)
            exact = days[0] if known else exact
            said.append(DoseSaid(dose, fault is None, fault.why if fault else "counts"))
        undated = [d for d in mine if d.days is None]
        possible += sum(self._product_may_fit(d) for d in undated)
        said += [DoseSaid(d, False, "has no day, so it is not counted") for d in undated]
        return Counted(certain, max(certain, possible), tuple(said), before)

    def _alone(self, dose: Given, days: Days) -> _Fault | None:
        """What stands against a dose whatever other doses against the disease there are."""
        low, high = days
        if self.rule.products and dose.product not in self.rule.products:
            if dose.product is not None:
                return _Fault("is of another product than the one asked for", never=True)
            return _Fault("is not counted, as its product is not known")
        if self.since is not None and low < self.since:
            if high < self.since:
                return _Fault(f"lies before {_day(self.since)}, from when doses count", never=True)
            return _Fault(f"counts if it was on or after {_day(self.since)}: find its day")
        return self._too_young(low, high) or self._after_live(dose, days)

    def _too_young(self, low: int, high: int) -> _Fault | None:
        if self.rule.from_age is None:
            return None
        age = self.rule.from_age.words
        if self.born is None:
            return _Fault(f"counts from the age of {age}: the birth date is missing")
        first = step(self.born, self.rule.from_age)
        if high < first:
            return _Fault(f"was given before the age of {age}", never=True)
        if low < first:
            return _Fault(f"counts if it was on or after {_day(first)}: find its day")
        return None

    def _after_live(self, dose: Given, days: Days) -> _Fault | None:
        """Another live vaccine shortly before spoils a dose; on the same day it does not."""
        if not self.live.holds(dose.product, dose.diseases):
            return None
        found = None
        for other in self.doses:
            if other.days is None or self.disease in other.diseases:
                continue
            # Every number of days between these two is possible.
            least, most = days[0] - other.days[1], days[1] - other.days[0]
            close = most > 0 and least < step(0, self.live.apart)
            if not close or not self.live.holds(other.product, other.diseases):
                continue
            if least > 0 and most < step(0, self.live.apart):
                return _Fault(
                    f"was given within {self.live.apart.words} after another live vaccine, "
                    "and not on the same day",
                    never=True,
                )
            found = _Fault("may lie too soon after another live vaccine: find the days")
        return found

    def _too_close(self, days: Days, before: int | None) -> _Fault | None:
        apart = self.rule.apart
        if before is None or apart is None or days[0] >= (due := step(before, apart)):
            return None
        if days[1] >= due or days[0] < before:
            return _Fault(f"counts if it was on or after {_day(due)}: find the days")
        after = days[0] - before
        if after == 0:
            return _Fault("is of the same day as another record and counts once")
        why = f"was given {after} days after the dose before it; {apart.words} are needed"
        forgiven = self.rule.forgiven
        if forgiven is not None and step(days[0], forgiven) >= due:
            why += f". Up to {forgiven.words} may be forgiven: the physician decides"
        return _Fault(why)

    def _product_may_fit(self, dose: Given) -> bool:
        fits = self.rule.products
        return not fits or dose.product is None or dose.product in fits


def _day(ordinal: int) -> str:
    return calendar_day(date.fromordinal(ordinal))


def when_said(days: Days | None) -> str:
    """Days no more exactly than they are known."""
    if days is None:
        return "no known day"
    low, high = (date.fromordinal(day) for day in days)
    if low == high:
        return calendar_day(low)
    if (low.year, low.month) == (high.year, high.month):
        return f"{month_name(low.month)} {low.year}"
    return f"{low.year}"
