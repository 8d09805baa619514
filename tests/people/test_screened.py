"""Screening before exposure-prone procedures: the worked examples, then what a refusal may never say."""

from __future__ import annotations

from datetime import date, timedelta
from itertools import product
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from people.files import ENROLLED, NOW, ONE, RESULT, people, write
from thimble.clinical.fitness.vocabulary import vocabulary as of_fitness
from thimble.clinical.library import protocol
from thimble.clinical.screening import INFECTIONS, Result, Screening, screen
from thimble.clinical.screening.vocabulary import vocabulary
from thimble.people.entries import Kind
from thimble.people.fold import fold
from thimble.people.screened import screened
from thimble.protocol import check_protocol

ON = date(2026, 3, 2)
VALID = {"identified": "yes", "drawn_here": "yes", "direct": "yes"}
Draft = tuple[Kind, dict[str, Any]]


def result(test: str, word: str | None = "negative", **more: Any) -> Draft:
    body = {"number": None, "comparator": "=", "unit": "", "sample": VALID, "when": "2026-02-10"}
    return Kind.RESULT_RECORDED, {**RESULT, **body, "test": test, "word": word, **more}


def refused(disease: str, on: str = "2026-02-20") -> Draft:
    return Kind.DECLINED, {
        "what": "test", "disease": disease, "on": on, "informed": True, "signed": "on_paper",
        "reason": "",
    }  # fmt: skip


def of(*drafts: Draft, by: str = "uk_2023", prone: str = "yes") -> Screening:
    store = people()
    write(store, (Kind.ENROLLED, {**ENROLLED, "exposure_prone": prone}), *drafts)
    found = screened(fold(store.entries(ONE), NOW), ON, by)
    assert found is not None
    return found


def parts(found: Screening) -> list[tuple[str, str]]:
    return [(each.says, each.test) for each in found.infections]


ALL_THREE = (result("hbsag"), result("anti_hcv"), result("hiv_ag_ab"))


def test_the_tables_are_proved_and_their_cases_come_out() -> None:
    assert check_protocol(protocol("screening")) == ()
    rule_set = vocabulary()["rule_set"]
    assert dict(rule_set.labels) == dict(of_fitness()["rule_set"].labels)


def test_a_nurse_without_exposure_prone_work_who_declined_two_tests_is_not_held_up() -> None:
    found = of(refused("hepatitis_c"), refused("hiv"), prone="no")
    assert found.clearance == "not_needed"
    assert parts(found) == [("not_asked", "offer"), ("not_asked", "none"), ("not_asked", "none")]


def test_a_trainee_with_three_negative_validated_samples_may_be_cleared() -> None:
    """A non-responder without infection: clearance does not wait for a titre."""
    found = of(*ALL_THREE, result("anti_hbs", None, number=4, unit="m[IU]/mL"))
    assert found.clearance == "propose"
    assert not found.confirmed


@pytest.mark.parametrize("check", list(VALID))
@pytest.mark.parametrize("said", ["no", "not_known"])
def test_a_sample_that_misses_one_check_does_not_clear(check: str, said: str) -> None:
    scanned = result("hbsag", sample={**VALID, check: said})
    found = of(scanned, *ALL_THREE[1:])
    assert (found.clearance, parts(found)[0]) == ("pending", ("missing", "validated_test"))


def test_antibody_to_hepatitis_c_waits_for_rna_and_then_for_the_physician() -> None:
    positive = (ALL_THREE[0], result("anti_hcv", "positive"), ALL_THREE[2])
    assert parts(of(*positive))[1] == ("missing", "load")
    assert parts(of(*positive, result("hcv_rna")))[1] == ("physician", "refer")
    found = of(*positive, result("hcv_rna", "positive"))
    assert (found.clearance, parts(found)[1]) == ("physician", ("physician", "refer"))


def test_hbsag_without_dna_asks_for_dna_and_any_number_of_it_for_the_physician() -> None:
    positive = (result("hbsag", "positive"), *ALL_THREE[1:])
    assert parts(of(*positive))[0] == ("missing", "load")
    for sign, number in (("<", 20), ("=", 150)):
        dna = result("hbv_dna", None, number=number, comparator=sign, unit="[IU]/mL")
        assert parts(of(*positive, dna))[0] == ("physician", "refer")


def test_a_validated_sample_of_another_result_does_not_validate_the_negative_one() -> None:
    before = result("hbsag", "indeterminate", when="2026-02-09")
    both = before, result("hbsag", sample={**VALID, "direct": "no"})
    assert parts(of(*both))[0] == ("missing", "validated_test")


