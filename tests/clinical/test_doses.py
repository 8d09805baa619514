"""Doses: published values, the boundary of what can be computed, and the refusals."""

from decimal import Decimal
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from thimble.clinical.doses import Dose, DoseNeeds, dose, parse_dose_rule

HBIG_US = "0.06 mL/kg IM"


@pytest.mark.parametrize(
    ("weight", "volume"),
    [(50, "3"), (60, "3.6"), (70, "4.2"), (72, "4.32"), (58, "3.48"), (95, "5.7"), (90, "5.4")],
)
def test_hepatitis_b_immunoglobulin_by_weight(weight, volume):
    """0.06 mL/kg: US 2018 (MMWR Recomm Rep 67(1)) and product label; 60, 70, 95 kg as printed there."""
    found = dose(parse_dose_rule(HBIG_US), weight)

    assert isinstance(found, Dose)
    assert found.amount == Decimal(volume)
    assert found.text == f"{volume} mL IM"
    assert found.how == f"0.06 mL/kg × {weight} kg"


def test_a_fixed_dose_needs_no_weight():
    """500 IU from 10 years on: UKHSA 2023."""
    rule = parse_dose_rule("500 IU IM")

    assert dose(rule, None).text == dose(rule, 72).text == "500 IU IM"


def test_without_a_weight_the_dose_says_what_is_missing():
    found = dose(parse_dose_rule(HBIG_US), None)

    assert isinstance(found, DoseNeeds)
    assert found.fact == "worker_weight"
    assert found.text == "The dose is 0.06 mL/kg IM: enter the weight in kg to compute it."


@pytest.mark.parametrize(
    ("weight", "text"),
    [(72.3, "4.34 mL IM"), (70.75, "4.25 mL IM"), (70.74, "4.24 mL IM"), (0.01, "0.0006 mL IM")],
)
def test_what_is_shown_is_the_nearest_hundredth_and_never_nothing(weight, text):
    """70.75 kg: exactly 4.245 mL, half goes up; binary fractions would have gone down."""
    assert dose(parse_dose_rule(HBIG_US), weight).text == text


@given(st.integers(1, 400_000))
def test_the_amount_is_exact(grams):
    found = dose(parse_dose_rule(HBIG_US), grams / 1000)

    assert Fraction(found.amount) == Fraction(6, 100) * Fraction(grams, 1000)


@pytest.mark.parametrize("weight", [0, -1, float("nan"), float("inf")])
def test_a_weight_that_cannot_be_is_refused(weight):
    with pytest.raises(ValueError, match="A weight lies above 0 kg"):
        dose(parse_dose_rule(HBIG_US), weight)


@pytest.mark.parametrize("weight", [True, "72"])
def test_a_weight_that_is_no_number_is_refused(weight):
    with pytest.raises(ValueError, match="A weight is a number in kg"):
        dose(parse_dose_rule(HBIG_US), weight)


@pytest.mark.parametrize(
    "text",
    ["", "0.06", "0.06 ml/kg IM", "0 mL IM", "0.00 mL/kg", "-1 mL", "1,5 mL", ".5 mL", "5 mL/kg/d",
     "500 IU  IM", "500 IU IM ", "٥ mL"],
)  # fmt: skip
def test_a_rule_of_another_form_is_refused(text):
    with pytest.raises(ValueError, match="A dose is written as"):
        parse_dose_rule(text)


@pytest.mark.parametrize("text", [HBIG_US, "500 IU IM", "250 IU", "10 mg/kg PO"])
def test_a_rule_reads_back_as_it_was_written(text):
    assert str(parse_dose_rule(text)) == text
