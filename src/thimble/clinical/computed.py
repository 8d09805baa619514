"""Facts that follow from other facts, with the words that explain them, or the reason why not."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import cast

from thimble.clinical import renal
from thimble.clinical.vocabulary import VOCABULARY
from thimble.protocol.vocabulary import Facts, Value

CLEARANCE = "worker_creatinine_clearance"
CLEARANCE_NEEDS = (
    "worker_creatinine",
    "worker_age",
    "worker_weight",
    "worker_sex_for_renal_formula",
)


@dataclass(frozen=True, slots=True)
class Computed:
    """What follows from the facts.

    `facts`: computed values by fact. `explanations`: for each of them, how, in words for people.
    `reasons`: for each fact that could have been computed and was not, why. `missing`: for each of
    these, the facts that would let it be, in the order to ask (none where asking does not help).
    """

    facts: Mapping[str, Value] = field(default_factory=dict)
    explanations: Mapping[str, str] = field(default_factory=dict)
    reasons: Mapping[str, str] = field(default_factory=dict)
    missing: Mapping[str, tuple[str, ...]] = field(default_factory=dict)


def compute(facts: Facts) -> Computed:
    """What follows from `facts`. A fact that was given is never computed over.

    Creatinine clearance by Cockcroft-Gault, from the first creatinine on: with the actual weight,
    since a height is not among the facts. The formula does not hold in pregnancy nor below 18 years;
    where pregnancy was not asked of somebody who could be pregnant, nothing is computed.

    Raises:
        ValueError: a fact that its own definition refuses.
    """
    if CLEARANCE in facts or "worker_creatinine" not in facts:
        return Computed()
    pregnancy = facts.get("worker_pregnancy")
    if pregnancy in ("pregnant", "possible"):
        return _not_computed(
            "The formula for creatinine clearance does not hold in pregnancy, and pregnancy is "
            f"{'known' if pregnancy == 'pregnant' else 'possible'}: ask a specialist."
        )
    age = facts.get("worker_age")
    if age is not None and _number("worker_age", age) < renal.ADULT_AGE:
        return _not_computed(
            f"The formula for creatinine clearance holds from {renal.ADULT_AGE} years on: "
            "ask a specialist."
        )
    needed = list(CLEARANCE_NEEDS)
    if facts.get("worker_sex_for_renal_formula") == "female":
        needed.append("worker_pregnancy")
    missing = tuple(fact for fact in needed if fact not in facts)
    if missing:
        wanted = " ".join(VOCABULARY[fact].question for fact in missing)
        return _not_computed(
            f"Creatinine clearance can be computed once this is known: {wanted}", missing
        )
    return _clearance(facts)


def _clearance(facts: Facts) -> Computed:
    umol, age, weight = (
        _number(fact, facts[fact]) for fact in ("worker_creatinine", "worker_age", "worker_weight")
    )
    sex = cast(
        renal.Sex,
        VOCABULARY["worker_sex_for_renal_formula"].check(facts["worker_sex_for_renal_formula"]),
    )
    value = renal.snap(
        renal.cockcroft_gault(age=age, weight=weight, creatinine=renal.mg_per_dl(umol), sex=sex)
    )
    try:
        VOCABULARY[CLEARANCE].check(value)
    except ValueError:
        return _not_computed(
            f"Creatinine clearance comes to {value:.0f} mL/min, which is not plausible: check the "
            "creatinine (in µmol/L), the age and the weight."
        )
    # Cut down, never up: 59.96 shown as 60.0 would seem to reach a threshold that it does not.
    shown = math.floor(renal.snap(value * 10)) / 10
    words = (
        f"{shown:.1f} mL/min by Cockcroft–Gault from creatinine {umol:g} µmol/L, age {age:g}, "
        f"actual weight {weight:g} kg, {sex}; compared unrounded. "
        "Not valid while creatinine is changing, and less sure in obesity or at extremes of muscle mass."
    )
    return Computed(facts={CLEARANCE: value}, explanations={CLEARANCE: words})


def _not_computed(reason: str, missing: tuple[str, ...] = ()) -> Computed:
    return Computed(reasons={CLEARANCE: reason}, missing={CLEARANCE: missing})


def _number(fact: str, value: Value) -> float:
    return cast(float, VOCABULARY[fact].check(value))