@pytest.mark.parametrize("word", ["indeterminate", None])
@pytest.mark.parametrize(
    ("when", "says"),
    [
        ("2026-02-09", ("shown", "none")),
        ("2026-02-10", ("missing", "repeat")),
        ("2026-02", ("missing", "repeat")),
        ("2026-02-20", ("missing", "repeat")),
        (None, ("missing", "repeat")),
    ],
)
def test_only_a_later_negative_settles_a_result_that_says_neither(
    word: str | None, when: str | None, says: tuple[str, str]
) -> None:
    """Antigen and antibody may be unclear in early infection: the negative sample before shows nothing."""
    number = None if word else 0.4
    found = of(*ALL_THREE, result("hiv_ag_ab", word, when=when, number=number))
    assert parts(found)[2] == says
    assert found.clearance == ("propose" if says[0] == "shown" else "pending")


def test_a_negative_result_without_a_day_counts_for_nothing_and_a_positive_one_is_not_lost() -> (
    None
):
    assert parts(of(result("hbsag", when=None)))[0] == ("missing", "first_test")
    assert parts(of(result("hbsag", "positive", when=None)))[0] == ("missing", "load")
    found = of(*ALL_THREE, result("hbsag", "positive", when=None))
    assert (found.clearance, parts(found)[0]) == ("physician", ("physician", "refer"))


def test_a_result_without_its_day_is_no_later_than_the_day_on_which_it_was_written_down() -> None:
    """A new sample after that day settles it: nobody is left with a test that can never be shown."""
    unclear = result("hbsag", "indeterminate", when=None), *ALL_THREE[1:]
    store = people()
    again = result("hbsag", when="2026-03-09")
    write(store, (Kind.ENROLLED, {**ENROLLED, "exposure_prone": "yes"}), *unclear)
    write(store, again, at=NOW + timedelta(days=9))
    person = fold(store.entries(ONE), NOW + timedelta(days=10))
    found = screened(person, date(2026, 3, 12), "uk_2023")
    assert found is not None
    assert found.clearance == "propose"


def past(disease: str, basis: str, when: str | None = "2015") -> Draft:
    body = {"disease": disease, "basis": basis, "when": when, "text": ""}
    return Kind.HISTORY_RECORDED, body


@pytest.mark.parametrize("when", [None, "2015"])
@pytest.mark.parametrize("basis", ["laboratory", "clinician"])
def test_a_documented_infection_is_hidden_by_no_negative_test(basis: str, when: str | None) -> None:
    """Its antibody stays: a negative test does not fit to it, and a physician looks."""
    for disease, place in (("hepatitis_c", 1), ("hiv", 2)):
        found = of(*ALL_THREE, past(disease, basis, when))
        assert (found.clearance, parts(found)[place]) == ("physician", ("physician", "refer"))
    assert parts(of(past("hepatitis_c", basis, when)))[1] == ("missing", "load")
    assert parts(of(past("hiv", basis, when)))[2] == ("physician", "refer")


def test_neither_a_told_infection_nor_a_past_hepatitis_b_holds_up_who_was_tested() -> None:
    told = past("hepatitis_c", "person"), past("hiv", "person"), past("hepatitis_b", "laboratory")
    assert of(*ALL_THREE, *told).clearance == "propose"


def test_a_test_after_a_refusal_ends_it() -> None:
    assert parts(of(refused("hiv", "2026-02-01"), *ALL_THREE))[2] == ("shown", "none")
    elsewhere = result("hiv_ag_ab", sample={**VALID, "direct": "no"})
    assert parts(of(refused("hiv", "2026-02-01"), elsewhere))[2] == ("missing", "validated_test")
    again = of(result("hiv_ag_ab", sample={**VALID, "direct": "no"}), refused("hiv", "2026-02-20"))
    assert parts(again)[2] == ("refused", "offer_again")


def test_virus_that_was_found_is_hidden_neither_by_a_negative_nor_by_a_sign() -> None:
    """Beside three negative first tests: whatever says that virus was there is for the physician."""
    found = of(*ALL_THREE, result("hcv_rna"), result("hcv_rna", "positive", when="2026-02-11"))
    assert (found.clearance, parts(found)[1]) == ("physician", ("physician", "refer"))
    for sign, clearance in (("=", "physician"), (">", "physician"), ("<", "propose")):
        dna = result("hbv_dna", None, number=150, comparator=sign, unit="[IU]/mL")
        assert of(*ALL_THREE, dna).clearance == clearance


