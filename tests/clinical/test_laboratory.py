"""What a site declares of its laboratory: read as strictly as the rest of its settings."""

import pytest

from thimble.clinical.laboratory import Local
from thimble.clinical.serology import Word
from thimble.clinical.site import SiteError, parse_site


def test_nothing_is_declared_where_the_table_is_left_out(settings):
    assert parse_site(settings).laboratory == Local()
    assert parse_site(settings | {"laboratory": {}}).laboratory == Local()


def test_codes_words_and_the_comma_are_read(settings):
    declared = {
        "codes": [
            {"system": "L", "code": "HBS", "loinc": "5195-3"},
            {"code": "9", "loinc": "1742-6"},
        ],
        "words": {"negative": ["nicht nachgewiesen"], "indeterminate": ["grenzwertig"]},
        "decimal_comma": True,
        "days_to_result": 60,
        "passed_over": [{"system": "LN", "code": "20575-7"}, {"code": "REM"}],
    }

    assert parse_site(settings | {"laboratory": declared}).laboratory == Local(
        {("L", "HBS"): "5195-3", ("", "9"): "1742-6"},
        {"nicht nachgewiesen": Word.NEGATIVE, "grenzwertig": Word.INDETERMINATE},
        decimal_comma=True,
        days_to_result=60,
        passed_over=frozenset({("LN", "20575-7"), ("", "REM")}),
    )


def test_every_fault_is_told_at_once(settings):
    declared = {
        "codes": [
            {"system": "L", "code": "A", "loinc": "5195-4"},
            {"system": "L", "code": "A", "loinc": "5195-3"},
            {"code": "B", "loinc": "5195-3", "name": "HBsAg"},
            {"code": "C"},
        ],
        "words": {
            "negative": ["nicht-nachgewiesen"], "positive": ["Nicht  nachgewiesen"], "maybe": ["x"],
        },
        "decimal_comma": "yes",
        "days_to_result": 61,
        "passed_over": [{"code": "X"}, {"system": "", "code": "X"}, {"code": "Y", "loinc": "5195-3"}],
        "comma": True,
    }  # fmt: skip

    with pytest.raises(SiteError) as refused:
        parse_site(settings | {"laboratory": declared})

    codes = "site: laboratory.codes"
    assert refused.value.faults == (
        f"{codes}[1].loinc is a LOINC code: digits, a hyphen and the right check digit, such as "
        "5195-3; found '5195-4'",
        f"{codes}[2].code is listed twice: 'A' of 'L'",
        f"{codes}[3].name is not a key here; allowed: system, code, loinc",
        f"{codes}[4].loinc is missing",
        "site: laboratory.words.negative has 'nicht-nachgewiesen', which is listed already as positive",
        "site: laboratory.words.maybe is not a key here; allowed: positive, negative, indeterminate",
        "site: laboratory.decimal_comma is true or false; found 'yes'",
        "site: laboratory.days_to_result is whole days from 0 to 60; found 61",
        "site: laboratory.passed_over[2].code is listed twice: 'X' of ''",
        "site: laboratory.passed_over[3].loinc is not a key here; allowed: system, code",
        "site: laboratory.comma is not a key here; allowed: codes, words, decimal_comma, "
        "days_to_result, passed_over",
    )


@pytest.mark.parametrize("wrong", [3, ["negative"], "neg"])
def test_a_table_that_is_none_is_told(settings, wrong):
    for declared in ({"laboratory": wrong}, {"laboratory": {"words": wrong}}):
        with pytest.raises(SiteError, match="is a table; found"):
            parse_site(settings | declared)


def test_what_is_kept_by_a_sites_settings_can_be_kept_whatever_the_laboratory_declares():
    declared = Local(codes={("L", "HIV"): "56888-1"}, decimal_comma=True)
    same = Local(codes={("L", "HIV"): "56888-1"}, decimal_comma=True)

    assert len({declared, same, Local()}) == 2
