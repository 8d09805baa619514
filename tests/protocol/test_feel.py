"""The FEEL subset that input cells are written in.

Semantics: OMG, Decision Model and Notation 1.5, clause 7.3.6 (unary tests) and clause 10.3.2 (ranges:
`(a..b)`, `]a..b[` open, `[a..b]` closed, and their mixtures). Published cases: `test_dmn.py`.
"""

from __future__ import annotations

from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from thimble.protocol.feel import FeelError, parse_codes, parse_numbers

CODES = ("a", "b", "c", "d_1")


def accepted_codes(cell: str) -> set[str]:
    test = parse_codes(cell, CODES)
    return {code for code in CODES if test.accepts_code(code)}


@pytest.mark.parametrize(
    ("cell", "accepted"),
    [
        ("-", {"a", "b", "c", "d_1"}),
        (" - ", {"a", "b", "c", "d_1"}),
        ("a", {"a"}),
        ('"a"', {"a"}),
        ("a, b", {"a", "b"}),
        ('a,"d_1"', {"a", "d_1"}),
        ("not(a)", {"b", "c", "d_1"}),
        ("not (a, b)", {"c", "d_1"}),
        ('not("a","b","c")', {"d_1"}),
        ("not(a, b, c, d_1)", set()),
    ],
)
def test_codes(cell: str, accepted: set[str]) -> None:
    assert accepted_codes(cell) == accepted


# Each threshold just below, on and just above.
@pytest.mark.parametrize(
    ("cell", "inside", "outside"),
    [
        ("-", "-1000 0 1000", ""),
        ("5", "5", "4.999 5.001"),
        ("-5", "-5", "5 -4.999 -5.001"),
        ("2.50", "2.5", "2.499 2.501 25"),
        (".5", "0.5", "0.499 0.501 5"),
        ("< 10", "9.999 -3", "10 10.001"),
        ("<10", "9.999", "10 10.001"),
        ("<= 10", "9.999 10", "10.001"),
        ("> 10", "10.001", "10 9.999"),
        (">= 10", "10 10.001", "9.999"),
        ("[10..20]", "10 10.001 15 19.999 20", "9.999 20.001"),
        ("(10..20]", "10.001 19.999 20", "9.999 10 20.001"),
        ("[10..20)", "10 10.001 19.999", "9.999 20 20.001"),
        ("(10..20)", "10.001 19.999", "9.999 10 20 20.001"),
        ("]10..20]", "10.001 19.999 20", "9.999 10 20.001"),
        ("[10..20[", "10 10.001 19.999", "9.999 20 20.001"),
        ("]10..20[", "10.001 19.999", "9.999 10 20 20.001"),
        ("]10..20)", "10.001 19.999", "9.999 10 20 20.001"),
        ("(10..20[", "10.001 19.999", "9.999 10 20 20.001"),
        ("[ 10 .. 20 ]", "10 20", "9.999 20.001"),
        ("[7..7]", "7", "6.999 7.001"),
        ("[-2..-1]", "-2 -1.5 -1", "-2.001 -0.999 1.5"),
        ("< 5, > 10", "4.999 10.001", "5 7 10"),
        ("1, 3, [5..6)", "1 3 5 5.999", "2 4 6"),
        ("not(5)", "4.999 5.001", "5"),
        ("not(< 5, [10..20))", "5 9.999 20", "4.999 10 19.999"),
    ],
)
def test_numbers(cell: str, inside: str, outside: str) -> None:
    test = parse_numbers(cell, "")
    assert [n for n in inside.split() if not test.accepts_number(Decimal(n))] == []
    assert [n for n in outside.split() if test.accepts_number(Decimal(n))] == []


@pytest.mark.parametrize(
    "cell",
    ["<= 72 h", "<=72h", "<= 72", "[0..72] h", "(0..72]h, 0", "not(> 72 h)", "0 h, (0 .. 72] h"],
)
def test_the_unit_may_stand_or_be_left_out(cell: str) -> None:
    test = parse_numbers(cell, "h")
    accepted = [n for n in ("0", "71.999", "72", "72.001") if test.accepts_number(Decimal(n))]
    assert accepted == ["0", "71.999", "72"]


