"""The one strict rule for a value, row by row: whole texts against closed lists, else a person.

Rows follow the order of the rule: the status gate (HL7 v2 table 0085), which test, one value, by type,
text, numbers, flags (table 0078). Values come from public test messages of several senders, rewritten.
"""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from exchange.samples import ANTI_HBS, ANTI_HCV, HBSAG, HCV_RNA, HIV_AG_AB, HIV_RNA, row
from thimble.clinical.laboratory import Local, well_formed
from thimble.clinical.serology import Quantity, Word
from thimble.exchange.hl7v2 import loinc
from thimble.exchange.hl7v2.reading import About, Held, Reading, Standing
from thimble.exchange.hl7v2.values import read_typed, read_value


def reading(value: str, **how: object) -> Reading:
    found = read_value(row(value, **how))
    assert isinstance(found, Reading), found
    return found


def held(value: str, **how: object) -> Held:
    found = read_value(row(value, **how))
    assert isinstance(found, Held), found
    return found


@pytest.mark.parametrize(
    ("status", "standing"),
    [("F", Standing.FINAL), ("V", Standing.FINAL), ("B", Standing.FINAL),
     ("C", Standing.CORRECTED), ("A", Standing.CORRECTED), ("P", Standing.PROVISIONAL),
     ("R", Standing.PROVISIONAL), ("S", Standing.PROVISIONAL)],
)  # fmt: skip
def test_a_value_counts_as_far_as_its_status_says(status: str, standing: Standing) -> None:
    found = reading("Negative", status=status)

    assert (found.standing, found.outcome) == (standing, Word.NEGATIVE)


@pytest.mark.parametrize(
    ("status", "standing"),
    [("U", Standing.PROMOTED), ("D", Standing.RETRACTED), ("W", Standing.WRONG),
     ("X", Standing.NOT_OBTAINABLE), ("I", Standing.AWAITED), ("O", Standing.AWAITED),
     ("N", Standing.NOT_ASKED)],
)  # fmt: skip
def test_a_row_without_a_usable_status_has_no_value_whatever_it_holds(
    status: str, standing: Standing
) -> None:
    found = reading("Negative", status=status)

    assert (found.standing, found.outcome, found.quantity) == (standing, None, None)
    assert found.no_result


@pytest.mark.parametrize("status", ["", "Z", "f"])
def test_a_row_without_a_known_status_is_held(status: str) -> None:
    assert held("Negative", status=status).about is About.STATUS


@pytest.mark.parametrize(
    "text",
    ["Negative", "NEG", "not detected", "NOT  DETECTED", "Non-reactive", "nonreactive",
     "non reactive", "absent", "Target Not Detected", "none detected", "undetected"],
)  # fmt: skip
def test_words_for_negative(text: str) -> None:
    assert reading(text, test=HIV_AG_AB).outcome is Word.NEGATIVE


@pytest.mark.parametrize(
    "text",
    ["Positive", "POS", "Detected", "Reactive", "present", "Repeatedly Reactive", "confirmed"],
)
def test_words_for_positive(text: str) -> None:
    assert reading(text, test=HIV_AG_AB).outcome is Word.POSITIVE


@pytest.mark.parametrize(
    "text",
    ["Indeterminate", "equivocal", "Borderline", "inconclusive", "grey zone", "gray zone",
     "weakly reactive", "weak positive", "low positive"],
)  # fmt: skip
def test_words_for_neither(text: str) -> None:
    assert reading(text, test=HIV_AG_AB).outcome is Word.INDETERMINATE


@pytest.mark.parametrize(
    "text", ["pending", "see comment", "cancelled", "not done", "TNP", "QNS", "haemolysed"]
)
def test_words_for_no_result(text: str) -> None:
    found = reading(text, test=HIV_AG_AB)

    assert (found.outcome, bool(found.no_result)) == (None, True)


@pytest.mark.parametrize(
    "text",
    ["positive control failed", "not positive", "no longer reactive", "HBsAg negative",
     "negative, but see below", "reactive?", "(-)", "+", "1:32", "ten", "7,9", "1 000",
     "1,000.5", "-3", "< 5 >", "12 13"],
)  # fmt: skip
def test_anything_else_is_held_and_no_word_in_it_is_found(text: str) -> None:
    assert held(text, test=HIV_AG_AB).about in (About.VALUE, About.UNIT)


