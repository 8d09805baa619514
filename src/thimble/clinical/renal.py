"""Kidney function: creatinine clearance, estimated filtration rate, and the weights they use.

Nothing here rounds. Thresholds belong to the protocol; compare with `at_least`, or `snap` a value
once before it is compared elsewhere.

Not valid while creatinine is changing (acute kidney injury), in pregnancy, after amputation, or at
extremes of muscle mass: callers must ask.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

Sex = Literal["male", "female"]
"""Sex at birth, for the constants of the formulae."""

UMOL_PER_L_IN_MG_PER_DL = 88.4
"""One constant throughout: 1 mg/dL of creatinine is 88.4 µmol/L."""

TOLERANCE = 1e-9
"""Computer arithmetic gives 60.00000000000001 for 60; nothing measured is this exact."""

ADULT_AGE = 18
_OLDEST = 120
_CM_PER_INCH = 2.54


def at_least(value: float, threshold: float) -> bool:
    """Whether an unrounded value reaches a threshold, within `TOLERANCE`.

    >>> at_least(60.00000000000001, 60), at_least(59.9999999999, 60), at_least(59.6, 60)
    (True, True, False)
    """
    return _number("value", value) >= _number("threshold", threshold) - TOLERANCE


def snap(value: float) -> float:
    """`value`, or the number of at most six decimals that lies within `TOLERANCE` of it.

    For handing a computed value to something that compares exactly. It never moves a value by more
    than `TOLERANCE`, so it is no rounding: 59.6 stays 59.6.

    >>> snap(60.00000000000001), snap(59.9999999999), snap(59.524)
    (60.0, 60.0, 59.524)
    """
    near = round(_number("value", value), 6)
    return near if abs(value - near) <= TOLERANCE else value


def mg_per_dl(umol_per_l: float) -> float:
    """Creatinine in mg/dL from µmol/L.

    >>> round(mg_per_dl(120), 5)
    1.35747
    """
    return _positive("creatinine in umol/L", umol_per_l) / UMOL_PER_L_IN_MG_PER_DL


def cockcroft_gault(*, age: float, weight: float, creatinine: float, sex: Sex) -> float:
    """Creatinine clearance in mL/min, unrounded.

    Args:
        age: years, 18 or more.
        weight: kg; the caller chooses which weight and says so (`weight_for_clearance`).
        creatinine: serum creatinine in mg/dL (`mg_per_dl` converts). The rounded constants 1.23 and
            1.04 of the µmol/L form differ enough to cross a threshold, so that form is not offered.
        sex: sex at birth.

    Raises:
        ValueError: a value out of range, or an age below 18.

    Source: Cockcroft DW, Gault MH. Nephron 1976;16:31-41.

    >>> cockcroft_gault(age=68, weight=60, creatinine=1.0, sex="male")
    60.0
    >>> round(cockcroft_gault(age=62, weight=58, creatinine=1.6, sex="female"), 2)
    33.38
    """
    years = _adult(age)
    kilograms = _positive("weight in kg", weight)
    scr = _positive("creatinine in mg/dL", creatinine)
    clearance = (140 - years) * kilograms / (72 * scr)
    return clearance * 0.85 if _sex(sex) == "female" else clearance


def ideal_body_weight(*, height: float, sex: Sex) -> float:
    """Ideal body weight in kg for a height in cm.

    Raises:
        ValueError: a height below 60 inches (152.4 cm), for which there is no agreed rule.

    Source: Devine BJ. Drug Intell Clin Pharm 1974;8:650-655.

    >>> round(ideal_body_weight(height=160, sex="female"), 3)
    52.382
    """
    centimetres = _positive("height in cm", height)
    inches_over = centimetres / _CM_PER_INCH - 60
    if inches_over < -TOLERANCE:
        raise ValueError(
            f"Ideal body weight has no agreed rule below 152.4 cm (60 inches); found {height:g} cm. "
            "Use the actual weight."
        )
    return (45.5 if _sex(sex) == "female" else 50.0) + 2.3 * max(inches_over, 0.0)


def adjusted_body_weight(*, actual: float, ideal: float) -> float:
    """Ideal body weight plus 0.4 of what the actual weight exceeds it by, in kg.

    Source: convention of renal dosing in obesity, from memory; no single source agrees.

    >>> round(adjusted_body_weight(actual=95, ideal=52.382), 3)
    69.429
    """
    ideal_kg = _positive("ideal weight in kg", ideal)
    return ideal_kg + 0.4 * (_positive("actual weight in kg", actual) - ideal_kg)


@dataclass(frozen=True, slots=True)
class Weight:
    """A weight in kg and which one it is, so that the choice can be shown."""

    kilograms: float
    which: Literal["actual", "adjusted"]


def weight_for_clearance(*, actual: float, height: float, sex: Sex) -> Weight:
    """The weight to put into Cockcroft-Gault: adjusted above 1.2 × ideal, otherwise actual.

    Raises:
        ValueError: a value out of range, or a height below 152.4 cm.

    Source: convention, from memory; product studies used actual weight and sources do not agree,
    so that the weight used is always shown.

    >>> weight_for_clearance(actual=72, height=175, sex="male").which
    'actual'
    >>> weight_for_clearance(actual=95, height=160, sex="female").which
    'adjusted'
    """
    kilograms = _positive("actual weight in kg", actual)
    ideal = ideal_body_weight(height=height, sex=sex)
    if kilograms > 1.2 * ideal + TOLERANCE:
        return Weight(adjusted_body_weight(actual=kilograms, ideal=ideal), "adjusted")
    return Weight(kilograms, "actual")


def ckd_epi_2021(*, creatinine: float, age: float, sex: Sex) -> float:
    """Estimated filtration rate in mL/min/1.73 m², unrounded; no race term.

    Args:
        creatinine: mg/dL, traceable to isotope-dilution mass spectrometry.
        age: years, 18 or more.
        sex: sex at birth.

    Raises:
        ValueError: a value out of range, or an age below 18.

    Source: Inker LA et al. N Engl J Med 2021;385:1737-1749.

    >>> round(ckd_epi_2021(creatinine=1.0, age=40, sex="male"), 4)
    97.5751
    """
    kappa, alpha, factor = (0.7, -0.241, 1.012) if _sex(sex) == "female" else (0.9, -0.302, 1.0)
    return _ckd_epi(142, kappa, alpha, -1.200, 0.9938, factor, creatinine, age)


def ckd_epi_2009(*, creatinine: float, age: float, sex: Sex) -> float:
    """Estimated filtration rate in mL/min/1.73 m², unrounded; used without the ethnicity factor.

    Differs from `ckd_epi_2021`, sometimes across a threshold: record which one a laboratory reports.

    Raises:
        ValueError: a value out of range, or an age below 18.

    Source: Levey AS et al. Ann Intern Med 2009;150:604-612; without ethnicity: NICE NG203.

    >>> round(ckd_epi_2009(creatinine=1.2, age=60, sex="female"), 4)
    49.0812
    """
    kappa, alpha, factor = (0.7, -0.329, 1.018) if _sex(sex) == "female" else (0.9, -0.411, 1.0)
    return _ckd_epi(141, kappa, alpha, -1.209, 0.993, factor, creatinine, age)


def _ckd_epi(
    base: float,
    kappa: float,
    alpha: float,
    beta: float,
    yearly: float,
    factor: float,
    creatinine: float,
    age: float,
) -> float:
    ratio = _positive("creatinine in mg/dL", creatinine) / kappa
    rate = base * min(ratio, 1.0) ** alpha * max(ratio, 1.0) ** beta
    return float(rate * yearly ** _adult(age) * factor)


def body_surface_mosteller(*, height: float, weight: float) -> float:
    """Body surface in m² from cm and kg.

    Source: Mosteller RD. N Engl J Med 1987;317:1098.

    >>> round(body_surface_mosteller(height=175, weight=75), 4)
    1.9094
    """
    return math.sqrt(_positive("height in cm", height) * _positive("weight in kg", weight) / 3600)


def body_surface_du_bois(*, height: float, weight: float) -> float:
    """Body surface in m² from cm and kg.

    Source: Du Bois D, Du Bois EF. Arch Intern Med 1916;17:863-871.

    >>> round(body_surface_du_bois(height=175, weight=75), 4)
    1.9031
    """
    kilograms, centimetres = _positive("weight in kg", weight), _positive("height in cm", height)
    return float(0.007184 * kilograms**0.425 * centimetres**0.725)


def de_indexed(*, egfr: float, body_surface: float) -> float:
    """A filtration rate in mL/min from one per 1.73 m².

    >>> round(de_indexed(egfr=60, body_surface=1.3693), 1)
    47.5
    """
    return (
        _positive("filtration rate in mL/min/1.73 m2", egfr)
        * _positive("body surface in m2", body_surface)
        / 1.73
    )


def _number(what: str, value: float) -> float:
    if isinstance(value, bool) or not isinstance(value, int | float) or not math.isfinite(value):
        raise ValueError(f"{what} is a finite number; found {value!r}")
    return float(value)


def _positive(what: str, value: float) -> float:
    if _number(what, value) <= 0:
        raise ValueError(f"{what} lies above 0; found {value!r}")
    return float(value)


def _adult(age: float) -> float:
    if not ADULT_AGE <= _number("age in years", age) <= _OLDEST:
        raise ValueError(
            f"The kidney formulae hold for adults of {ADULT_AGE} to {_OLDEST} years; "
            f"found an age of {age:g}. Ask a specialist."
        )
    return float(age)


def _sex(sex: str) -> Sex:
    if sex == "female":
        return "female"
    if sex == "male":
        return "male"
    raise ValueError(f"sex for the kidney formulae is male or female; found {sex!r}")
