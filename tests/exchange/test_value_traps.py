"""Values that have misled readers: each trap by itself, and what is made of it."""

from __future__ import annotations

import pytest

from exchange.samples import ANTI_HBS, ANTI_HCV, HBSAG, HCV_RNA, HIV_AG_AB, HIV_RNA, row
from thimble.clinical.laboratory import Local
from thimble.clinical.serology import Quantity, Word
from thimble.exchange.hl7v2.reading import About, Held, Reading
from thimble.exchange.hl7v2.values import read_value

COPIES = "{copies}/mL"
RATIO = "48159-8^HCV Ab signal/cutoff^LN"
ALT = "1742-6^ALT^LN"
CREATININE_SI = "14682-9^Creatinine^LN"
CREATININE = "2160-0^Creatinine^LN"
DIFFERENTIATION = "80203-3^HIV 1 and 2 Ab differentiation^LN"


def read(value: str, **how: object) -> Reading | Held:
    return read_value(row(value, **how))


def quantity(value: str, **how: object) -> Quantity | None:
    found = read(value, **how)
    assert isinstance(found, Reading), found
    return found.quantity


@pytest.mark.parametrize(
    ("value", "unit", "outcome", "told"),
    [
        ("<15 detected", COPIES, Word.POSITIVE, ("<", "15")),
        ("<15 Not Detected", COPIES, Word.NEGATIVE, ("<", "15")),
        ("<20 copies/mL detected", "", Word.POSITIVE, ("<", "20")),
        ("<20 copies/mL, detected", "", None, None),
        ("< 20 Target Not Detected", COPIES, Word.NEGATIVE, ("<", "20")),
        ("35 detected", COPIES, Word.POSITIVE, ("", "35")),
        ("35 not detected", COPIES, None, None),
        (">10000000 detected", COPIES, Word.POSITIVE, (">", "10000000")),
        (">10000000 not detected", COPIES, None, None),
        ("<20", COPIES, None, None),
        ("<=20", COPIES, None, None),
        ("≤20", COPIES, None, None),
        ("0", COPIES, None, None),
        ("<0", COPIES, None, None),
        ("<20 undetected", COPIES, None, None),
        ("Target not detected", "", Word.NEGATIVE, ("", "")),
        ("Not detected <20", COPIES, None, None),
    ],
)
def test_a_viral_load(
    value: str, unit: str, outcome: Word | None, told: tuple[str, str] | None
) -> None:
    found = read(value, test=HIV_RNA, unit=unit)

    if told is None:
        assert isinstance(found, Held)
        return
    assert isinstance(found, Reading)
    assert found.outcome is outcome
    if told == ("", ""):
        assert found.quantity is None
    else:
        assert found.quantity == Quantity(float(told[1]), COPIES, told[0] or "=")


def test_a_bare_limit_is_held_in_a_structured_number_and_whatever_the_flag_says() -> None:
    for flags in ("", "ND", "NEG", "N", "<"):
        assert isinstance(read("<^20", test=HIV_RNA, kind="SN", unit=COPIES, flags=flags), Held)


def test_a_word_beside_a_number_is_read_for_viral_loads_alone() -> None:
    assert isinstance(read("<10 not detected", test=ANTI_HBS, unit="mIU/mL"), Held)


def test_the_numbers_of_iu_per_litre_and_miu_per_millilitre_are_the_same() -> None:
    expected = Quantity(11.5, "m[IU]/mL")

    for unit in ("m[IU]/mL", "mIU/mL", "[IU]/L", "IU/l", "mIU/mL^milli^UCUM^IU/L^^L"):
        assert quantity("11.5", test=ANTI_HBS, unit=unit) == expected
    # A thousand times as much is not converted in silence.
    assert isinstance(read("11.5", test=ANTI_HBS, unit="IU/mL"), Held)


