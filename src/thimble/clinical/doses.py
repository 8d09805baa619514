"""A dose by weight, or a fixed one, from a rule that the protocol states. Exact decimals, no guess."""

from __future__ import annotations

import re
from dataclasses import dataclass
from decimal import ROUND_HALF_UP, Decimal

_RULE = re.compile(
    r"(?P<amount>[0-9]+(?:\.[0-9]+)?) (?P<unit>mL|IU|mg|g|mcg)(?P<per_kg>/kg)?(?: (?P<route>IM|SC|IV|PO))?"
)
_SHOWN = Decimal("0.01")


@dataclass(frozen=True, slots=True)
class DoseRule:
    """How much to give: `amount` in `unit`, for each kilogram if `per_kg`, by `route` if one is said."""

    amount: Decimal
    unit: str
    per_kg: bool
    route: str = ""

    def __str__(self) -> str:
        return (
            f"{_plain(self.amount)} {self.unit}{'/kg' if self.per_kg else ''} {self.route}".strip()
        )


@dataclass(frozen=True, slots=True)
class Dose:
    """An exact amount, and how it was reached ("0.06 mL/kg × 72 kg")."""

    amount: Decimal
    unit: str
    route: str
    how: str

    @property
    def text(self) -> str:
        """For people: "4.32 mL IM", to the nearest hundredth."""
        shown = self.amount.quantize(_SHOWN, rounding=ROUND_HALF_UP)
        # A dose is never shown as nothing because it is small.
        return f"{_plain(shown if shown else self.amount)} {self.unit} {self.route}".strip()


@dataclass(frozen=True, slots=True)
class DoseNeeds:
    """A dose that cannot be computed yet: the fact that is missing, and a sentence that says so."""

    fact: str
    sentence: str

    @property
    def text(self) -> str:
        """The sentence, so that either result can be shown in the same place."""
        return self.sentence


def parse_dose_rule(text: str) -> DoseRule:
    """A rule as protocol data writes it: `0.06 mL/kg IM`, `500 IU IM`.

    Raises:
        ValueError: the text is not of that form, or the amount is 0.

    >>> str(parse_dose_rule("0.06 mL/kg IM"))
    '0.06 mL/kg IM'
    """
    match = _RULE.fullmatch(text)
    if match is None or not Decimal(match["amount"]):
        raise ValueError(
            "A dose is written as an amount above 0, a unit (mL, IU, mg, g, mcg), /kg if it goes by "
            f"weight, and a route (IM, SC, IV, PO) if there is one, as in 0.06 mL/kg IM; found {text!r}"
        )
    return DoseRule(
        amount=Decimal(match["amount"]),
        unit=match["unit"],
        per_kg=match["per_kg"] is not None,
        route=match["route"] or "",
    )


def dose(rule: DoseRule, weight: float | None, *, fact: str = "worker_weight") -> Dose | DoseNeeds:
    """The dose that `rule` gives a person of `weight` kg.

    A rule by weight without a weight says what is missing, by the name of its `fact`. A fixed rule
    needs none.

    Raises:
        ValueError: a weight that is not a number above 0.

    >>> dose(parse_dose_rule("0.06 mL/kg IM"), 72).text
    '4.32 mL IM'
    >>> dose(parse_dose_rule("500 IU IM"), None).text
    '500 IU IM'
    >>> dose(parse_dose_rule("0.06 mL/kg IM"), None).text
    'The dose is 0.06 mL/kg IM: enter the weight in kg to compute it.'
    """
    if not rule.per_kg:
        return Dose(rule.amount, rule.unit, rule.route, f"fixed dose of {rule}")
    if weight is None:
        return DoseNeeds(fact, f"The dose is {rule}: enter the weight in kg to compute it.")
    if isinstance(weight, bool) or not isinstance(weight, int | float):
        raise ValueError(f"A weight is a number in kg; found {weight!r}")
    # The shortest text of a float is what was typed: 72.3 and not 72.2999….
    kilograms = Decimal(repr(weight))
    if not kilograms.is_finite() or kilograms <= 0:
        raise ValueError(f"A weight lies above 0 kg; found {weight!r}")
    amount = rule.amount * kilograms
    how = f"{_plain(rule.amount)} {rule.unit}/kg × {_plain(kilograms)} kg"
    return Dose(amount, rule.unit, rule.route, how)


def _plain(number: Decimal) -> str:
    """Without trailing zeros or an exponent."""
    text = f"{number:f}"
    return text.rstrip("0").rstrip(".") if "." in text else text