@pytest.mark.parametrize(
    ("text", "unit", "comparator", "number"),
    [("56", "m[IU]/mL", "", "56"), ("<10", "m[IU]/mL", "<", "10"), (">1000", "m[IU]/mL", ">", "1000"),
     ("≥ 10.0", "m[IU]/mL", ">=", "10.0"), ("9.99 mIU/mL", "", "", "9.99"), ("10", "IU/L", "", "10")],
)  # fmt: skip
def test_a_titre_is_read_with_its_comparator(
    text: str, unit: str, comparator: str, number: str
) -> None:
    quantity = reading(text, test=ANTI_HBS, unit=unit).quantity
    assert quantity is not None

    assert (quantity.comparator, quantity.number) == (comparator or "=", float(number))


def test_nm_that_holds_a_comparator_is_read_as_text() -> None:
    quantity = reading(">1000", test=ANTI_HBS, kind="NM", unit="m[IU]/mL").quantity

    assert quantity is not None
    assert quantity.comparator == ">"


@pytest.mark.parametrize(
    ("value", "comparator", "number"),
    [("<^10", "<", "10"), (">^1000", ">", "1000"), ("^56", "", "56")],
)
def test_a_structured_number(value: str, comparator: str, number: str) -> None:
    quantity = reading(value, test=ANTI_HBS, kind="SN", unit="m[IU]/mL").quantity
    assert quantity is not None

    assert (quantity.comparator, quantity.number) == (comparator or "=", float(number))


@pytest.mark.parametrize("value", ["^1^:^32", "^1^-^5", "~^5", "<>^5", "<^five"])
def test_a_structured_number_that_is_none_is_held_or_no_result(value: str) -> None:
    found = read_value(row(value, test=ANTI_HBS, kind="SN", unit="m[IU]/mL"))

    assert isinstance(found, Held) or found.no_result


def test_a_viral_load_below_the_limit_needs_the_word() -> None:
    """Detected but too little to count is not the same as not detected."""
    assert held("<15", test=HCV_RNA, unit="[IU]/mL").about is About.VALUE
    assert reading("<15 detected", test=HCV_RNA, unit="[IU]/mL").outcome is Word.POSITIVE
    assert reading("<20 not detected", test=HCV_RNA, unit="[IU]/mL").outcome is Word.NEGATIVE
    counted = reading("1520000", test=HCV_RNA, unit="[IU]/mL").quantity
    assert counted is not None
    assert counted.number == 1520000


def test_a_count_that_says_not_detected_is_held() -> None:
    assert held("500 not detected", test=HIV_RNA, unit="{copies}/mL").about is About.CONTRADICTION


@pytest.mark.parametrize("unit", ["", "furlong", "mg/dL", "[IU]/mL"])
def test_a_number_in_a_unit_that_does_not_fit_is_held(unit: str) -> None:
    assert held("56", test=ANTI_HBS, unit=unit).about is About.UNIT


def test_a_decimal_comma_is_read_only_where_the_site_declares_it() -> None:
    typed = row("7,9", test=ANTI_HBS, unit="m[IU]/mL")
    assert isinstance(read_value(typed), Held)

    found = read_value(typed, Local(decimal_comma=True))
    assert isinstance(found, Reading)
    assert found.quantity is not None
    assert found.quantity.number == 7.9


@pytest.mark.parametrize(
    ("value", "outcome"),
    [("260385009^Negative^SCT", Word.NEGATIVE), ("10828004^Positive^SCT", Word.POSITIVE),
     ("NEG^Negative^L^260385009^Negative^SCT", Word.NEGATIVE), ("^Reactive", Word.POSITIVE)],
)  # fmt: skip
def test_a_coded_answer(value: str, outcome: Word) -> None:
    assert reading(value, kind="CE").outcome is outcome


@pytest.mark.parametrize(
    "value", ["260385009^Positive^SCT", "10828004^Positive^SCT^NEG^Negative^L", "999^^SCT", "Q^^L"]
)
def test_a_coded_answer_that_contradicts_itself_or_is_not_known_is_held(value: str) -> None:
    held(value, kind="CE")


@pytest.mark.parametrize(
    ("test", "about"),
    [("HBS^surface antigen^L", About.TEST), ("5195-4^HBsAg^LN", About.TEST),
     ("99999-9^nothing^LN", About.TEST), ("5195-3^Hepatitis B surface antibody^LN", About.CONTRADICTION),
     ("5195-3^HBsAg^LN^13955-0^HCV^LN", About.CONTRADICTION),
     ("31201-7^HIV antibody^LN", About.TEST)],
)  # fmt: skip
def test_a_test_that_is_not_known_or_contradicts_its_name_is_held(test: str, about: About) -> None:
    assert held("Negative", test=test).about is about


