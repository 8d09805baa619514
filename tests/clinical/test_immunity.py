"""Evidence against other infections: printed rules at their boundaries, then what no date may do."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, timedelta
from itertools import product

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from thimble.clinical.immunity import (
    JUDGED,
    Against,
    Documented,
    Given,
    Judgement,
    Past,
    days_of,
    judge,
    recurring,
    rules,
)
from thimble.clinical.immunity import Tested as ResultOf
from thimble.clinical.immunity.counting import Counter
from thimble.clinical.library import protocol
from thimble.protocol import check_protocol

ON = date(2026, 3, 2)
BORN = date(1990, 5, 6)
MMR = ("measles", "mumps", "rubella")
AGAINST = {"03": MMR, "21": ("varicella",), "115": ("tetanus", "pertussis"), "88": ("influenza",),
           "110": ("pertussis", "tetanus"), "111": ("influenza",), "19": ("tuberculosis",)}  # fmt: skip


def dose(when: str | None, cvx: str | None = "03", on: date = ON) -> Given:
    against = MMR if cvx is None else AGAINST[cvx]
    return Given(1, cvx, against, days_of(when, BORN.toordinal(), on.toordinal()))


def result(test: str, word: str | None, when: str | None = "2020-02-01") -> ResultOf:
    return ResultOf(2, test, word, days_of(when, None, ON.toordinal()))


def past(disease: str, basis: str, when: str | None = "1998") -> Past:
    return Past(3, disease, basis, days_of(when, None, ON.toordinal()))


def of(
    disease: str,
    *evidence: Given | ResultOf | Past | Against,
    born: date | None = BORN,
    on: date = ON,
    by: str = "us",
) -> Judgement:
    told = Documented()
    for each in evidence:
        place = {Given: told.doses, ResultOf: told.tests, Past: told.past, Against: told.against}
        place[type(each)].append(each)  # type: ignore[attr-defined]
    return judge(disease, told, born, on, by)


def said(found: Judgement) -> tuple[str, str]:
    return found.state, found.next_step


@pytest.mark.parametrize("name", ["immunity_us", "immunity_uk"])
def test_every_table_is_proved_and_its_cases_come_out(name: str) -> None:
    assert check_protocol(protocol(name)) == ()


def test_a_nurse_born_in_1990_with_two_mmr_a_told_chickenpox_and_a_positive_igra() -> None:
    """The worked example: MMR thirty days apart after the first birthday, rubella antibody negative:
    accepted, no dose, no more serology. Told chickenpox: pending. Documented positive IGRA: no test
    again, symptoms are asked."""
    mmr = dose("1992-01-01"), dose("1992-01-31")
    for disease in MMR:
        assert said(of(disease, *mmr, result("rubella_igg", "negative"))) == ("satisfied", "none")
    assert said(of("varicella", past("varicella", "person"))) == ("pending", "verify_history")
    tb = of("tuberculosis", result("igra", "positive"))
    assert said(tb) == ("pending", "ask_symptoms")


LIVE = (*MMR, "varicella")


def live(disease: str, when: str) -> Given:
    return dose(when, "21" if disease == "varicella" else "03")


@pytest.mark.parametrize("by", ["us", "uk"])
@pytest.mark.parametrize("disease", LIVE)
@pytest.mark.parametrize(("days", "counts"), [(27, False), (28, True), (29, True)])
def test_two_doses_lie_28_days_apart(days: int, counts: bool, disease: str, by: str) -> None:
    second = (date(1992, 1, 1) + timedelta(days=days)).isoformat()
    found = of(disease, live(disease, "1992-01-01"), live(disease, second), by=by)
    assert [each.counts for each in found.doses] == [True, counts]
    enough = counts or (disease, by) == ("rubella", "us")
    assert found.state == ("satisfied" if enough else "pending")


@pytest.mark.parametrize(("disease", "by"), [(d, "us") for d in LIVE] + [("measles", "uk")])
@pytest.mark.parametrize(("days", "told"), [(23, False), (24, True), (27, True)])
def test_the_four_days_of_grace_are_told_and_never_taken(
    days: int, told: bool, disease: str, by: str
) -> None:
    """Read for measles, mumps and rubella in the United States."""
    second = (date(1992, 1, 1) + timedelta(days=days)).isoformat()
    found = of(disease, live(disease, "1992-01-01"), live(disease, second), by=by)
    assert not found.doses[1].counts
    may = told and by == "us" and disease in MMR
    assert ("may be forgiven" in found.dose_sentences[1]) is may


@pytest.mark.parametrize("by", ["us", "uk"])
@pytest.mark.parametrize("disease", LIVE)
@pytest.mark.parametrize(("when", "counts"), [("1991-05-05", False), ("1991-05-06", True)])
def test_the_first_dose_counts_from_the_first_birthday(
    when: str, counts: bool, disease: str, by: str
) -> None:
    found = of(disease, live(disease, when), live(disease, "1999-01-01"), by=by)
    assert [each.counts for each in found.doses] == [counts, True]
    enough = counts or (disease, by) == ("rubella", "us")
    assert found.state == ("satisfied" if enough else "pending")


def test_a_month_that_begins_the_day_before_the_first_birthday_does_not_count_for_certain() -> None:
    born = date(1990, 5, 2)
    month, day = dose("1991-05"), dose("1991-05-02")
    later = dose("1999-01-01")
    assert said(of("measles", month, later, born=born)) == ("pending", "find_days")
    assert said(of("measles", day, later, born=born)) == ("satisfied", "none")


def test_a_dose_of_some_day_of_a_year_may_lie_between_two_others() -> None:
    """On 20 March it would spoil that of 15 April: one dose is certain."""
    doses = dose("2019"), dose("2019-03-01"), dose("2019-04-15")
    found = of("measles", *doses)
    assert said(found) == ("pending", "find_days")
    assert sum(each.counts for each in found.doses) == 1


def test_a_month_before_a_known_day_leaves_open_whether_both_doses_count() -> None:
    """On 1 January they lie forty days apart, on the 31st ten: find the day, give nothing again."""
    assert said(of("measles", dose("1992-01"), dose("1992-02-10"))) == ("pending", "find_days")
    assert said(of("measles", dose("1992-01-31"), dose("1992-02-10"))) == ("pending", "dose")


def test_an_undated_childhood_dose_cannot_have_been_the_one_of_a_grown_up() -> None:
    assert said(of("pertussis", dose(None, "110"))) == ("not_known", "dose")
    assert said(of("pertussis", dose(None, "115"))) == ("pending", "find_days")


def test_one_dose_is_enough_against_rubella_in_the_united_states_and_not_in_the_united_kingdom() -> (
    None
):
    assert said(of("rubella", dose("1992-01-01"))) == ("satisfied", "none")
    assert said(of("rubella", dose("1992-01-01"), by="uk")) == ("pending", "dose")


MEASLES, RUBELLA = result("measles_igg", "positive"), result("rubella_igg", "positive")


def test_antibody_of_measles_and_rubella_is_enough_for_mumps_in_the_united_kingdom_alone() -> None:
    """Green Book 12 and 21, as remembered: two MMR, or positive antibody for measles and rubella."""
    found = of("mumps", MEASLES, RUBELLA, by="uk")

    assert said(found) == ("satisfied", "none")
    assert found.entries == (2,)
    assert not found.confirmed
    assert said(of("mumps", MEASLES, RUBELLA)) == ("not_known", "dose")


@pytest.mark.parametrize("word", ["negative", "indeterminate", None])
def test_antibody_of_only_one_of_them_is_not_enough_for_mumps(word: str | None) -> None:
    for one, other in ((MEASLES, "rubella_igg"), (RUBELLA, "measles_igg")):
        assert said(of("mumps", one, by="uk")) == ("not_known", "dose")
        assert said(of("mumps", one, result(other, word), by="uk")) == ("not_known", "dose")
    differing = result("rubella_igg", "negative")
    assert of("mumps", MEASLES, RUBELLA, differing, by="uk").state == "not_known"


def test_a_mumps_antibody_that_was_not_found_is_not_passed_over() -> None:
    for word, state in (("negative", "pending"), ("indeterminate", "satisfied")):
        assert of("mumps", MEASLES, RUBELLA, result("mumps_igg", word), by="uk").state == state


def test_antibody_without_its_day_is_looked_for_before_anything_is_given_against_mumps() -> None:
    undated = result("rubella_igg", "positive", None)

    assert said(of("mumps", MEASLES, undated, by="uk")) == ("pending", "find_days")


@pytest.mark.parametrize("disease", MMR)
def test_birth_before_1957_is_accepted_in_the_united_states_alone(disease: str) -> None:
    assert of(disease, born=date(1956, 12, 31)).state == "satisfied"
    assert of(disease, born=date(1957, 1, 1)).state == "not_known"
    assert of(disease, born=date(1956, 12, 31), by="uk").state == "not_known"
    assert of("varicella", born=date(1956, 12, 31)).state == "not_known"


def test_without_a_birth_date_neither_the_year_nor_a_dose_counts() -> None:
    assert said(of("measles", born=None)) == ("not_known", "birth_date")
    doses = dose("1992-01-01"), dose("1999-01-01")
    assert of("measles", *doses, born=None).state != "satisfied"
    assert of("measles", result("measles_igg", "positive"), born=None).state == "satisfied"


@pytest.mark.parametrize("by", ["us", "uk"])
@pytest.mark.parametrize(
    ("days", "state"), [(0, "satisfied"), (1, "pending"), (27, "pending"), (28, "satisfied")]
)
def test_different_live_vaccines_are_given_on_one_day_or_28_days_apart(
    days: int, state: str, by: str
) -> None:
    first = dose("2010-01-01", "21")
    mmr = date(2020, 1, 1)
    second = dose((mmr + timedelta(days=days)).isoformat(), "21")
    assert of("varicella", first, dose(mmr.isoformat()), second, by=by).state == state


@pytest.mark.parametrize(("nasal", "counts"), [("2019-12-05", False), ("2019-12-04", True)])
@pytest.mark.parametrize("cvx", ["111", "88"])
def test_of_the_influenza_vaccines_only_the_nasal_one_is_live(
    nasal: str, counts: bool, cvx: str
) -> None:
    found = of("measles", dose("2010-01-01"), dose(nasal, cvx), dose("2020-01-01"))
    assert found.doses[1].counts is (counts or cvx == "88")


def test_the_next_live_dose_waits_for_the_other_one_and_for_its_own_last() -> None:
    found = of("measles", dose("2026-02-20"), dose("2026-02-25", "21"))
    assert (found.earliest, found.recommended) == (date(2026, 3, 25), date(2026, 3, 25))
    assert "pregnancy" in found.caution
    late = of("measles", dose("2020-01-01"))
    assert (late.earliest, late.recommended) == (date(2020, 1, 29), ON)


def test_a_titre_without_doses_that_is_equivocal_counts_as_not_immune() -> None:
    assert said(of("measles", result("measles_igg", "indeterminate"))) == ("not_satisfied", "dose")
    assert said(of("measles", result("measles_igg", None))) == ("pending", "read_number")
    both = result("measles_igg", "positive"), result("measles_igg", "negative", "2021-01-01")
    assert said(of("measles", *both)) == ("pending", "refer")


def test_only_a_laboratory_confirms_measles_and_a_clinician_suffices_for_varicella() -> None:
    assert of("measles", past("measles", "clinician")).state == "not_known"
    assert of("measles", past("measles", "laboratory")).state == "satisfied"
    assert of("varicella", past("varicella", "clinician")).state == "satisfied"
    assert of("varicella", past("zoster", "clinician")).state == "satisfied"
    assert said(of("varicella", past("varicella", "clinician", None))) == ("pending", "find_days")
    assert said(of("measles", past("measles", "laboratory", None))) == ("pending", "find_days")
    assert said(of("measles", past("measles", "clinician", None))) == ("not_known", "dose")


@pytest.mark.parametrize("by", ["us", "uk"])
@pytest.mark.parametrize("basis", ["laboratory", "clinician"])
def test_chickenpox_and_an_antibody_that_was_not_found_are_for_the_physician(
    by: str, basis: str
) -> None:
    had = past("varicella", basis)
    for word in ("negative", "positive"):
        found = of("varicella", had, result("varicella_igg", word), by=by)
        assert found.satisfied == (word == "positive")
    assert said(of("varicella", had, result("varicella_igg", "negative"), by=by)) == (
        "pending",
        "refer",
    )


@pytest.mark.parametrize("by", ["us", "uk"])
@pytest.mark.parametrize("word", ["negative", "indeterminate"])
def test_a_number_that_nobody_read_is_read_before_anybody_is_called_not_immune(
    by: str, word: str
) -> None:
    before = result("measles_igg", word, "2019-01-01")
    assert said(of("measles", before, by=by))[0] == "not_satisfied"
    assert said(of("measles", before, result("measles_igg", None), by=by)) == (
        "pending",
        "read_number",
    )


@pytest.mark.parametrize("by", ["us", "uk"])
def test_a_told_chickenpox_and_a_contraindication_never_end_in_doses(by: str) -> None:
    told = past("varicella", "person")
    assert said(of("varicella", told, by=by)) == ("pending", "verify_history")
    found = of("varicella", told, Against(4, "varicella", None, 0), by=by)
    assert (said(found), found.doses_missing) == (("pending", "refer"), 0)


ASKED_TB = (result("tb_symptoms", "negative", "2026-01-05"), result("tb_risk", "negative"))


@pytest.mark.parametrize("by", ["us", "uk"])
@pytest.mark.parametrize(
    ("evidence", "expected"),
    [
        ((result("igra", "negative"),), ("satisfied", "none")),
        ((result("igra", "negative"), result("tuberculin", None)), ("pending", "read_number")),
        ((result("igra", "negative"), result("chest_x_ray", "normal")), ("satisfied", "none")),
        ((result("igra", "negative"), result("chest_x_ray", "positive")), ("pending", "refer")),
        (
            (result("igra", "negative"), result("chest_x_ray", "indeterminate")),
            ("pending", "refer"),
        ),
    ],
)
def test_a_negative_test_hides_neither_an_unread_number_nor_a_film(evidence, expected, by) -> None:
    evidence = tuple(
        result("chest_x_ray", "negative") if each.word == "normal" else each for each in evidence
    )
    assert said(of("tuberculosis", *ASKED_TB, *evidence, by=by)) == expected


def test_documented_bcg_hides_no_film_either() -> None:
    film = result("chest_x_ray", "positive")
    bcg = dose("1995-01-01", "19")
    assert said(of("tuberculosis", *ASKED_TB, bcg, by="uk")) == ("satisfied", "none")
    assert said(of("tuberculosis", *ASKED_TB, bcg, film, by="uk")) == ("pending", "refer")


@pytest.mark.parametrize("by", ["us", "uk"])
@pytest.mark.parametrize(
    ("found", "step"),
    [
        (result("igra", "positive", None), "refer"),
        (result("tuberculin", "positive", None), "refer"),
        (result("tuberculin", None, None), "read_number"),
        (result("chest_x_ray", "positive", None), "refer"),
        (result("chest_x_ray", "indeterminate", None), "refer"),
        (result("chest_x_ray", "negative", None), "none"),
        (result("igra", "negative", None), "none"),
        (result("igra", "indeterminate", "2020-01-31"), "none"),
    ],
)
def test_what_was_found_on_a_day_that_nobody_knows_is_hidden_by_no_negative_test(
    found: ResultOf, step: str, by: str
) -> None:
    asked = ASKED_TB[0], result("tb_risk", "positive")
    negative = result("igra", "negative", "2020-02-01")
    assert of("tuberculosis", *asked, negative, found, by=by).next_step == step


@pytest.mark.parametrize(("by", "step"), [("us", "repeat_test"), ("uk", "tb_test")])
@pytest.mark.parametrize("when", ["2020-02-01", "2020-02-02", "2020-02", "2020", None])
def test_a_test_without_an_answer_that_may_be_the_latest_is_repeated(
    when: str | None, by: str, step: str
) -> None:
    asked = ASKED_TB[0], result("tb_risk", "positive")
    negative = result("igra", "negative", "2020-02-01")
    unclear = result("igra", "indeterminate", when)
    assert said(of("tuberculosis", *asked, negative, unclear, by=by)) == ("pending", step)


def test_a_positive_test_without_a_day_is_followed_and_none_is_drawn_again() -> None:
    positive = result("igra", "positive", None)
    assert said(of("tuberculosis", positive)) == ("pending", "ask_symptoms")
    assert of("tuberculosis", positive, ASKED_TB[0]).next_step == "chest_film"


def test_neither_bcg_nor_a_past_tuberculosis_without_a_day_counts() -> None:
    assert said(of("tuberculosis", *ASKED_TB, dose(None, "19"), by="uk")) == ("pending", "tb_test")
    told = past("tuberculosis", "clinician", None)
    assert said(of("tuberculosis", *ASKED_TB, told)) == ("not_known", "tb_test")
    dated = past("tuberculosis", "clinician", "1998")
    assert said(of("tuberculosis", *ASKED_TB, dated)) == ("pending", "chest_film")


@pytest.mark.parametrize("by", ["us", "uk"])
@pytest.mark.parametrize(
    ("film", "expected"),
    [
        ("2020-01-31", "chest_film"),
        ("2020", "chest_film"),
        ("2020-02-01", "none"),
        ("2021", "none"),
    ],
)
def test_a_film_from_before_the_positive_test_shows_nothing(
    film: str, expected: str, by: str
) -> None:
    infected = result("igra", "positive", "2020-02-01"), result("tb_risk", "positive")
    shown = result("chest_x_ray", "negative", film)
    assert said(of("tuberculosis", ASKED_TB[0], *infected, shown, by=by))[1] == expected


@pytest.mark.parametrize(("basis", "step"), [("person", "chest_film"), ("clinician", "none")])
def test_a_film_counts_from_a_documented_disease_and_not_from_one_that_was_only_told(
    basis: str, step: str
) -> None:
    infected = past("tuberculosis", basis, "2005-03-01"), result("igra", "positive", "2020-02-01")
    film = result("chest_x_ray", "negative", "2010-01-01")
    assert said(of("tuberculosis", ASKED_TB[0], *infected, film))[1] == step


def test_symptoms_that_may_be_the_latest_are_not_passed_over() -> None:
    absent = result("tb_symptoms", "negative", "2025-06-01")
    present = result("tb_symptoms", "positive", "2025")
    assert said(of("tuberculosis", absent, present)) == ("pending", "refer")
    before = result("tb_symptoms", "positive", "2024")
    assert said(of("tuberculosis", absent, before))[1] != "refer"


@pytest.mark.parametrize(
    ("when", "cvx", "state"),
    [
        ("2000-05-05", "115", "not_known"),
        ("2000-05-06", "115", "satisfied"),
        ("1991-08-01", "110", "not_known"),
    ],
)
def test_one_tdap_from_the_age_of_ten_and_no_childhood_dose(
    when: str, cvx: str, state: str
) -> None:
    found = of("pertussis", dose(when, cvx))
    assert found.state == state
    assert found.again_on is None  # its ten-yearly booster is not against pertussis


@pytest.mark.parametrize(
    ("when", "state"), [("2021-03-01", "not_known"), ("2021-03-02", "satisfied")]
)
def test_a_dose_against_pertussis_counts_five_years_in_the_united_kingdom(
    when: str, state: str
) -> None:
    found = of("pertussis", dose(when, "115"), by="uk")
    assert found.state == state
    if state == "satisfied":
        assert found.again_on == ON


@pytest.mark.parametrize(
    ("on", "given_on", "state"),
    [
        (date(2026, 3, 31), "2025-07-01", "satisfied"),
        (date(2026, 3, 31), "2025-06-30", "not_known"),
        (date(2026, 4, 1), "2025-06-30", "not_due"),
        (date(2026, 8, 31), "2025-10-01", "not_due"),
        (date(2026, 9, 1), "2025-10-01", "not_known"),
        (date(2026, 9, 1), "2026-07-15", "satisfied"),
    ],
)
def test_influenza_is_asked_of_each_season(on: date, given_on: str, state: str) -> None:
    found = of("influenza", dose(given_on, "88", on), on=on)
    assert found.state == state
    if state == "not_due":
        assert found.recommended == date(2026, 9, 1)


def test_a_season_begins_on_its_first_day() -> None:
    on, before = date(2026, 7, 1), date(2026, 6, 30)
    assert of("influenza", dose("2026-07-01", "88", on), on=on).state == "satisfied"
    assert of("influenza", dose("2026-06-30", "88", on), on=on).state == "not_due"
    season = rules("us").season
    assert (season.began(on), season.began(before)) == (on, date(2025, 7, 1))
    assert season.ends(before) == before
    assert season.next_offer(date(2026, 9, 1)) == date(2027, 9, 1)


def test_this_seasons_dose_comes_up_again_with_the_next_season() -> None:
    assert of("influenza", dose("2025-10-01", "88")).again_on == date(2026, 9, 1)
    on = date(2026, 7, 20)
    assert of("influenza", dose("2026-07-15", "88", on), on=on).again_on == date(2027, 9, 1)


def test_a_refusal_of_last_season_says_nothing_of_this_one() -> None:
    refused = Against(4, "influenza", "vaccine", date(2025, 10, 1).toordinal())
    assert of("influenza", refused).next_step == "offer_again"
    assert of("influenza", refused, on=date(2026, 10, 1)).next_step == "dose"


@pytest.mark.parametrize(
    ("days", "step"),
    [(6, "second_skin_test"), (7, "none"), (365, "none"), (366, "second_skin_test")],
)
def test_two_skin_tests_lie_a_week_to_twelve_months_apart(days: int, step: str) -> None:
    first = date(2024, 3, 1)
    tests = [
        result("tuberculin", "negative", (first + timedelta(days=d)).isoformat()) for d in (0, days)
    ]
    asked = result("tb_risk", "negative"), result("tb_symptoms", "negative", "2026-02-01")
    assert of("tuberculosis", *tests, *asked).next_step == step


@pytest.mark.parametrize(
    ("first", "second", "step"),
    [
        ("2024-03", "2024-03-20", "second_skin_test"),
        ("2024-03", "2024-04-07", "none"),
        ("2024-03", "2025-03-01", "none"),
        ("2024-03", "2025-03", "second_skin_test"),
    ],
)
def test_a_skin_test_known_to_the_month_counts_if_every_day_of_it_would_do(
    first: str, second: str, step: str
) -> None:
    tests = result("tuberculin", "negative", first), result("tuberculin", "negative", second)
    asked = result("tb_risk", "negative"), result("tb_symptoms", "negative", "2026-02-01")
    assert of("tuberculosis", *tests, *asked).next_step == step


def test_the_second_skin_test_is_planned_a_week_after_the_first() -> None:
    found = of("tuberculosis", result("tuberculin", "negative", "2026-02-27"))
    assert (found.next_step, found.recommended) == ("second_skin_test", date(2026, 3, 6))


@pytest.mark.parametrize(
    ("when", "state"), [("2025-03-01", "pending"), ("2025-03-02", "satisfied")]
)
def test_symptoms_are_reviewed_yearly_after_a_positive_test(when: str, state: str) -> None:
    known = (
        result("igra", "positive"),
        result("chest_x_ray", "negative"),
        result("tb_symptoms", "negative", when),
    )
    found = of("tuberculosis", *known)
    assert found.state == state
    assert found.again_on == (ON if state == "satisfied" else ON - timedelta(days=1))


def test_a_refused_test_is_never_an_infection() -> None:
    refused = Against(4, "tuberculosis", "test", date(2026, 2, 1).toordinal())
    assert said(of("tuberculosis", refused)) == ("not_known", "offer_again")


def test_a_contraindication_goes_to_the_physician_and_a_refusal_is_offered_again() -> None:
    assert said(of("measles", Against(4, "measles", None, 0))) == ("not_known", "refer")
    refused = Against(4, "measles", "vaccine", date(2020, 1, 1).toordinal())
    assert said(of("measles", refused)) == ("not_known", "offer_again")
    after = of("measles", refused, dose("2021-01-01"))
    assert said(after) == ("pending", "dose")  # a dose after it ends the refusal
    # The first dose taken and the next one refused, on one day.
    assert of("measles", refused, dose("2020-01-01")).next_step == "offer_again"


def test_what_no_table_judges_is_refused() -> None:
    with pytest.raises(ValueError, match="hepatitis_b is none of"):
        of("hepatitis_b")
    with pytest.raises(LookupError, match="no tables of immunity for 'xx'"):
        of("measles", by="xx")


WORDS = st.sampled_from(["positive", "negative", "indeterminate", None])
WHEN = st.sampled_from([None, "1991-05-05", "1991-05-06", "1991", "1995-03", "1995-03-20", "2020"])
BASES = st.sampled_from(["laboratory", "clinician", "person"])


@st.composite
def files(draw: st.DrawFn) -> tuple[str, list[Given | ResultOf | Past]]:
    """A disease, and evidence most of which is about it."""
    disease = draw(st.sampled_from(JUDGED))
    vaccine = [cvx for cvx, against in AGAINST.items() if disease in against]
    tests = ["igra", "tuberculin", *SYMPTOMS] if disease == "tuberculosis" else [f"{disease}_igg"]
    about = st.one_of(
        st.builds(dose, WHEN, st.sampled_from([*vaccine, *vaccine, "03", None])),
        st.builds(result, st.sampled_from(tests), WORDS, WHEN),
        st.builds(past, st.just(disease), BASES, WHEN),
    )
    return disease, draw(st.lists(about, max_size=5))


SYMPTOMS = ("tb_symptoms", "tb_risk")


@settings(max_examples=150, deadline=None)
@given(files(), st.sampled_from(["us", "uk"]))
def test_only_a_dated_antibody_result_makes_anybody_not_immune(file, by) -> None:
    """No record is “not known”: what says “not immune” is a negative or equivocal antibody."""
    disease, evidence = file
    if of(disease, *evidence, by=by).state == "not_satisfied":
        against = [e for e in evidence if isinstance(e, ResultOf) and e.test == f"{disease}_igg"]
        assert any(e.days and e.word in ("negative", "indeterminate") for e in against)


@settings(max_examples=150, deadline=None)
@given(files(), st.sampled_from(["us", "uk"]))
def test_nothing_without_a_date_satisfies(file, by) -> None:
    disease, evidence = file
    dated = [e for e in evidence if e.days is not None]
    if of(disease, *evidence, by=by).state == "satisfied":
        assert of(disease, *dated, by=by).state == "satisfied"


@settings(max_examples=150, deadline=None)
@given(files(), st.sampled_from(["us", "uk"]))
def test_nothing_comes_up_again_but_what_is_said_to(file, by) -> None:
    disease, evidence = file
    found = of(disease, *evidence, by=by)
    if disease not in recurring(by):
        assert found.again_on is None
        assert not (disease in rules(by).doses and rules(by).doses[disease].in_season)


def test_influenza_comes_up_again_each_season_and_what_else_each_protocol_says() -> None:
    assert recurring("us") == {"influenza", "tuberculosis"}
    assert recurring("uk") == {"influenza", "pertussis"}


def _plainly(days: Sequence[int], first: int, apart: int) -> int:
    """How many doses of known days count, by the sentence of the rule."""
    counted, before = 0, None
    for day in sorted(days):
        if day >= first and (before is None or day - before >= apart):
            counted += 1
        before = day
    return counted


SPANS = st.lists(
    st.tuples(st.integers(0, 60), st.sampled_from([0, 0, 3, 9])), min_size=1, max_size=3
)


@settings(max_examples=120, deadline=None)
@given(SPANS)
def test_what_counts_for_certain_counts_on_every_day_that_the_dates_allow(spans) -> None:
    """Every way to fill in the days, against the plain rule: never more for certain than the worst way,
    never less possible than the best; with known days both are the plain count."""
    rule, birth = rules("us").doses["measles"], BORN.toordinal()
    start = date(1991, 4, 20).toordinal()
    first = date(1991, 5, 6).toordinal()
    doses = [Given(1, "03", MMR, (start + low, start + low + wide)) for low, wide in spans]
    counted = Counter("measles", rule, rules("us").live, doses, birth, None).count()
    ways = [
        _plainly(days, first, 28)
        for days in product(*(range(d.days[0], d.days[1] + 1) for d in doses if d.days))
    ]
    assert counted.certain <= min(ways)
    assert counted.possible >= max(ways)
    if len(ways) == 1:
        assert counted.certain == counted.possible == ways[0]