def test_a_negative_known_to_the_month_settles_nothing_of_that_month() -> None:
    unclear = result("hiv_ag_ab", "indeterminate", when="2026-02-15")
    month = result("hiv_ag_ab", when="2026-02")
    assert parts(of(*ALL_THREE[:2], unclear, month))[2] == ("missing", "repeat")
    later = result("hiv_ag_ab", when="2026-02-16")
    assert parts(of(*ALL_THREE[:2], unclear, later))[2] == ("shown", "none")


@pytest.mark.parametrize(
    ("tested", "says"),
    [
        ("2026-02-19", ("refused", "offer_again")),
        ("2026-02-20", ("refused", "offer_again")),
        ("2026-02-21", ("missing", "validated_test")),
        ("2026-02", ("missing", "validated_test")),
    ],
)
def test_a_refusal_stands_unless_a_test_may_have_followed_it(
    tested: str, says: tuple[str, str]
) -> None:
    elsewhere = result("hiv_ag_ab", sample={**VALID, "direct": "no"}, when=tested)
    assert parts(of(refused("hiv"), elsewhere))[2] == says


def test_neither_the_united_states_nor_ireland_borrow_the_kingdoms_conditions() -> None:
    assert of(by="us_shea_2020").clearance == "no_condition"
    assert of(result("hbsag", "positive"), by="us_cdc_2012").clearance == "physician"
    irish = of(by="ireland_2005")
    assert [each.says for each in irish.infections] == ["missing", "not_asked", "not_asked"]
    assert of(result("hbsag"), by="ireland_2005").infections[0].says == "shown"


def test_no_rule_set_no_answer_and_a_wrong_one_is_refused() -> None:
    store = people()
    write(store, (Kind.ENROLLED, ENROLLED))
    assert screened(fold(store.entries(ONE), NOW), ON, "") is None
    with pytest.raises(ValueError, match="uk_2023"):
        screen("uk", "yes", (), frozenset())


RESULTS = st.lists(
    st.builds(
        Result,
        st.sampled_from(["hbsag", "hbv_dna", "anti_hcv", "hcv_rna", "hiv_ag_ab", "hiv_rna"]),
        st.sampled_from(["positive", "negative", "indeterminate", None]),
        st.booleans(),
        st.booleans(),
        st.integers(1, 9).map(lambda day: (day, day + day % 3)),
    ),
    max_size=5,
)


FIRST_TESTS = ("hbsag", "anti_hcv", "hiv_ag_ab")
SHOWN = [Result(test, "negative", False, True, (5, 5)) for test in FIRST_TESTS]


@settings(max_examples=150, deadline=None)
@given(st.sets(st.sampled_from(SHOWN), min_size=2), RESULTS)
def test_clearance_under_the_kingdoms_rules_needs_three_validated_negatives(shown, more) -> None:
    """Three that show it, or two, and whatever else is on file; refusals are left out."""
    results = [*shown, *more]
    found = screen("uk_2023", "yes", results, frozenset())
    proposed = True
    for test, virus in INFECTIONS.values():
        mine = [r for r in results if r.test == test]
        negative = [r for r in mine if r.word == "negative"]
        last = max((r.days[0] for r in negative), default=0)
        unclear = [r for r in mine if r.word != "negative" and r.days[1] >= last]
        there = [r for r in results if r.test == virus and r.word != "negative"]
        there = [r for r in there if r.word is not None or not r.below]
        positive = any(r.word == "positive" for r in mine)
        proposed &= any(r.validated for r in negative) and not (positive or unclear or there)
    assert (found.clearance == "propose") is proposed


@given(RESULTS, st.sampled_from(vocabulary()["rule_set"].values))
@settings(max_examples=100, deadline=None)
def test_a_refusal_makes_nobody_a_case_for_the_physician(results, rule_set) -> None:
    """Refusing may hold up clearance; it never moves an infection to what a found virus comes to."""
    for prone, declined in product(("yes", "no"), ("hepatitis_b", "hepatitis_c", "hiv")):
        without = screen(rule_set, prone, results, frozenset())
        refusing = screen(rule_set, prone, results, frozenset({declined}))
        for before, after in zip(without.infections, refusing.infections, strict=True):
            assert (after.says == "physician") == (before.says == "physician")
