"""The vocabulary: the contract that files, exports and the command line share, and its words."""

import pytest

from thimble.clinical.vocabulary import VOCABULARY, parse_vocabulary, vocabulary

YNU = "yes no unknown"
CODES = {
    "route": "percutaneous mucous_membrane non_intact_skin intact_skin human_bite",
    "fluid": "blood bloody_fluid cerebrospinal synovial pleural peritoneal pericardial amniotic semen "
    "vaginal_secretion breast_milk tissue laboratory_concentrate saliva urine faeces vomit sputum "
    "nasal_secretion sweat tears unknown",
    "device": "hollow_bore_needle solid_needle blade glass other_sharp none",
    "depth": "superficial moderate deep unknown",
    "visible_blood_on_device": YNU,
    "device_was_in_vessel": YNU,
    "gloves": "none single double unknown",
    "wound_contaminated": "yes no",
    "splash_site": "eye mouth nose other",
    "contact_lens": "yes no",
    "source_touched_again": YNU,
    "source_access": "testable refuses cannot_be_tested unidentified",
    "source_hiv": "positive negative unknown",
    "source_hiv_load": "detectable suppressed unknown",
    "source_hiv_acute_illness": "suspected no unknown",
    "source_hiv_likelihood": "raised ordinary unknown",
    "source_hiv_resistance": "suspected no unknown",
    "source_hbsag": "positive negative unknown",
    "source_hbv_likelihood": "raised ordinary unknown",
    "source_hcv_rna": "positive negative not_tested",
    "source_anti_hcv": "positive negative not_tested",
    "source_hcv_recent_risk": YNU,
    "worker_hiv": "negative positive unknown",
    "worker_on_prep": "yes no",
    "worker_hbv_infection": "none_known current resolved isolated_core",
    "worker_hbv_series": "none incomplete one_complete two_complete refused",
    "worker_hbv_response": "responder non_responder not_known",
    "worker_hbv_last_dose_over_1_year": "yes no",
    "worker_exposure_continues": "yes no",
    "worker_anti_hcv": "positive negative unknown",
    "worker_pregnancy": "pregnant possible no",
    "worker_breastfeeding": "yes no",
    "worker_kidney_disease": YNU,
    "worker_weak_immunity_or_liver_disease": YNU,
    "worker_hepatitis_suspected": YNU,
    "worker_tetanus_doses": "three_or_more fewer unknown",
    "worker_sex_for_renal_formula": "male female",
}
SETS = {
    "worker_medicines": "aluminium_magnesium calcium_iron metformin rifampicin enzyme_inducer "
    "dofetilide inhaled_or_injected_steroid other",
}
NUMBERS = {
    "hours_since_exposure": ("h", 0, 26280),
    "worker_anti_hbs_now": ("mIU/mL", 0, 1_000_000),
    "worker_creatinine_clearance": ("mL/min", 0, 300),
    "worker_creatinine": ("umol/L", 10, 3000),
    "worker_age": ("years", 14, 100),
    "worker_weight": ("kg", 2, 400),
    "worker_years_since_tetanus_dose": ("years", 0, 100),
}


def test_the_facts_are_those_of_the_contract_and_no_other():
    assert set(VOCABULARY) == set(CODES) | set(SETS) | set(NUMBERS)


@pytest.mark.parametrize("fact", CODES)
def test_a_code_has_the_values_of_the_contract(fact):
    assert (VOCABULARY[fact].kind, VOCABULARY[fact].values) == ("code", tuple(CODES[fact].split()))


@pytest.mark.parametrize("fact", SETS)
def test_a_set_has_the_members_of_the_contract(fact):
    assert (VOCABULARY[fact].kind, VOCABULARY[fact].values) == ("set", tuple(SETS[fact].split()))


@pytest.mark.parametrize("fact", NUMBERS)
def test_a_number_has_its_unit_and_a_plausible_range_with_both_ends(fact):
    found = VOCABULARY[fact]
    unit, low, high = NUMBERS[fact]

    assert (found.kind, found.unit, found.low, found.high) == ("number", unit, low, high)
    assert (found.check(low), found.check(high)) == (low, high)
    for beyond in (low - 0.001, high + 0.001, float("nan"), float("inf")):
        with pytest.raises(ValueError, match=fact):
            found.check(beyond)


