"""ALT against the laboratory's own range: each limit, each comparator, and what says nothing."""

from __future__ import annotations

from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from exchange.samples import oru
from thimble.clinical.serology import Against, Quantity
from thimble.exchange.hl7v2.message import read_bytes
from thimble.exchange.hl7v2.model import Code, Coded
from thimble.exchange.hl7v2.ranges import compared_with
from thimble.exchange.hl7v2.reading import Held, Reading
from thimble.exchange.hl7v2.values import read_value

ALT = "1742-6^Alanine aminotransferase^LN"
ABOVE, NOT_ABOVE = Against.ABOVE, Against.NOT_ABOVE


def alt(number: str, range_: str = "", flags: str = "", *, test: str = ALT) -> Reading | Held:
    row = f"OBX|1|NM|{test}||{number}|U/L|{range_}|{flags}|||F"
    return read_value(read_bytes(oru(row)).patients[0].orders[0].observations[0])


@pytest.mark.parametrize(
    ("number", "range_", "flags", "said"),
    [
        ("41", "0-41", "", NOT_ABOVE),
        ("41.1", "0-41", "", ABOVE),
        ("41", "<41", "", ABOVE),
        ("40.9", "< 41", "", NOT_ABOVE),
        ("41", "<=41", "", NOT_ABOVE),
        ("42", "≤41", "", ABOVE),
        ("5", "7 - 56 U/L", "L", NOT_ABOVE),
        ("60", "7-56", "HH", ABOVE),
        ("60", "", "H", ABOVE),
        ("22", "", "N", NOT_ABOVE),
        ("60", "", "", None),
        ("60", "", "A", None),
        # What is not written in one plain form says nothing: a person looks.
        ("60", "m: 0-50, f: 0-35", "", None),
        ("60", "0-41 ukat/L", "", None),
        ("60", "0,5-41", "", None),
        ("60", "56-7", "", None),
        ("60", ">41", "", None),
        ("60", "normal", "", None),
    ],
)
def test_a_number_against_the_range_as_the_laboratory_says_it(
    number: str, range_: str, flags: str, said: Against | None
) -> None:
    reading = alt(number, range_, flags)

    assert isinstance(reading, Reading)
    assert reading.against_range is said


@pytest.mark.parametrize(("number", "flags"), [("60", "N"), ("22", "H")])
def test_a_flag_that_contradicts_the_range_is_held(number: str, flags: str) -> None:
    held = alt(number, "0-41", flags)

    assert isinstance(held, Held)
    assert "the number says otherwise of the range “0-41”" in held.reason


def test_no_other_test_is_read_by_its_range() -> None:
    row = "OBX|1|NM|2160-0^Creatinine^LN||2.1|mg/dL|0.6-1.1|N|||F"
    reading = read_value(read_bytes(oru(row)).patients[0].orders[0].observations[0])

    assert isinstance(reading, Reading)
    assert reading.against_range is None


TENTHS = st.integers(1, 60).map(lambda n: Decimal(n) / 10)


@given(
    number=TENTHS, comparator=st.sampled_from(["=", "<", "<=", ">", ">="]), high=TENTHS,
    form=st.sampled_from(["0-{}", "<{}", "<={}"]),
)  # fmt: skip
def test_it_says_only_what_holds_of_every_value_that_the_result_allows(
    number: Decimal, comparator: str, high: Decimal, form: str
) -> None:
    """By trying the values: every twentieth up to far above both, which holds one between any two."""
    allowed = [
        value
        for value in (Decimal(n) / 20 for n in range(0, 260))
        if {
            "=": value == number, "<": value < number, "<=": value <= number,
            ">": value > number, ">=": value >= number,
        }[comparator]
    ]  # fmt: skip
    above = {value >= high if form.startswith("<{") else value > high for value in allowed}
    expected = None if len(above) > 1 else ABOVE if above == {True} else NOT_ABOVE

    said = compared_with(
        Quantity(float(number), "U/L", comparator),
        form.format(high),
        Coded((Code("U/L", "", ""),), ""),
    )

    assert said is expected