@pytest.mark.parametrize(
    ("value", "test", "unit"),
    [
        ("20 IU/mL", HCV_RNA, "copies/mL"),  # two units
        ("20", HCV_RNA, "[IU]/mL^^UCUM^copies/mL^^L"),
        ("20", HIV_RNA, "[IU]/mL"),  # the code is for copies
        ("20", HIV_RNA, "{index_val}"),  # both are "1" to UCUM
        ("20", HIV_RNA, ""),
        ("80", CREATININE_SI, "mg/dL"),
        ("0.9", CREATININE, "umol/L"),
        ("11.0", RATIO, "1^^UCUM"),
        ("11.0", RATIO, "{s_co_ratio}^^UCUM^COI^^L"),  # each fits, and they are not the same
    ],
)
def test_a_unit_that_is_missing_doubtful_or_of_another_code_is_held(
    value: str, test: str, unit: str
) -> None:
    found = read(value, test=test, unit=unit)

    assert isinstance(found, Held)
    assert found.about is About.UNIT


@pytest.mark.parametrize("unit", ["umol/L", "µmol/L", "μmol/L"])
def test_both_letters_for_micro_are_understood(unit: str) -> None:
    assert quantity("80", test=CREATININE_SI, unit=unit) == Quantity(80, "umol/L")


def test_iu_per_litre_is_u_per_litre_for_alt_alone() -> None:
    assert quantity("35", test=ALT, unit="IU/L") == Quantity(35, "U/L")
    assert isinstance(read("35", test=ANTI_HBS, unit="U/L"), Held)


@pytest.mark.parametrize("value", ["1,5", "1,000", "<1,5", "1.234,5", "1 000", "1e3", "1.", ".5"])
def test_no_number_is_guessed(value: str) -> None:
    assert isinstance(read(value, test=ANTI_HBS, unit="mIU/mL"), Held)


def test_a_comma_says_why_it_is_held() -> None:
    found = read("1,5", test=ANTI_HBS, unit="mIU/mL")

    assert isinstance(found, Held)
    assert "does not declare a decimal comma" in found.reason


def test_a_declared_comma_never_parts_thousands() -> None:
    local = Local(decimal_comma=True)
    found = read_value(row("1.234,5", test=ANTI_HBS, unit="mIU/mL"), local)

    assert isinstance(found, Held)


@pytest.mark.parametrize(
    ("value", "kind"),
    [("1^1^:^32", "NM"), ("^1^:^32", "SN"), ("1:32", "ST"), ("^10^-^20", "SN"), ("<>^5", "SN")],
)
def test_titres_and_ranges_are_no_numbers(value: str, kind: str) -> None:
    assert isinstance(read(value, test=ANTI_HBS, kind=kind, unit="mIU/mL"), Held)


def test_a_number_for_a_test_that_is_answered_in_words_is_held() -> None:
    assert isinstance(read("0.12", test=HBSAG, kind="NM", unit="s/co"), Held)
    assert isinstance(read("0.12", test=HBSAG, kind="NM"), Held)


def test_a_word_for_a_plain_amount_is_held() -> None:
    assert isinstance(read("Negative", test=ALT), Held)


def test_a_ratio_is_a_number_and_says_nothing_in_words() -> None:
    found = read("^10.8", test=RATIO, kind="SN", unit="{s_co_ratio}", flags="H")

    assert isinstance(found, Reading)
    assert (found.outcome, found.quantity) == (None, Quantity(10.8, "{s_co_ratio}"))


def test_a_test_that_says_which_is_not_answered_by_positive() -> None:
    assert isinstance(read("Positive", test=DIFFERENTIATION), Held)
    negative = read("Negative", test=DIFFERENTIATION)
    assert isinstance(negative, Reading)
    assert negative.outcome is Word.NEGATIVE


@pytest.mark.parametrize("flag", ["R", "S", "I"])
def test_r_is_resistant_and_not_reactive(flag: str) -> None:
    found = read("Reactive", test=HIV_AG_AB, flags=flag)

    assert isinstance(found, Held)
    assert "resistance" in found.reason


@pytest.mark.parametrize(
    ("value", "flags", "held"),
    [
        ("Reactive", "A^^HL70078", False),
        ("Reactive", "RR~H", False),
        ("Weakly reactive", "WR", False),
        ("Reactive", "WR", True),
        ("Reactive", "POS~NEG", True),
        ("Reactive", "Non-reactive", True),
        ("Reactive", "*", False),
    ],
)
def test_flags_of_table_0078(value: str, flags: str, *, held: bool) -> None:
    assert isinstance(read(value, test=HIV_AG_AB, flags=flags), Held) is held