@pytest.mark.parametrize("fact", VOCABULARY.values(), ids=list(VOCABULARY))
def test_each_fact_is_asked_in_a_question_and_answered_in_a_tap(fact):
    assert fact.question.endswith("?")
    assert set(fact.labels) == set(fact.values)
    assert len(set(fact.labels.values())) == len(fact.values), "two answers that look the same"
    assert all(len(label) <= 45 and "_" not in label for label in fact.labels.values())
    assert not fact.help or (fact.help.endswith(".") and fact.help.count(". ") == 0)


@pytest.mark.parametrize("fact", VOCABULARY.values(), ids=list(VOCABULARY))
def test_a_fact_is_about_whom_its_id_says(fact):
    start = fact.id.split("_")[0]

    assert fact.about == (start if start in ("source", "worker") else "exposure")


@pytest.mark.parametrize("fact", [f for f in VOCABULARY.values() if "unknown" in f.values])
def test_unknown_reads_as_an_answer_and_stands_last(fact):
    assert fact.values[-1] == "unknown"
    assert fact.labels["unknown"] in ("Cannot be known", "Cannot be judged", "Not known")


def test_facts_of_source_and_worker_are_never_plain():
    plain = {f.about for f in VOCABULARY.values() if f.sensitivity == "plain"}

    assert plain == {"exposure"}


def test_the_worker_is_never_asked_for_a_result_of_the_source():
    assert [
        f.id for f in VOCABULARY.values() if f.about == "source" and "worker" in f.answered_by
    ] == ["source_access"]


def test_the_vocabulary_is_read_once():
    assert vocabulary() is vocabulary() is VOCABULARY


GOOD = """
[a]
kind = "code"
question = "A?"
about = "worker"
answered_by = ["worker"]
sensitivity = "plain"
values = { yes = "Yes", no = "No" }

[n]
kind = "number"
unit = "h"
low = 0
high = 10
question = "N?"
about = "worker"
answered_by = ["worker"]
sensitivity = "plain"
"""


def test_a_good_file_keeps_its_order():
    found = parse_vocabulary(GOOD, "x.toml")

    assert list(found) == ["a", "n"]
    assert (found["a"].values, found["n"].high) == (("yes", "no"), 10.0)


@pytest.mark.parametrize(
    ("was", "becomes", "sentence"),
    [
        (
            'kind = "code"',
            'kind = "choice"',
            r"\[a\] kind is one of code, number, set; found 'choice'",
        ),
        ('kind = "code"\n', "", r"\[a\] kind is one of"),
        ('question = "A?"\n', "", r"\[a\] question is missing"),
        ('question = "A?"', 'question = " "', r"\[a\] question is a text that is not empty"),
        (
            'question = "A?"',
            'question = "A?"\nhint = "x"',
            r"\[a\] hint is not a key of a code fact",
        ),
        (
            'question = "A?"',
            'question = "A?"\nunit = "h"',
            r"\[a\] unit is not a key of a code fact",
        ),
        ('about = "worker"', 'about = "visitor"', r"about is one of exposure, source, worker"),
        ('"worker"]', '"nurse"]', r"answered_by is a list of any of worker, .* found \['nurse'\]"),
        ('["worker"]', "[]", r"answered_by is a list of any of .* found \[\]"),
        ('"plain"', '"secret"', r"sensitivity is one of identifying, clinical, plain"),
        ('no = "No"', 'no = ""', r"values\.no is a label that is not empty"),
        (', no = "No"', "", r"values maps two codes or more"),
        ("low = 0", 'low = "0"', r"\[n\] low is a number; found '0'"),
        ("low = 0", "low = true", r"\[n\] low is a number; found True"),
        ("low = 0", "low = 10", r"\[n\] low lies below high; found 10 and 10"),
        ("high = 10\n", "", r"\[n\] high is missing"),
        ("[a]", "b = 1\n[a]", r"x\.toml: b is a table"),
        ("[a]", "[a", r"x\.toml is not TOML"),
    ],
)
def test_a_fault_is_told_with_fact_key_and_what_is_allowed(was, becomes, sentence):
    assert was in GOOD

    with pytest.raises(ValueError, match=sentence):
        parse_vocabulary(GOOD.replace(was, becomes, 1), "x.toml")


def test_all_faults_are_told_at_once():
    bad = GOOD.replace('"A?"', '""').replace("low = 0", "low = 99")

    with pytest.raises(ValueError, match=r"(?s)\[a\] question.*\[n\] low"):
        parse_vocabulary(bad, "x.toml")
