"""What speaks against a dose at a session: whatever the rules would not count, however it is given."""

from __future__ import annotations

from datetime import date
from typing import Any

import pytest

from people.files import DECLINED, DOSE, ENROLLED, NOW, ONE, RESULT, people, write
from thimble.clinical.durations import Duration
from thimble.people.entries import Kind
from thimble.people.fold import Person, fold
from thimble.people.giving import against, asked_first, dose_number, dose_supposed
from thimble.people.products import find_product
from thimble.people.readiness import Asked
from thimble.people.readiness.supposing import suppose

BORN, TODAY = date(1990, 5, 6), date(2026, 3, 2)
MMR, VARICELLA, TDAP, NASAL = "03", "21", "115", "111"
Draft = tuple[Kind, dict[str, Any]]


def dose(when: str | None, product: str) -> Draft:
    (found,) = find_product(product)
    return Kind.DOSE_RECORDED, {
        **DOSE, "when": when, "product": product, "diseases": list(found.diseases)
    }  # fmt: skip


def declined(disease: str) -> Draft:
    return Kind.DECLINED, {**DECLINED, "what": "vaccine", "disease": disease, "on": "2026-02-28"}


def of(*drafts: Draft) -> Person:
    store = people()
    write(store, (Kind.ENROLLED, ENROLLED), *drafts)
    return fold(store.entries(ONE), NOW)


def said(person: Person, product: str, by: str = "us") -> str:
    (found,) = find_product(product)
    return " ".join(each.words for each in against(person, BORN, found, TODAY, by))


def test_nothing_speaks_against_a_first_dose() -> None:
    assert said(of(), MMR) == ""
    assert said(of(), VARICELLA) == ""


@pytest.mark.parametrize(
    ("product", "by", "asks"),
    [
        ("03", "us", True), ("94", "us", True), ("05", "us", True), ("21", "us", True),
        ("111", "us", True), ("03", "uk", True), ("21", "uk", True), ("43", "us", False),
        ("187", "us", False), ("88", "us", False),
        # An immunoglobulin against chickenpox is no vaccine.
        ("36", "us", False),
    ],
)  # fmt: skip
def test_before_a_live_vaccine_it_is_asked(product: str, by: str, asks: bool) -> None:
    (found,) = find_product(product)
    assert (asked_first(found, by) is not None) is asks
    for answer in ("", "no"):
        assert not any(a.physician for a in against(of(), BORN, found, TODAY, by, asked=answer))
    for answer in ("yes", "not_known"):
        told = against(of(), BORN, found, TODAY, by, asked=answer)
        assert [a.physician for a in told[:1]] == ([True] if asks else [False] * len(told[:1]))


def test_immunoglobulin_of_the_day_is_no_dose_and_is_given_beside_the_vaccine() -> None:
    serum = of(dose("2026-03-02", "30"))
    assert "on record for today already" not in said(serum, "43")
    assert "on record for today already" in said(of(dose("2026-03-02", "43")), "45")
    declined_first = of(declined("hepatitis_b"), dose("2026-03-01", "30"))
    assert "was declined on Sat 28 Feb 2026" in said(declined_first, "43")
    (vaccine,) = find_product("43")
    assert (
        dose_number(serum, None, vaccine, TODAY, "us") == "First dose on file against hepatitis B"
    )


@pytest.mark.parametrize("when", ["2026-02-27", "2026-02-28"])
def test_a_dose_on_the_day_of_the_refusal_or_later_ends_it(when: str) -> None:
    ended = "was declined" not in said(of(declined("measles"), dose(when, MMR)), MMR)
    assert ended is (when == "2026-02-28")


@pytest.mark.parametrize(
    ("until", "stands"), [("2026-03-01", False), ("2026-03-02", True), ("2026-03", True)]
)
def test_a_contraindication_stands_to_the_end_of_its_last_day(until: str, stands: bool) -> None:
    body = {"disease": "measles", "on": "2026-01-01", "reason": "pregnancy", "until": until}
    told = said(of((Kind.CONTRAINDICATED, body)), MMR)
    assert ("Contraindication on file" in told) is stands


@pytest.mark.parametrize(("second", "early"), [("2026-02-02", False), ("2026-02-03", True)])
def test_hepatitis_b_vaccine_counts_from_its_day_on(second: str, early: bool) -> None:
    """Four weeks after the dose before; the four days of allowance are no plan."""
    assert ("Too early against hepatitis B" in said(of(dose(second, "43")), "43")) is early