def test_a_unit_with_a_slash() -> None:
    assert parse_numbers("[10..100) mIU/mL", "mIU/mL").accepts_number(Decimal(10))


@pytest.mark.parametrize(
    ("cell", "words"),
    [
        ("e", "the value 'e' is not known; allowed are a, b, c, d_1"),
        ("A", "the value 'A' is not known; allowed are a, b, c, d_1"),
        ("not(e)", "the value 'e' is not known"),
        ("a b", "'a b' is not a value; write one of a, b, c, d_1"),
        ("a; b", "'a; b' is not a value"),
        ("< a", "'< a' is not a value"),
        ("a, a", "the value 'a' is listed twice; list it once"),
        ("a,", "a value is missing beside a comma"),
        (",a", "a value is missing beside a comma"),
        ("a,,b", "a value is missing beside a comma"),
        ("", "a value is missing"),
        ("not()", "a value is missing"),
        ("not(-)", "not(-) can never hold"),
        ("a, -", "'-' is not a value"),
        ("not(a", "is not a value"),
        ("not(not(a))", "is not a value"),
        ('"a', "is not a value"),
        ("null", "the value 'null' is not known"),
    ],
)
def test_bad_codes(cell: str, words: str) -> None:
    with pytest.raises(FeelError) as refused:
        parse_codes(cell, CODES)
    assert words in str(refused.value)


@pytest.mark.parametrize(
    ("cell", "words"),
    [
        ("ten", "'ten' is not a test of a number; write for example <= 72 h"),
        ("= 5", "'= 5' is not a test of a number"),
        ("!= 5", "'!= 5' is not a test of a number"),
        ("=< 5", "is not a test of a number"),
        ("+5", "is not a test of a number"),
        ("<", "is not a test of a number"),
        ("<= 72 min", "'min' in '<= 72 min' is not understood; the unit is h"),
        ("<= 3 days", "the unit is h"),
        ("[1..2] min", "'min' in '[1..2] min' is not understood; the unit is h"),
        ("5..6", "is not understood"),
        ("[5..6", "is not a test of a number"),
        ("5..6]", "is not understood"),
        ("[6..5]", "the range '[6..5]' is empty; write the smaller number first"),
        ("(5..5]", "the range '(5..5]' is empty"),
        ("]5..5[", "is empty"),
        ("1e3", "is not understood"),
        ("1,5", None),  # a list of two numbers, as FEEL has it, never one and a half
        ("1.", "is not understood"),
        ("٣", "is not a test of a number"),
        ("nan", "is not a test of a number"),
        ("5, -", "'-' is not a test of a number"),
        ("not(-)", "not(-) can never hold"),
        ("< 5,", "a value is missing beside a comma"),
        ("", "a value is missing"),
        ("< 5 and > 2", "is not understood"),
    ],
)
def test_bad_numbers(cell: str, words: str | None) -> None:
    if words is None:
        test = parse_numbers(cell, "h")
        assert not test.accepts_number(Decimal("1.5"))
        return
    with pytest.raises(FeelError) as refused:
        parse_numbers(cell, "h")
    assert words in str(refused.value)


def test_a_fact_without_unit_says_so() -> None:
    with pytest.raises(FeelError, match="this fact has no unit"):
        parse_numbers("< 5 kg", "")


@given(
    low=st.decimals(-100, 100, places=2),
    width=st.decimals("0.01", 50, places=2),
    number=st.decimals(-200, 200, places=3),
    opening=st.sampled_from("[(]"),
    closing=st.sampled_from("])["),
)
def test_a_range_is_the_conjunction_of_its_ends(
    low: Decimal, width: Decimal, number: Decimal, opening: str, closing: str
) -> None:
    high = low + width
    test = parse_numbers(f"{opening}{low}..{high}{closing}", "")
    for n in (number, low, high):
        above = n >= low if opening == "[" else n > low
        below = n <= high if closing == "]" else n < high
        assert test.accepts_number(n) == (above and below)
        assert parse_numbers(f"not({opening}{low}..{high}{closing})", "").accepts_number(n) != (
            above and below
        )
