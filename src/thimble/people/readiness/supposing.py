"""What if a dose were given on a day: the file with that dose in it, judged; nothing is written."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from datetime import date

from thimble.clinical.immunity import rules
from thimble.clinical.readiness import DiseaseState, Readiness, together
from thimble.ledger.fitness import FitnessDecision
from thimble.people.fold import Person
from thimble.people.giving import dose_supposed
from thimble.people.hepatitis_b import DISEASE, hepatitis_b
from thimble.people.products import Product
from thimble.people.readiness.asked import Asked
from thimble.people.readiness.decided import as_decided
from thimble.people.readiness.judging import readiness


@dataclass(frozen=True, slots=True)
class Supposed:
    """The whole before and after a dose. `on` is the day it is judged on: that of the dose, or today where
    the dose lies behind. `verdict` says whether it counts, "" where only the states tell."""

    on: date
    before: Readiness
    after: Readiness
    verdict: str
    product: Product

    def states(self) -> tuple[tuple[DiseaseState, DiseaseState], ...]:
        """What is asked for and the product is against: the states before and after."""
        pairs = zip(self.before.states, self.after.states, strict=True)
        return tuple((one, two) for one, two in pairs if one.disease in self.product.diseases)


def suppose(
    person: Person,
    born: date | None,
    today: date,
    asked: Asked,
    product: Product,
    day: date,
    decision: FitnessDecision | None = None,
) -> Supposed:
    """The person with one dose of a product more; `decision` is the one about fitness in force."""
    on = max(today, day)
    then = dose_supposed(person, product, day)
    before = readiness(person, born, today, asked, decision)
    after = readiness(then, born, on, asked, decision)
    # What the product is not against goes on as from today: only a live vaccine delays another.
    moved = {*product.diseases, *_delayed(product, asked.protocol)}
    return Supposed(
        on,
        before,
        as_decided(_mixed(before, after, moved), decision, on, person.employment.exposure_prone),
        _verdict(then, born, on, asked, product, day),
        product,
    )


def _mixed(before: Readiness, after: Readiness, moved: Collection[str]) -> Readiness:
    """What is asked for of the diseases in `moved` as it is afterwards, everything else as before."""

    def of(one: Sequence[DiseaseState], two: Sequence[DiseaseState]) -> list[DiseaseState]:
        # No dose changes what is asked before exposure-prone procedures, but its day.
        return [b if b.disease in moved else a for a, b in zip(one, two, strict=True)]

    without = None
    if before.without is not None and after.without is not None:
        without = _mixed(before.without, after.without, moved)
    procedures = of(before.procedures, after.procedures)
    return together(of(before.states, after.states), before.start, procedures, without)


def _delayed(product: Product, protocol: str) -> frozenset[str]:
    """The diseases whose vaccine keeps its distance from this one: two different live ones."""
    try:
        live = rules(protocol).live
    except LookupError:
        return frozenset()
    return live.diseases if live.holds(product.cvx, product.diseases) else frozenset()


def _verdict(
    then: Person, born: date | None, on: date, asked: Asked, product: Product, day: date
) -> str:
    if DISEASE not in product.diseases:
        return ""
    found = hepatitis_b(then, born, on, asked.protocol)
    if found is None:
        return ""
    at = day.toordinal()
    same = [dose.why for dose in found.cleared.doses if dose.given.low == dose.given.high == at]
    return same[-1] if same else ""
