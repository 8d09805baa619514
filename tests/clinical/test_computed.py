"""Facts from facts: the value, the words, and when nothing is computed."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from thimble.clinical.computed import CLEARANCE, CLEARANCE_NEEDS, Computed, compute
from thimble.clinical.vocabulary import VOCABULARY

MAN = {
    "worker_creatinine": 120.0,
    "worker_age": 45.0,
    "worker_weight": 70.0,
    "worker_sex_for_renal_formula": "male",
}
WOMAN = MAN | {
    "worker_creatinine": 80.0,
    "worker_age": 35.0,
    "worker_weight": 62.0,
    "worker_sex_for_renal_formula": "female",
    "worker_pregnancy": "no",
}


@pytest.mark.parametrize(("facts", "clearance"), [(MAN, 68.039), (WOMAN, 84.924)])
def test_clearance_is_computed_from_creatinine_age_weight_and_sex(facts, clearance):
    """Cockcroft and Gault 1976; worked by hand."""
    assert compute(facts).facts == {CLEARANCE: pytest.approx(clearance, abs=5e-4)}


def test_the_words_say_which_formula_weight_and_values():
    words = compute(MAN).explanations[CLEARANCE]

    for part in (
        "68.0 mL/min",
        "Cockcroft–Gault",
        "120 µmol/L",
        "age 45",
        "actual weight 70 kg",
        "male",
    ):
        assert part in words


def test_a_given_clearance_is_never_computed_over():
    found = compute(MAN | {CLEARANCE: 55.0})

    assert found == Computed()


def test_without_a_creatinine_nothing_is_said():
    found = compute({k: v for k, v in MAN.items() if k != "worker_creatinine"})

    assert found == Computed()


@pytest.mark.parametrize("absent", [f for f in CLEARANCE_NEEDS if f != "worker_creatinine"])
def test_a_missing_fact_is_named_and_nothing_is_guessed(absent):
    found = compute({k: v for k, v in MAN.items() if k != absent})

    assert not found.facts
    assert found.missing == {CLEARANCE: (absent,)}
    assert VOCABULARY[absent].question in found.reasons[CLEARANCE]


@pytest.mark.parametrize("person", [MAN, WOMAN])
@pytest.mark.parametrize(("answer", "word"), [("pregnant", "known"), ("possible", "possible")])
def test_pregnancy_known_or_possible_gives_a_reason_and_no_value(person, answer, word):
    found = compute(person | {"worker_pregnancy": answer})

    assert not found.facts
    assert f"pregnancy is {word}" in found.reasons[CLEARANCE]
    assert found.missing == {CLEARANCE: ()}


def test_pregnancy_that_was_not_asked_is_not_a_no():
    found = compute({k: v for k, v in WOMAN.items() if k != "worker_pregnancy"})

    assert not found.facts
    assert found.missing == {CLEARANCE: ("worker_pregnancy",)}


@pytest.mark.parametrize(("age", "computed"), [(17.99, False), (18.0, True), (18.01, True)])
def test_the_formula_starts_at_18_years(age, computed):
    found = compute(MAN | {"worker_age": age})

    assert bool(found.facts) is computed
    assert bool(found.reasons) is not computed


@pytest.mark.parametrize(
    ("age", "kg", "umol", "threshold"),
    [
        (68, 60, 88.4, 60),
        (80, 60, 88.4, 50),
        (80, 72, 176.8, 30),
        # These come to 60.00000000000001, 50.00000000000001 and 30.000000000000004 as computed.
        (68, 72, 106.08, 60),
        (74, 60, 97.24, 50),
        (86, 60, 132.6, 30),
    ],
)
def test_a_value_on_a_threshold_is_handed_on_as_exactly_that(age, kg, umol, threshold):
    """(140 - age) kg / (72 x umol / 88.4) is a whole number in each row."""
    facts = MAN | {"worker_age": age, "worker_weight": kg, "worker_creatinine": umol}

    assert compute(facts).facts == {CLEARANCE: threshold}
    assert compute(facts).explanations[CLEARANCE].startswith(f"{threshold}.0 mL/min")


def test_a_value_just_below_a_threshold_is_not_shown_as_reaching_it():
    found = compute(MAN | {"worker_age": 68, "worker_weight": 59.97, "worker_creatinine": 88.4})

    assert 59.95 < found.facts[CLEARANCE] < 60
    assert found.explanations[CLEARANCE].startswith("59.9 mL/min")


def test_a_value_that_is_not_plausible_is_a_reason_and_no_fact():
    found = compute(MAN | {"worker_creatinine": 10.0, "worker_weight": 150.0})

    assert not found.facts
    assert "not plausible" in found.reasons[CLEARANCE]


def test_a_fact_that_its_definition_refuses_is_refused_here():
    with pytest.raises(ValueError, match="worker_weight lies between 2 and 400 in kg"):
        compute(MAN | {"worker_weight": 0.0})


numbers = {
    "worker_creatinine": st.floats(10, 3000),
    "worker_age": st.floats(14, 100),
    "worker_weight": st.floats(2, 400),
    "worker_sex_for_renal_formula": st.sampled_from(["male", "female"]),
    "worker_pregnancy": st.sampled_from(["pregnant", "possible", "no"]),
}


@given(st.fixed_dictionaries({}, optional=numbers))
def test_there_is_either_a_value_with_words_or_a_reason_or_no_creatinine(facts):
    found = compute(facts)

    assert found.facts.keys() == found.explanations.keys()
    assert found.reasons.keys() == found.missing.keys()
    assert len(found.facts) + len(found.reasons) == ("worker_creatinine" in facts)
    for fact, value in found.facts.items():
        assert VOCABULARY[fact].check(value) == value
        assert facts.get("worker_pregnancy", "no") == "no"