def test_a_local_code_is_read_where_the_site_maps_it() -> None:
    typed = row("Negative", test="HBS^surface antigen^L")
    found = read_value(typed, Local(codes={("L", "HBS"): "5195-3"}))

    assert isinstance(found, Reading)
    assert found.analyte == "hbsag"


@pytest.mark.parametrize("value", ["", '""', "Negative~Positive"])
def test_no_value_a_deleted_one_and_several_are_no_result(value: str) -> None:
    found = reading(value)

    assert (found.outcome, bool(found.no_result)) == (None, True)


@pytest.mark.parametrize(
    ("value", "flags", "agrees"),
    [("Negative", "NEG", True), ("Negative", "POS", False), ("Positive", "POS", True),
     ("Reactive", "RR", True), ("Reactive", "NR", False), ("Positive", "A", True),
     ("Negative", "N", True), ("Indeterminate", "IND", True), ("Negative", "IND", False),
     ("Not detected", "DET", False)],
)  # fmt: skip
def test_a_flag_corroborates_or_the_row_is_held(value: str, flags: str, agrees: bool) -> None:
    found = read_value(row(value, test=ANTI_HCV, flags=flags))

    assert isinstance(found, Reading) is agrees


def test_a_flag_alone_is_never_a_result() -> None:
    assert reading("", flags="POS").outcome is None


@pytest.mark.parametrize("kind", ["ED", "RP", "DT", "XAD", ""])
def test_a_type_that_holds_no_result_is_held(kind: str) -> None:
    held("Negative", kind=kind)


def test_every_code_that_is_read_has_its_check_digit() -> None:
    """Luhn over the digits before the hyphen, as LOINC has it."""
    assert len(loinc.tests()) > 50
    for code in loinc.tests():
        digits = [int(d) for d in reversed(code.partition("-")[0])]
        doubled = [sum(divmod(d * 2, 10)) if at % 2 == 0 else d for at, d in enumerate(digits)]
        assert (10 - sum(doubled) % 10) % 10 == int(code[-1]), code
        assert well_formed(code)


@given(st.text(max_size=40), st.sampled_from([HBSAG, ANTI_HBS, HCV_RNA, HIV_RNA]))
def test_no_text_is_read_as_a_word_that_it_is_not(text: str, test: str) -> None:
    """Whatever is sent: an outcome only for a whole text of a closed list, and never an exception."""
    clean = "".join(c for c in text if c not in "|^~\\&\r\n\x0b\x1c" and c.isprintable())
    found = read_value(row(clean, test=test))

    if isinstance(found, Reading) and found.outcome is not None:
        assert any(c.isalpha() for c in clean)
        assert len(clean) <= 40
    padded = read_value(row(f"xx {clean} xx", test=test))
    assert isinstance(padded, Held) or padded.outcome is None


@pytest.mark.parametrize(
    ("text", "unit", "said"),
    [
        ("<20", "[IU]/mL", (None, Quantity(20, "[IU]/mL", "<"))),
        ("<20 not detected", "IU/mL", (Word.NEGATIVE, Quantity(20, "[IU]/mL", "<"))),
        ("1500 IU/ml", "", (None, Quantity(1500, "[IU]/mL"))),
        ("Not detected", "", (Word.NEGATIVE, None)),
    ],
)
def test_a_typed_viral_load_stays_what_was_typed(
    text: str, unit: str, said: tuple[Word | None, Quantity | None]
) -> None:
    assert read_typed(text, unit, loinc.tests()["42595-9"]) == said


@pytest.mark.parametrize(
    ("text", "unit", "why"),
    [
        ("0", "IU/mL", "no amount"),
        ("<0", "IU/mL", "no amount"),
        ("20", "", "has no unit"),
        ("20", "mm", "does not fit"),
        ("20 IU/mL", "copies/mL", "does not fit"),
        ("low", "IU/mL", "not in the closed lists"),
        ("pending", "", "in place of a result"),
        ("x" * 300, "", "longer text"),
    ],
)
def test_what_no_message_may_say_no_typed_value_says(text: str, unit: str, why: str) -> None:
    with pytest.raises(ValueError, match=why):
        read_typed(text, unit, loinc.tests()["42595-9"])