def test_a_flag_that_makes_the_number_a_limit_contradicts_a_plain_number() -> None:
    assert isinstance(read("1000", test=ANTI_HBS, unit="mIU/mL", flags=">"), Held)
    assert quantity(">1000", test=ANTI_HBS, unit="mIU/mL", flags=">") is not None
    assert isinstance(read("20", test=HIV_RNA, unit=COPIES, flags="<"), Held)


def test_a_count_that_is_flagged_not_detected_is_held() -> None:
    assert isinstance(read("500", test=HIV_RNA, unit=COPIES, flags="ND"), Held)


@pytest.mark.parametrize(
    ("value", "outcome"),
    [
        # A swapped pair of a public mapping file.
        ("11214006^Non-Reactive^SCT", None),
        ("11214006^Reactive^SCT", Word.POSITIVE),
        ("131194007^Non-Reactive^SCT", Word.NEGATIVE),
        ("260385009^Negative (qualifier value)^SCT^NEG^NEGATIVE^L^^^Negative", Word.NEGATIVE),
        ("260385009^Negative^SCT^^^^^^Positive", None),
        ("260385009^see the report^SCT", None),
        ("260415000^^2.16.840.1.113883.6.96", Word.NEGATIVE),
        ("82334004^Indeterminate^SCT", Word.INDETERMINATE),
        ("42425007^Equivocal^SCT", Word.INDETERMINATE),
        ("POS^^L", Word.POSITIVE),
        ("NEG^Positive^L", None),
        ("1^^L", None),
    ],
)
def test_codes_and_texts_of_an_answer_must_agree(value: str, outcome: Word | None) -> None:
    found = read(value, test=ANTI_HCV, kind="CWE")

    if outcome is None:
        assert isinstance(found, Held)
    else:
        assert isinstance(found, Reading)
        assert found.outcome is outcome


@pytest.mark.parametrize(
    "value", ["125154007^Specimen unsatisfactory^SCT", "373121007^Test not done^SCT"]
)
def test_a_code_for_no_result_is_no_result(value: str) -> None:
    found = read(value, test=ANTI_HCV, kind="CE")

    assert isinstance(found, Reading)
    assert (found.outcome, bool(found.no_result)) == (None, True)


@pytest.mark.parametrize(
    ("test", "held"),
    [
        ("5195-3^Hepatitis B surface antibody^LN", True),  # seen in public test data
        ("20447-9^Hepatitis B panel^LN", True),
        ("13955-0^HCV RNA^LN", True),
        ("24113-3^Hepatitis B core total^LN", True),
        ("16933-4^HBc IgM^LN", True),
        ("56888-1^HIV source patient^LN", True),
        ("5195-3^Hepatitis B virus surface Ag^LN^HBSAG^HBsAg^L", False),
        ("5195-3^Hepatitis B virus surface Ag^LN^X^HBsAb^L", True),
        ("5195-3^^LN", False),
        ("HBSAG^HBsAg^L^5195-3^HBsAg^LN", False),
        ("5195-3^HBsAg^2.16.840.1.113883.6.1", False),
        ("5195-3^HBsAg^L", True),
        ("5195-3^HBsAg^LN^5196-1^HBsAg^LN", True),
    ],
)
def test_the_name_never_chooses_the_test_but_may_contradict_it(test: str, *, held: bool) -> None:
    assert isinstance(read("Not detected", test=test), Held) is held


def test_words_of_another_language_are_the_site_s_and_compared_whole() -> None:
    local = Local(words={"nicht nachgewiesen": Word.NEGATIVE})

    found = read_value(row("Nicht  nachgewiesen", test=HBSAG), local)
    assert isinstance(found, Reading)
    assert found.outcome is Word.NEGATIVE
    assert isinstance(read_value(row("sicher nicht nachgewiesen", test=HBSAG), local), Held)


def test_a_site_cannot_turn_a_word_of_the_lists_round() -> None:
    local = Local(words={"reactive": Word.NEGATIVE})

    assert isinstance(read_value(row("Reactive", test=HBSAG), local), Held)


def test_the_sender_s_own_words_are_always_beside_the_reading() -> None:
    for value in ("Non-Reactive", "who knows"):
        assert read(value, test=HBSAG).words == value
