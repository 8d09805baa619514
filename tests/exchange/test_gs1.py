"""GS1 element strings: a printed example, every way they are scanned, and everything that is refused."""

from __future__ import annotations

from contextlib import suppress
from datetime import date

import pytest
from hypothesis import given
from hypothesis import strategies as st

from thimble.exchange.gs1 import NotRead, Scanned, looks_like_gs1, read_vaccine

TODAY = date(2026, 3, 3)
GS = "\x1d"
GTIN = "05060917510011"
PRINTED = Scanned(GTIN, "628S93R", date(2024, 10, 31))


@pytest.mark.parametrize("separator", [GS, "|", "^", "~", "\u241d"])
@pytest.mark.parametrize("prefix", ["", "]d2", "]C1", GS, f"]d2{GS}"])
def test_the_printed_example_is_read_as_it_is_explained_there(separator: str, prefix: str) -> None:
    """Solidsoft-Reply, GS1-AI-Validating-Parser, wiki, "GS1 Data Example": 01, 10, 17, 21. GS1's list of
    application identifiers: 17 is a date whose day may be 00, the last of the month."""
    text = f"{prefix}01{GTIN}10628S93R{separator}17241000218898847482518646"
    assert looks_like_gs1(text)
    assert read_vaccine(text, TODAY) == PRINTED


@pytest.mark.parametrize(
    "text",
    [
        f"(01){GTIN}(17)241000(10)628S93R",
        f"(01) {GTIN} (10) 628S93R (17) 241000 (21) 889",
        f"01{GTIN}1724100010628S93R",
        f"1724100001{GTIN}10628S93R\r\n",
        f"01{GTIN}21889{GS}1724100010628S93R",
        f"01{GTIN}24012345{GS}7101234567{GS}1724100010628S93R",
        f"01{GTIN}310300012541412345678901231724100010628S93R",
    ],
)
def test_order_brackets_and_other_identifiers_change_nothing(text: str) -> None:
    assert read_vaccine(text, TODAY) == PRINTED


def test_what_the_code_does_not_say_is_not_filled_in() -> None:
    assert read_vaccine(f"01{GTIN}", TODAY) == Scanned(GTIN, "", None)
    assert read_vaccine(f"01{GTIN}17241031", TODAY).lot == ""


@pytest.mark.parametrize(
    ("text", "today", "expires"),
    [
        ("280200", TODAY, date(2028, 2, 29)),
        ("270200", TODAY, date(2027, 2, 28)),
        ("261231", TODAY, date(2026, 12, 31)),
        # General Specifications, 7.12: 51 to 99 more than this year is the century before, ...
        ("761231", TODAY, date(2076, 12, 31)),
        ("771231", TODAY, date(1977, 12, 31)),
        # ... and 50 to 99 less the one after.
        ("000131", date(2049, 1, 1), date(2000, 1, 31)),
        ("000131", date(2050, 1, 1), date(2100, 1, 31)),
    ],
)
def test_the_day_and_the_century_of_an_expiry(text: str, today: date, expires: date) -> None:
    assert read_vaccine(f"01{GTIN}17{text}", today).expires == expires


@pytest.mark.parametrize(
    ("text", "said"),
    [
        (f"01{GTIN[:-1]}2", "product number in this code is damaged"),
        (f"01{GTIN[:-1]}", "cut short after (01)"),
        (f"01{GTIN}172410", "cut short after (17)"),
        (f"01{GTIN}17241332", "cannot be a day"),
        (f"01{GTIN}17240230", "cannot be a day"),
        (f"01{GTIN}17xx1031", "cannot be a day"),
        (f"01{GTIN}10", "after (10) cannot be"),
        (f"01{GTIN}10A B", "after (10) cannot be"),
        (f"01{GTIN}10{'A' * 21}", "at most 20 characters"),
        # A scanner that leaves out separators runs the lot into what follows it.
        (f"01{GTIN}10628S93R172410002188988474", "may leave out separators"),
        (f"01{GTIN}0105060917510028", "twice and not the same"),
        ("1010A1", "names no product"),
        (f"01{GTIN}0412", "could not be read to its end"),
        ("(01)123(10)A", "(01) has 14 characters; found 3"),
        (f"(01){GTIN}(x)A", "Between brackets"),
        ("]d2", "names no product"),
    ],
)
def test_what_cannot_be_is_refused_with_a_sentence(text: str, said: str) -> None:
    with pytest.raises(NotRead) as refused:
        read_vaccine(text, TODAY)
    assert said in str(refused.value)


@given(st.text(max_size=60))
def test_no_text_brings_it_down(text: str) -> None:
    looks_like_gs1(text)
    with suppress(NotRead):
        assert read_vaccine(text, TODAY).gtin


@given(
    st.from_regex(r"[0-9]{13}", fullmatch=True),
    st.from_regex(r"[!%-?A-Z_a-z]{1,20}", fullmatch=True),
    st.dates(date(2000, 1, 1), date(2070, 12, 31)),
    st.permutations([0, 1, 2]),
)
def test_what_is_written_is_read_back(
    digits: str, lot: str, expires: date, order: list[int]
) -> None:
    # The check digit by the definition: the weighted sum of all fourteen is a multiple of ten.
    gtin = next(
        digits + last for last in "0123456789"
        if sum(int(c) * (3, 1)[i % 2] for i, c in enumerate(digits + last)) % 10 == 0
    )  # fmt: skip
    parts = [f"01{gtin}", f"10{lot}{GS}", f"17{expires:%y%m%d}"]
    text = "".join(parts[i] for i in order)
    assert read_vaccine(text, TODAY) == Scanned(gtin, lot, expires)


@pytest.mark.parametrize("text", ["", "P-K7QM-2F49", "S-K7QM-2F49", "004914", "0101", "10ABC"])
def test_a_person_a_sample_or_a_number_is_not_taken_for_one(text: str) -> None:
    assert not looks_like_gs1(text)
