"""From results to facts, readings and the printed statement: worked examples, then what never happens."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, datetime, timedelta
from itertools import product
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from thimble.clinical.serology import (
    Analyte,
    Course,
    Quantity,
    Result,
    Status,
    Word,
    negative_at_exposure,
    read_follow_up,
    read_source,
    read_worker_baseline,
    vocabulary,
)
from thimble.clinical.vocabulary import VOCABULARY

ZONE = ZoneInfo("Europe/Zurich")
EXPOSED = datetime(2026, 3, 2, 10, tzinfo=ZONE)
NOW = datetime(2027, 6, 30, 12, tzinfo=ZONE)
COURSE = Course(
    ZONE,
    EXPOSED,
    vaccine_doses=(),
    immunoglobulin=(),
    weak_immunity_or_liver_disease=False,
    hepatitis_suspected=False,
    source_excludes_hcv=False,
)
HOUR, DAY = timedelta(hours=1), timedelta(days=1)
SIGNS = {"+": "positive", "-": "negative", "?": "indeterminate"}


def at(month, day, hour=9, year=2026):
    return datetime(year, month, day, hour, tzinfo=ZONE)


def one(analyte, said, taken=None, of="worker", status="final", specimen="", **more):
    """`said`: + - or ?; a number, with a comparator or without, is an anti-HBs."""
    taken = taken or EXPOSED + 2 * HOUR
    word = quantity = None
    if said in SIGNS:
        word = Word(SIGNS[said])
    elif said is not None:
        sign = said.rstrip("0123456789.")
        quantity = Quantity(float(said[len(sign) :]), "m[IU]/mL", sign or "=")
    return Result(
        Analyte(analyte), of, Status(status), taken, more.pop("reported", taken + 6 * HOUR),
        word, quantity, specimen=specimen or f"S-{taken:%m%d}", **more,
    )  # fmt: skip


def drawn(taken=None, of="worker", **said):
    return [one(analyte, value, taken, of) for analyte, value in said.items()]


BASE = drawn(
    hbsag="-", anti_hbc_total="-", anti_hcv="-", hiv_ag_ab="-", anti_hbs="3", hcv_rna="-"
)  # fmt: skip


def follow(*results, course=COURSE, base=BASE):
    return read_follow_up(base, results, course, NOW)


# -- worked examples -----------------------------------------------------------------------------


def test_example_16_antigen_nine_days_after_vaccine_is_provisional():
    """hbv §7, 16: HBsAg on 10 April 2026, dose on 1 April; repeat from 29 April."""
    course = replace(COURSE, vaccine_doses=(at(4, 1),))
    early = drawn(at(4, 10), hbsag="+", anti_hbc_total="-", anti_hbc_igm="-", anti_hbs="3")
    found = follow(*early, course=course).of("hbv_infection")

    assert (found.value, found.final) == ("antigen_perhaps_vaccine", False)
    assert "from day 28" in found.next_words

    again = drawn(at(4, 29), hbsag="+", anti_hbc_total="-", anti_hbc_igm="-", anti_hbs="3")
    assert follow(*again, course=course).of("hbv_infection").value == "new_infection"
    day_before = drawn(at(4, 28), hbsag="+", anti_hbc_total="-", anti_hbc_igm="-")
    assert follow(*day_before, course=course).of("hbv_infection").value == "antigen_perhaps_vaccine"


def test_antigen_of_the_vaccine_that_went_again_is_no_infection():
    course = replace(COURSE, vaccine_doses=(at(4, 1),))
    early = drawn(at(4, 10), hbsag="+", anti_hbc_total="-")
    late = drawn(at(9, 2), hbsag="-", anti_hbc_total="-", anti_hbs="240")
    found = follow(*early, *late, course=course)

    assert (found.of("hbv_infection").value, found.of("hbv_infection").final) == (
        "not_infected", True,
    )  # fmt: skip
    assert found.of("anti_hbs_response").value == "response"


def test_example_20_core_antibody_five_weeks_after_immunoglobulin_is_perhaps_passive():
    """hbv §7, 20: baseline anti-HBc -, then +, HBsAg -, IgM -, DNA -: repeat, infected if it persists."""
    course = replace(COURSE, immunoglobulin=(EXPOSED + 3 * HOUR,), vaccine_doses=(EXPOSED,))
    early = drawn(
        EXPOSED + 35 * DAY, hbsag="-", anti_hbc_total="+", anti_hbc_igm="-", hbv_dna="-"
    )  # fmt: skip
    found = follow(*early, course=course).of("hbv_infection")
    assert (found.value, found.final) == ("core_perhaps_passive", False)

    faded = drawn(at(9, 2), hbsag="-", anti_hbc_total="-")
    assert follow(*early, *faded, course=course).of("hbv_infection").value == "not_infected"

    persists = drawn(at(9, 2), hbsag="-", anti_hbc_total="+", anti_hbc_igm="-", hbv_dna="-")
    assert (
        follow(*early, *persists, course=course).of("hbv_infection").value == "infection_occurred"
    )

    with_igm = drawn(EXPOSED + 35 * DAY, hbsag="-", anti_hbc_total="+", anti_hbc_igm="+")
    assert follow(*with_igm, course=course).of("hbv_infection").value == "infection_recent"


@pytest.mark.parametrize(
    ("day", "value"),
    [(1, "core_perhaps_passive"), (2, "infection_occurred"), (3, "infection_occurred")],
)
def test_six_months_after_immunoglobulin_to_the_day(day, value):
    """HBIG on 2 March: six months are 2 September (hbv §7, 1)."""
    course = replace(COURSE, immunoglobulin=(EXPOSED,))
    found = follow(*drawn(at(9, day), hbsag="-", anti_hbc_total="+"), course=course)

    assert found.of("hbv_infection").value == value


def test_example_21_isolated_core_at_clearance():
    """hbv §7, 21: HBsAg -, anti-HBc +, IgM -, anti-HBs -."""
    found = read_worker_baseline(
        drawn(hbsag="-", anti_hbc_total="+", anti_hbc_igm="-", anti_hbs="<3.1"), COURSE, NOW
    )

    assert found.of("hbv_pattern").value == "isolated_core"
    assert found.facts["worker_hbv_infection"] == "isolated_core"


@pytest.mark.parametrize(
    ("sent", "entered"),
    [
        # hbv §7: 6 (7.9), 7 (exactly 10.0), 8 ("<3.1"), 11 (6, then 240), 13 (45).
        ("7.9", 7.9),
        ("10.0", 10.0),
        ("<3.1", 9.9),
        ("6", 6.0),
        ("240", 240.0),
        ("45", 45.0),
        ("<10", 9.9),
        (">1000", 1000.0),
        (">10", 10.0),
        ("<12", None),
        ("<100", None),
        ("<=10", None),
        ("+", None),
        ("-", None),
        ("?", None),
    ],
)
def test_the_titre_of_the_plan_is_below_10_or_not_as_the_laboratory_sent_it(sent, entered):
    facts = read_worker_baseline(drawn(anti_hbs=sent), COURSE, NOW).facts

    assert facts.get("worker_anti_hbs_now") == entered


def test_hepatitis_c_dates_of_the_worked_example():
    """hcv §11: exposure 1 January 2026; RNA 22 January to 12 February; antibody from 1 May."""
    course = replace(COURSE, exposed_at=at(1, 1))
    base = drawn(at(1, 1, 12), anti_hcv="-")

    def value(taken, **said):
        return follow(*drawn(taken, **said), course=course, base=base).of("hcv_infection").value

    assert value(at(1, 21), anti_hcv="-") == "too_early"
    assert value(at(1, 22), anti_hcv="-") == "rna_due"
    assert value(at(1, 22), hcv_rna="+") == "infected"
    assert value(at(2, 12), hcv_rna="-") == "negative_so_far"
    assert value(at(4, 30), anti_hcv="-") == "rna_due"
    assert value(at(5, 1), anti_hcv="-") == "not_infected"
    # United Kingdom: 24 weeks are 18 June.
    assert value(at(6, 18), anti_hcv="-") == "not_infected"


# -- follow-up -----------------------------------------------------------------------------------


def test_a_story_that_ends_well():
    course = replace(COURSE, hiv_final_from=at(5, 25), hiv_final_needs_rna=True)
    visits = [
        *drawn(at(4, 10), hcv_rna="-"),
        *drawn(at(5, 26), hiv_ag_ab="-", hiv_rna="-"),
        *drawn(at(7, 3), anti_hcv="-"),
        *drawn(at(9, 3), hbsag="-", anti_hbc_total="-"),
    ]
    found = follow(*visits, course=course)

    for decision in ("hbv_infection", "hcv_infection"):
        assert (found.of(decision).value, found.of(decision).final) == ("not_infected", True)
    assert found.of("hiv_outcome").value == "not_infected"
    assert found.held == ()


@pytest.mark.parametrize(
    ("day", "needs_rna", "value"),
    [
        (24, False, "negative_so_far"),
        (25, False, "not_infected"),
        (25, True, "rna_missing"),
        (25, None, "rna_missing"),
    ],
)
def test_the_last_hiv_test_is_the_plan_s_and_not_earlier(day, needs_rna, value):
    """Exposure 2 March: twelve weeks are 25 May."""
    course = replace(COURSE, hiv_final_from=at(5, 25), hiv_final_needs_rna=needs_rna)

    assert follow(*drawn(at(5, day), hiv_ag_ab="-"), course=course).of("hiv_outcome").value == value


def test_without_the_plan_s_last_test_no_negative_ends_hiv():
    found = follow(*drawn(at(12, 1), hiv_ag_ab="-", hiv_rna="-")).of("hiv_outcome")

    assert (found.value, found.final) == ("negative_so_far", False)


def test_a_reactive_screen_alone_is_no_infection_and_confirmed_later_it_is_one():
    screen = one("hiv_ag_ab", "+", at(4, 13))
    alone = follow(screen).of("hiv_outcome")
    assert (alone.value, alone.final) == ("not_settled", False)

    confirmed = follow(screen, one("hiv_differentiation", "+", at(4, 20))).of("hiv_outcome")
    assert (confirmed.value, confirmed.final) == ("seroconverted", True)

    false = follow(
        screen, *drawn(at(4, 20), hiv_differentiation="-", hiv_rna="-")
    )  # fmt: skip
    assert false.of("hiv_reading").value == "not_confirmed"


def test_virus_found_once_is_not_undone_by_a_later_sample_without_it():
    found = follow(one("hcv_rna", "+", at(4, 1)), *drawn(at(9, 1), hcv_rna="-", anti_hcv="-")).of(
        "hcv_infection"
    )

    assert (found.value, found.final) == ("infected", True)
    assert "does not undo" in found.note


def test_an_old_negative_is_not_read_with_a_new_visit():
    """RNA of week 4 says nothing of month 5: with weak immunity the antibody alone does not end it."""
    course = replace(COURSE, weak_immunity_or_liver_disease=True)
    found = follow(*drawn(at(3, 30), hcv_rna="-"), *drawn(at(8, 3), anti_hcv="-"), course=course)

    assert found.of("hcv_infection").value == "antibody_may_fail"


@pytest.mark.parametrize(("days", "value"), [(14, "not_infected"), (15, "antibody_missing")])
def test_tests_of_one_visit_lie_at_most_14_days_apart(days, value):
    visit = at(8, 3)
    found = follow(*drawn(visit, anti_hcv="-"), *drawn(visit + days * DAY, hcv_rna="-"))

    assert found.of("hcv_infection").value == value


def test_infection_before_the_exposure_is_no_seroconversion():
    base = drawn(
        anti_hbc_total="+", anti_hcv="+", hcv_rna="+", hiv_ag_ab="+", hiv_differentiation="+"
    )
    after = drawn(at(5, 1), hbsag="-", anti_hbc_total="+", hcv_rna="+", hiv_ag_ab="+")
    found = follow(*after, one("hiv_differentiation", "+", at(5, 1)), base=base)

    for decision in ("hbv_infection", "hcv_infection", "hiv_outcome"):
        assert found.of(decision).value == "infected_before"


def test_a_core_antibody_at_baseline_after_immunoglobulin_is_no_earlier_infection():
    course = replace(COURSE, immunoglobulin=(EXPOSED + HOUR,))
    base = drawn(EXPOSED + DAY, anti_hbc_total="+", hbsag="-")
    found = follow(*drawn(at(4, 10), hbsag="-", anti_hbc_total="+"), base=base, course=course)

    assert found.of("hbv_infection").value == "core_perhaps_passive"


def test_without_the_time_of_the_exposure_a_negative_ends_nothing():
    course = replace(COURSE, exposed_at=None)
    found = follow(*drawn(at(9, 9), hbsag="-", anti_hbc_total="-", anti_hcv="-"), course=course)

    assert found.of("hbv_infection").value is None
    assert set(found.of("hbv_infection").possible) == {"not_infected", "not_infected_so_far"}
    assert not found.of("hcv_infection").final


def test_a_follow_up_sample_from_before_the_exposure_settles_nothing():
    found = follow(*drawn(at(2, 1), hbsag="-", anti_hbc_total="-"))

    assert found.of("hbv_infection").value == "incomplete"
    assert len(found.held) == 2


def test_two_results_of_one_moment_that_disagree_settle_nothing():
    pair = [one("hbsag", sign, at(9, 9), specimen=f"S-{n}") for n, sign in enumerate("+-")]
    found = read_worker_baseline(pair, COURSE, NOW)

    assert found.of("hbv_pattern").value == "nothing_read"
    assert len(found.held) == 2


def test_a_result_without_a_time_that_says_otherwise_is_not_overlooked():
    timed = one("hbsag", "-", of="source", specimen="S-1")
    untimed = Result(
        Analyte.HBSAG, "source", Status.FINAL, None, EXPOSED + DAY, Word.POSITIVE, specimen="S-2"
    )
    found = read_source([timed, untimed], COURSE, NOW)

    assert found.facts == {"source_hbsag": "unknown"}
    assert len(found.held) == 2


def test_every_reading_names_its_rule_source_and_standing():
    readings = follow(*drawn(at(9, 9), hbsag="-", anti_hbc_total="-", anti_hbs="50")).readings

    for reading in readings:
        assert reading.because
        for reason in reading.because:
            assert reason.rule
            assert reason.source
            assert reason.standing in ("read", "secondary", "memory", "derived")


# -- the source ----------------------------------------------------------------------------------


def source(**said):
    return read_source(drawn(of="source", **said), COURSE, NOW)


def test_results_of_the_source_become_the_facts_of_the_plan():
    found = source(hiv_ag_ab="-", hbsag="+", hcv_rna="-", anti_hcv="+")

    assert dict(found.facts) == {
        "source_hiv": "negative",
        "source_hbsag": "positive",
        "source_hcv_rna": "negative",
        "source_anti_hcv": "positive",
    }
    for fact, value in found.facts.items():
        assert VOCABULARY[fact].check(value) == value


def test_what_was_not_tested_is_not_said():
    assert dict(source(hbsag="-").facts) == {"source_hbsag": "negative"}


def test_an_indeterminate_or_preliminary_result_leaves_the_source_unknown():
    found = source(hiv_ag_ab="?", hbsag="?", hcv_rna="?", anti_hcv="?")

    assert set(found.facts.values()) == {"unknown", "not_tested"}
    assert found.settled == {}
    early = [one(a, "-", of="source", status="preliminary") for a in ("hiv_ag_ab", "hbsag")]
    read = read_source(early, COURSE, NOW)
    assert set(read.facts.values()) == {"unknown"}
    assert all("preliminary" in h.why for h in read.held)


def test_a_retracted_negative_of_the_source_is_unknown_again():
    negative = one("hiv_ag_ab", "-", of="source")
    gone = replace(negative, status=Status.RETRACTED, reported_at=negative.reported_at + HOUR)

    assert read_source([negative], COURSE, NOW).facts == {"source_hiv": "negative"}
    assert read_source([negative, gone], COURSE, NOW).facts == {"source_hiv": "unknown"}


def test_a_corrected_result_of_the_source_turns_the_fact():
    negative = one("hiv_ag_ab", "-", of="source")
    corrected = replace(
        negative,
        status=Status.CORRECTED,
        word=Word.POSITIVE,
        reported_at=negative.reported_at + DAY,
    )
    before = negative.reported_at + HOUR

    assert read_source([negative, corrected], COURSE, before).facts["source_hiv"] == "negative"
    assert read_source([negative, corrected], COURSE, NOW).facts["source_hiv"] == "positive"


def test_a_reactive_preliminary_test_of_the_source_is_brought_to_the_clinician():
    """QG17: a reactive rapid test counts as positive for prophylaxis; here a person enters it."""
    found = read_source([one("hiv_ag_ab", "+", of="source", status="preliminary")], COURSE, NOW)

    assert found.facts["source_hiv"] == "unknown"
    assert "The clinician decides now" in found.held[0].why


def test_a_negative_of_the_source_from_before_the_exposure_is_for_a_person_and_a_positive_counts():
    old = EXPOSED - 30 * DAY
    negative = read_source(drawn(old, "source", hiv_ag_ab="-", hbsag="-"), COURSE, NOW)
    positive = read_source(drawn(old, "source", hbsag="+"), COURSE, NOW)

    assert set(negative.facts.values()) == {"unknown"}
    assert len(negative.held) == 2
    assert positive.facts == {"source_hbsag": "positive"}


def test_a_negative_of_the_source_of_the_same_day_counts():
    morning = EXPOSED.replace(hour=1)

    assert read_source(drawn(morning, "source", hbsag="-"), COURSE, NOW).settled


def test_the_worker_s_vaccine_is_not_the_source_s():
    course = replace(COURSE, vaccine_doses=(EXPOSED,))
    found = read_source(drawn(of="source", hbsag="+"), course, NOW)

    assert found.facts["source_hbsag"] == "positive"


def test_results_of_one_person_say_nothing_of_the_other():
    mixed = drawn(of="source", hiv_ag_ab="+", hbsag="+", anti_hcv="+")

    assert read_worker_baseline(mixed, COURSE, NOW).facts == {}
    assert read_source(drawn(hiv_ag_ab="-"), COURSE, NOW).facts == {}


# -- creatinine and pregnancy ----------------------------------------------------------------------


def creatinine(number, unit="umol/L", sign="=", status="final"):
    kept = replace(one("creatinine", "+"), word=None, quantity=Quantity(number, unit, sign))
    return read_worker_baseline([replace(kept, status=Status(status))], COURSE, NOW)


@pytest.mark.parametrize(
    ("number", "unit", "told"),
    [(80, "umol/L", 80), (1.0, "mg/dL", 88.4), (1.1, "mg/dL", 97.24), (10, "umol/L", 10)],
)
def test_creatinine_reaches_the_plan_in_umol_per_l(number, unit, told):
    """1 mg/dL is 88.4 umol/L."""
    assert creatinine(number, unit).facts == {"worker_creatinine": told}


@pytest.mark.parametrize(
    "sent",
    [(80, "umol/L", "<"), (80, "umol/L", ">"), (80, "g/L"), (9.9, "umol/L"), (3001, "umol/L"),
     (80, "umol/L", "=", "preliminary")],
)  # fmt: skip
def test_creatinine_without_a_number_that_can_be_says_nothing(sent):
    assert creatinine(*sent).facts == {}


@pytest.mark.parametrize("said", ["-", "?"])
def test_a_pregnancy_test_that_is_not_positive_answers_nothing(said):
    assert read_worker_baseline(drawn(pregnancy="+"), COURSE, NOW).facts == {
        "worker_pregnancy": "pregnant"
    }
    assert read_worker_baseline(drawn(pregnancy=said), COURSE, NOW).facts == {}
    early = [one("pregnancy", "+", status="preliminary")]
    assert read_worker_baseline(early, COURSE, NOW).facts == {}


# -- the baseline --------------------------------------------------------------------------------


def test_baseline_results_become_the_facts_of_the_plan():
    found = read_worker_baseline(BASE, COURSE, NOW)

    assert dict(found.facts) == {
        "worker_hiv": "negative",
        "worker_anti_hcv": "negative",
        "worker_hbv_infection": "none_known",
        "worker_anti_hbs_now": 3.0,
    }
    for fact, value in found.facts.items():
        assert VOCABULARY[fact].check(value) == value


def test_a_reactive_screen_of_the_worker_stays_unknown():
    found = read_worker_baseline(drawn(hiv_ag_ab="+"), COURSE, NOW)

    assert found.facts == {"worker_hiv": "unknown"}


def test_a_held_result_settles_nothing():
    doubt = replace(one("hiv_ag_ab", "-"), identity_doubt="two people of that name")
    found = read_worker_baseline([doubt], COURSE, NOW)

    assert found.facts == {"worker_hiv": "unknown"}
    assert "two people of that name" in found.held[0].why


# -- the statement -------------------------------------------------------------------------------


def test_negative_at_the_time_of_the_exposure_names_both_samples():
    base = one("hiv_ag_ab", "-", EXPOSED + timedelta(hours=2, minutes=40), specimen="B-17")
    later = one("hiv_ag_ab", "-", at(5, 26), specimen="F-3")
    found = negative_at_exposure([base, later], COURSE, "hiv", NOW)

    assert found.stated
    assert found.sentence == (
        "HIV antigen/antibody negative in the sample of Mon 2 Mar 2026, 12:40 (specimen B-17), taken "
        "2 h 40 min after the exposure; negative in the sample of Tue 26 May 2026, 09:00 (specimen F-3)."
    )
    assert (found.baseline, found.later) == (base, later)
    assert [reason.standing for reason in found.because] == ["read"]


def test_a_reactive_screen_later_is_not_called_an_infection_in_print():
    later = one("hiv_ag_ab", "+", at(4, 13))
    sentence = negative_at_exposure([*BASE, later], COURSE, "hiv", NOW).sentence

    assert "reactive, not an infection until it is confirmed" in sentence


@pytest.mark.parametrize("marker", ["hiv", "hbv", "hcv"])
@pytest.mark.parametrize(
    ("after", "stated"),
    [
        (timedelta(0), True),
        (48 * HOUR, True),
        (48 * HOUR + timedelta(minutes=1), False),
        (-timedelta(minutes=1), False),
    ],
)
def test_the_statement_is_made_inside_the_window_of_the_source_only(marker, after, stated):
    """EACS and USC20: within 48 hours."""
    taken = EXPOSED + after
    base = drawn(taken, hiv_ag_ab="-", anti_hbc_total="-", anti_hcv="-")
    found = negative_at_exposure(base, COURSE, marker, NOW)

    assert found.stated is stated
    assert found.sentence.startswith("It cannot be stated") is not stated


@pytest.mark.parametrize(
    ("results", "words"),
    [
        ([], "no sample"),
        (drawn(hiv_ag_ab="+"), "it was positive"),
        (drawn(hiv_ag_ab="?"), "it was indeterminate"),
        ([one("hiv_ag_ab", "-", status="preliminary")], "held or not final"),
        (drawn(hiv_ag_ab="-", hiv_rna="+"), "HIV RNA was positive"),
        (drawn(of="source", hiv_ag_ab="-"), "no sample"),
    ],
)
def test_where_it_cannot_be_stated_the_reason_stands_in_its_place(results, words):
    found = negative_at_exposure(results, COURSE, "hiv", NOW)

    assert not found.stated
    assert words in found.sentence


def test_without_the_time_of_the_exposure_nothing_is_stated():
    found = negative_at_exposure(BASE, replace(COURSE, exposed_at=None), "hbv", NOW)

    assert not found.stated
    assert "not known" in found.sentence


# -- what never happens --------------------------------------------------------------------------

NEGATIVE = {
    "source_hiv": "negative",
    "source_hbsag": "negative",
    "source_hcv_rna": "negative",
    "source_anti_hcv": "negative",
    "worker_hiv": "negative",
    "worker_anti_hcv": "negative",
    "worker_hbv_infection": "none_known",
}
ALL_CLEAR = {
    "hbv_infection": {"not_infected"},
    "hcv_infection": {"not_infected", "not_infected_again"},
    "hiv_outcome": {"not_infected"},
    "hbv_pattern": {
        "never_infected", "immune_by_vaccine", "never_infected_titre_missing",
        "never_infected_titre_open", "never_infected_perhaps_passive",
    },
}  # fmt: skip
SAY_NEGATIVE: dict[str, list[set[str]]] = {
    "source_hiv": [{"hiv_ag_ab"}, {"hiv_differentiation", "hiv_rna"}],
    "source_hbsag": [{"hbsag"}],
    "source_hcv_rna": [{"hcv_rna"}],
    "source_anti_hcv": [{"anti_hcv"}],
    "worker_hiv": [{"hiv_ag_ab"}],
    "worker_anti_hcv": [{"anti_hcv"}],
    "worker_hbv_infection": [{"hbsag", "anti_hbc_total"}],
    "hbv_infection": [{"hbsag", "anti_hbc_total"}],
    "hcv_infection": [{"anti_hcv"}, {"hcv_rna"}],
    "hiv_outcome": [{"hiv_ag_ab"}],
    "hbv_pattern": [{"hbsag", "anti_hbc_total"}],
}
"""For each negative, the tests that must all be settled and negative, or another such set."""

any_result = st.builds(
    lambda analyte, sign, of, status, taken, doubt: one(
        analyte, sign, taken, of, status, identity_doubt=doubt, specimen="S"
    ),
    st.sampled_from(
        ["hiv_ag_ab", "hiv_differentiation", "hiv_rna", "hbsag", "anti_hbc_total", "anti_hbc_igm",
         "hbeag", "hbv_dna", "anti_hcv", "hcv_rna"]
    ),
    st.sampled_from(["+", "-", "?"]),
    st.sampled_from(["worker", "source"]),
    st.sampled_from(["preliminary", "final", "corrected"]),
    st.sampled_from([EXPOSED + 2 * HOUR, at(4, 13), at(9, 9), None]),
    st.sampled_from(["", "", "", "another birth date"]),
)  # fmt: skip
courses = st.builds(
    Course,
    st.just(ZONE),
    st.sampled_from([EXPOSED, None]),
    vaccine_doses=st.sampled_from([None, (), (EXPOSED,), (at(4, 1),)]),
    immunoglobulin=st.sampled_from([None, (), (EXPOSED,)]),
    hiv_final_from=st.sampled_from([None, at(5, 25)]),
    hiv_final_needs_rna=st.sampled_from([None, True, False]),
    weak_immunity_or_liver_disease=st.sampled_from([None, True, False]),
    source_excludes_hcv=st.sampled_from([None, False]),
)


def usable(results, of):
    """By its own road: final or corrected, of that person, nothing doubted, not contradicted."""
    return {
        r.analyte.value
        for r in results
        if r.of == of
        and r.word is Word.NEGATIVE
        and r.status in (Status.FINAL, Status.CORRECTED)
        and not r.identity_doubt
    }


@settings(max_examples=300)
@given(st.lists(any_result, max_size=10), courses)
def test_no_negative_comes_from_anything_but_a_settled_negative(results, course):
    for of, read in (
        ("source", read_source(results, course, NOW)),
        ("worker", read_worker_baseline(results, course, NOW)),
        ("worker", read_follow_up([], results, course, NOW)),
    ):
        negative = usable(results, of)
        for fact, value in read.facts.items():
            if value == NEGATIVE.get(fact):
                assert any(tests <= negative for tests in SAY_NEGATIVE[fact]), (fact, value)
        for reading in read.readings:
            if reading.value in ALL_CLEAR.get(reading.decision, ()):
                assert any(t <= negative for t in SAY_NEGATIVE[reading.decision]), reading


@settings(max_examples=200)
@given(
    st.lists(any_result, max_size=8).flatmap(lambda r: st.tuples(st.just(r), st.permutations(r)))
)
def test_the_order_of_arrival_changes_no_reading(pair):
    sent, shuffled = pair
    for read in (read_source, read_worker_baseline):
        one_way, other = read(sent, COURSE, NOW), read(shuffled, COURSE, NOW)
        assert one_way.facts == other.facts
        assert one_way.readings == other.readings
        assert set(one_way.held) == set(other.held)
    one_way = read_follow_up(BASE, sent, COURSE, NOW)
    assert one_way.readings == read_follow_up(BASE, shuffled, COURSE, NOW).readings


@settings(max_examples=200)
@given(st.lists(any_result, min_size=1, max_size=8), st.data())
def test_taking_away_certainty_never_makes_a_negative(results, data):
    """A result made preliminary or indeterminate may open a fact; it never makes one negative."""
    at_ = data.draw(st.integers(0, len(results) - 1))
    weaker = list(results)
    weaker[at_] = data.draw(
        st.sampled_from(
            [
                replace(results[at_], status=Status.PRELIMINARY),
                replace(results[at_], word=Word.INDETERMINATE),
            ]
        )
    )
    if results[at_].word is not Word.NEGATIVE:
        return  # taking away a positive may let a negative stand that it contradicted
    for read in (read_source, read_worker_baseline):
        before, after = read(results, COURSE, NOW).facts, read(weaker, COURSE, NOW).facts
        same = [r for r in results if r.key == results[at_].key]
        if len(same) > 1:
            continue  # another version of the same result may come to count
        for fact, value in after.items():
            if value == NEGATIVE.get(fact):
                assert before.get(fact) in (value, "unknown", "not_tested", None), fact


def test_every_pattern_of_four_markers_is_read_and_none_invents_a_negative():
    """Every combination of positive, negative, indeterminate and not done: 256 panels."""
    markers = ("hbsag", "anti_hbc_total", "anti_hbc_igm", "anti_hbs")
    for signs in product(("+", "-", "?", None), repeat=4):
        said = dict(zip(markers, signs, strict=True))
        titre = {"+": "50", "-": "4"}.get(said["anti_hbs"] or "", said["anti_hbs"])
        panel = {m: s for m, s in (said | {"anti_hbs": titre}).items() if s is not None}
        if not panel:
            continue
        found = read_worker_baseline(drawn(**panel), COURSE, NOW)
        pattern = found.of("hbv_pattern")
        assert pattern.value is not None
        assert pattern.words
        if pattern.value in ALL_CLEAR["hbv_pattern"]:
            assert (said["hbsag"], said["anti_hbc_total"]) == ("-", "-")
        # HBsAg that is found, with anti-HBs or IgM, is read whatever the core antibody.
        if said["hbsag"] == "?" or (said["anti_hbc_total"] == "?" and said["hbsag"] != "+"):
            assert not pattern.final


def test_every_fact_that_tables_ask_for_has_the_words_of_the_trade():
    for fact in vocabulary().values():
        assert fact.question.endswith("?")
        if fact.kind == "code" and "negative" in fact.values:
            assert {"unknown", "not_known"} & set(fact.values)


def test_a_day_is_the_site_s():
    course = replace(COURSE, hiv_final_from=at(5, 25, 10))
    early_that_day = datetime(2026, 5, 24, 22, 30, tzinfo=ZoneInfo("UTC"))

    assert early_that_day.astimezone(ZONE).date() == date(2026, 5, 25)
    found = follow(*drawn(early_that_day, hiv_ag_ab="-", hiv_rna="-"), course=course)
    assert found.of("hiv_outcome").value == "not_infected"