@pytest.mark.parametrize("by", ["us", "uk"])
@pytest.mark.parametrize(("before", "early"), [("2026-02-03", True), ("2026-02-02", False)])
def test_whoever_declined_and_agrees_after_all_is_not_given_it_too_early(
    before: str, early: bool, by: str
) -> None:
    """28 days between two doses against measles, and between different live vaccines."""
    own = of(dose(before, MMR), declined("measles"), declined("mumps"), declined("rubella"))
    other = of(dose(before, MMR), declined("varicella"))
    assert ("27 days after the dose before it" in said(own, MMR, by)) is early
    assert ("within 28 days after another live vaccine" in said(other, VARICELLA, by)) is early


def test_a_combined_vaccine_is_stopped_only_once_none_of_its_parts_is_due() -> None:
    """One dose is enough against rubella, two are wanted against measles and mumps."""
    once, twice = of(dose("2015-03-04", MMR)), of(dose("2015-03-04", MMR), dose("2016-03-04", MMR))
    assert said(once, MMR) == ""
    assert said(twice, MMR).count("By the rules no dose against") == 3


def test_a_dose_without_a_day_hides_no_dose_that_lies_too_close() -> None:
    known = of(dose("2026-02-20", MMR), dose(None, MMR))
    assert "would not count today: it was given 10 days after" in said(known, MMR)


def test_a_live_vaccine_against_influenza_waits_for_the_other_live_one() -> None:
    assert "another live vaccine" in said(of(dose("2026-02-20", MMR)), NASAL)
    assert "another live vaccine" not in said(of(dose("2026-02-20", MMR)), "88")


def test_another_product_than_the_one_asked_for_is_told() -> None:
    assert "is of another product" in said(of(), "110")
    assert said(of(), TDAP) == ""


def test_a_dose_that_is_supposed_writes_nothing() -> None:
    person = of()
    (product,) = find_product(MMR)
    then = dose_supposed(person, product, TODAY)
    assert (len(then.evidence), len(person.evidence)) == (1, 0)
    assert then.evidence[0].entry > person.entries


@pytest.mark.parametrize(
    ("product", "day", "ready"),
    [
        (MMR, date(2026, 3, 2), date(2026, 4, 27)),
        (MMR, date(2026, 3, 10), date(2026, 5, 5)),
        (TDAP, date(2026, 3, 10), date(2026, 3, 30)),
    ],
)
def test_a_supposed_live_vaccine_delays_another_live_one_and_nothing_else_does(
    product: str, day: date, ready: date
) -> None:
    """Varicella: from 28 days after the MMR, and its second dose 28 days later."""
    (found,) = find_product(product)
    asked = Asked(("varicella",), "us", Duration(3, "days"))
    person = of(declined("measles"), (Kind.RESULT_RECORDED, {
        **RESULT, "test": "varicella_igg", "word": "negative", "number": None, "when": "2026-02-01",
    }))  # fmt: skip
    supposed = suppose(person, BORN, TODAY, asked, found, day)
    assert supposed.after.ready_on == ready
    assert supposed.before.ready_on == date(2026, 3, 30)


@pytest.mark.parametrize(
    ("serum", "when", "waits"),
    [
        # ACIP's table as two handbooks print it: HBIG and tetanus immunoglobulin 3 months, varicella 5.
        ("30", "2025-12-03", True), ("30", "2025-12-02", False),
        ("13", "2025-12-03", True), ("13", "2025-12-02", False),
        ("36", "2025-10-03", True), ("36", "2025-10-02", False),
        # Of a month or a year the last day that it can be.
        ("30", "2025-12", True), ("30", "2025-11", False), ("30", "2025", True), ("30", "2024", False),
        ("30", None, True),
    ],
)  # fmt: skip
def test_a_live_vaccine_waits_after_immunoglobulin(
    serum: str, when: str | None, *, waits: bool
) -> None:
    person = of(dose(when, serum))

    for live in (MMR, VARICELLA, "94", "05"):
        assert (
            "may not take before" in said(person, live) or "waits" in said(person, live)
        ) is waits
    for other in (TDAP, NASAL, "43", "06"):
        found = said(person, other)
        assert "may not take" not in found
        assert "waits" not in found


def test_the_wait_names_the_day_and_what_was_given() -> None:
    assert (
        "Hepatitis B immunoglobulin was given (2026-02-20): a dose against measles may not take before "
        "Wed 20 May 2026, 3 months after it" in said(of(dose("2026-02-20", "30")), MMR)
    )
