"""Rows of one order: which are one result, which are passed over, and which hold everything."""

from __future__ import annotations

import pytest

from exchange.samples import ANTI_HBS, HBSAG, HCV_RNA, obx, oru
from thimble.clinical.laboratory import Local
from thimble.clinical.serology import Word
from thimble.exchange.hl7v2.declared import faults_of
from thimble.exchange.hl7v2.message import read_bytes
from thimble.exchange.hl7v2.reading import Standing
from thimble.exchange.rows import Row, rows_of

NOTHING = Local()
PRESENT = "22322-2^Hepatitis B virus surface Ab^LN"
HEPATITIS_A = "20575-7^Hepatitis A virus Ab^LN"
REMARK = "REM^Remark^L"
LOAD_WORD = "11259-9^Hepatitis C virus RNA^LN"


def read(*rows: str, local: Local = NOTHING) -> tuple[list[Row], list[str]]:
    (patient,) = read_bytes(oru(*rows)).patients
    (order,) = patient.orders
    return rows_of(order, local)


def number(value: str = "120", status: str = "F", test: str = ANTI_HBS) -> str:
    return obx(value, test=test, kind="NM", unit="m[IU]/mL", status=status)


def word(value: str = "Positive", status: str = "F", test: str = PRESENT) -> str:
    return obx(value, test=test, status=status)


@pytest.mark.parametrize("order", [slice(None), slice(None, None, -1)])
def test_a_number_and_its_word_are_one_result(order: slice) -> None:
    rows = [number(), word()][order]

    (found,), faults = read(*rows)

    assert faults == []
    assert (found.reading.outcome, str(found.reading.quantity)) == (Word.POSITIVE, "120 mIU/mL")
    assert found.words == "120 m[IU]/mL; Positive"


@pytest.mark.parametrize(
    ("rows", "count"),
    [
        ((number(), word(), word("Negative")), 3),
        ((number(), number("121")), 2),
        ((word(), word("Reactive")), 2),
        ((number(), word(status="P")), 2),
        ((number(status="D"), word()), 2),
        ((number(), word(test=HBSAG)), 2),
    ],
)
def test_what_is_not_plainly_one_result_stays_apart(rows: tuple[str, ...], count: int) -> None:
    found, faults = read(*rows)

    assert (len(found), faults) == (count, [])


@pytest.mark.parametrize(("first", "second"), [("C", "F"), ("F", "C"), ("C", "C")])
def test_where_one_half_is_set_right_the_result_is(first: str, second: str) -> None:
    (found,), _ = read(number(status=first), word(status=second))

    assert found.reading.standing is Standing.CORRECTED


def test_a_count_and_detected_are_one_load() -> None:
    (found,), _ = read(
        obx("450", test=HCV_RNA, kind="NM", unit="[IU]/mL"), word("Detected", test=LOAD_WORD)
    )

    assert (found.reading.outcome, found.reading.analyte) == (Word.POSITIVE, "hcv_rna")


DECLARED = Local(passed_over=frozenset({("LN", "20575-7"), ("L", "REM")}))


def test_what_the_site_passes_over_holds_nothing_up() -> None:
    rows = (word("Positive", test=HEPATITIS_A), obx("see letter", test=REMARK), number())
    assert len(read(*rows)[1]) == 2

    (found,), faults = read(*rows, local=DECLARED)

    assert (found.reading.analyte, faults) == ("anti_hbs", [])


@pytest.mark.parametrize(
    ("test", "local"),
    [
        ("REM^Remark^L^5195-3^HBsAg^LN", DECLARED),
        ("REM^Remark^L^HBS^HBsAg^X", Local(codes={("X", "HBS"): "5195-3"},
                                           passed_over=DECLARED.passed_over)),
        ("REM^Remark^OTHER", DECLARED),
    ],
)  # fmt: skip
def test_a_row_that_may_be_a_result_is_never_passed_over(test: str, local: Local) -> None:
    found, faults = read(obx("Positive", test=test), local=local)

    assert found or faults


def test_a_site_that_declares_a_code_that_is_read_is_not_followed() -> None:
    wrong = Local(
        codes={("L", "MAS"): "20479-2"},
        passed_over=frozenset({("LOINC", "5195-3"), ("L", "MAS"), ("LN", "20575-7")}),
    )

    assert [fault.partition(" is read")[0] for fault in faults_of(wrong)] == [
        "passed_over: 'MAS' of 'L'", "passed_over: '5195-3' of 'LOINC'",
    ]  # fmt: skip
