"""Exposure-prone procedures towards the first day: what each rule set asks, and what nobody may be told."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, datetime, timedelta
from typing import Any

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from people.files import DECLINED, DOSE, ENROLLED, NOW, ONE, RESULT, people, write
from thimble.clinical.durations import Duration
from thimble.clinical.readiness import Need, Readiness, Status, said_together
from thimble.clinical.screening import INFECTIONS
from thimble.ledger.fitness import FitnessDecision
from thimble.people.entries import Kind
from thimble.people.fold import Person, fold
from thimble.people.products import products
from thimble.people.readiness import Asked, readiness
from thimble.people.readiness import judging as judges
from thimble.people.readiness.procedures import as_if
from thimble.people.readiness.supposing import suppose
from thimble.people.screened import screened

ON = NOW.date()
BORN = date(1990, 2, 28)
UK = Asked(("hepatitis_b",), "uk", Duration(3, "days"), "uk_2023")
VALID = {"identified": "yes", "drawn_here": "yes", "direct": "yes"}
Draft = tuple[Kind, dict[str, Any]]


def dose(when: str) -> Draft:
    return Kind.DOSE_RECORDED, {**DOSE, "when": when, "product": "43"}


def result(test: str, word: str | None = "negative", **more: Any) -> Draft:
    body = {"number": None, "comparator": "=", "unit": "", "sample": VALID, "when": "2026-02-10"}
    return Kind.RESULT_RECORDED, {**RESULT, **body, "test": test, "word": word, **more}


def refused(disease: str) -> Draft:
    return Kind.DECLINED, {**DECLINED, "what": "test", "disease": disease, "on": "2026-02-20"}


SERIES = (dose("2019-02-04"), dose("2019-03-07"), dose("2019-08-11"))
TITRE = (Kind.RESULT_RECORDED, {**RESULT, "when": "2019-10-02", "number": 240})
NORMAL = result("weak_immunity")
IMMUNE = (*SERIES, TITRE, NORMAL)
ALL_THREE = tuple(result(first) for first, _ in INFECTIONS.values())


def person(*drafts: Draft, prone: str = "yes") -> Person:
    store = people()
    write(store, (Kind.ENROLLED, {**ENROLLED, "exposure_prone": prone}), *drafts)
    return fold(store.entries(ONE), NOW)


def whole(*drafts: Draft, prone: str = "yes", asked: Asked = UK, **more: Any) -> Readiness:
    return readiness(person(*drafts, prone=prone), BORN, ON, asked, **more)


def decided(outcome: str = "fit", **more: Any) -> FitnessDecision:
    facts = {"occasion": "clearance", "exposure_prone": "yes"}
    told = FitnessDecision(
        ONE, 9, "u-9", NOW, outcome, "none", date(2099, 1, 1), "uk_2023", "", "", "", (), facts, {}, ""
    )  # fmt: skip
    return replace(told, **more)


def test_immune_and_untested_is_ready_for_other_work_and_for_these_with_the_laboratory_s_days() -> (
    None
):
    found = whole(*IMMUNE)

    assert found.status is Status.READY_WITHOUT
    assert found.ready_on == date(2026, 3, 5)
    assert said_together(found.lacks, ON) == (
        "Before exposure-prone procedures, test from an identified and validated sample: "
        "HBsAg and total anti-HBc, Anti-HCV, HIV antigen and antibody, now.",
    )
    slow = whole(*IMMUNE, asked=replace(UK, turnaround=Duration(10, "days")))
    assert slow.ready_on == date(2026, 3, 12)


def test_with_all_three_from_validated_samples_nothing_is_missing() -> None:
    assert whole(*IMMUNE, *ALL_THREE).status is Status.READY


@pytest.mark.parametrize("prone", ["no", "not_known"])
def test_other_work_asks_for_none_of_it_and_who_did_not_say_is_not_taken_for_a_no(
    prone: str,
) -> None:
    found = whole(*IMMUNE, prone=prone)

    assert found.lacks == ()
    assert found.status is (Status.READY if prone == "no" else Status.READY_WITHOUT)
    assert bool(found.unsaid) == (prone == "not_known")
    # Nobody is asked what changes nothing.
    assert whole(*IMMUNE, *ALL_THREE, prone=prone).status is Status.READY


@pytest.mark.parametrize("rule_set", ["us_shea_2020", "us_cdc_2012", "us_shea_2010"])
def test_no_rule_set_of_the_united_states_makes_a_test_a_condition(rule_set: str) -> None:
    us = replace(UK, protocol="us", rule_set=rule_set)

    for prone in ("yes", "no", "not_known"):
        assert whole(*IMMUNE, prone=prone, asked=us).status is Status.READY
    infected = whole(*IMMUNE, result("anti_hcv", "positive"), asked=us)
    assert infected.status is Status.READY_WITHOUT
    # Whether it matters hangs on the work.
    unsaid = whole(*IMMUNE, result("anti_hcv", "positive"), prone="not_known", asked=us)
    assert unsaid.status is Status.READY_WITHOUT


def test_of_ireland_only_hepatitis_b_is_known_and_the_rest_is_the_physicians() -> None:
    irish = whole(*IMMUNE, ALL_THREE[0], asked=replace(UK, rule_set="ireland_2005"))

    assert (irish.status, irish.lacks) == (Status.READY_WITHOUT, ())
    assert irish.unsaid == (
        "Exposure-prone procedures: the physician decides under fitness for work",
    )


def test_without_a_rule_set_nobody_is_ready_for_them() -> None:
    none = replace(UK, rule_set="")

    assert whole(*IMMUNE, *ALL_THREE, asked=none).status is Status.READY_WITHOUT
    assert whole(*IMMUNE, prone="not_known", asked=none).status is Status.READY


def test_a_refused_test_has_no_day_and_names_no_infection() -> None:
    found = whole(*IMMUNE, *ALL_THREE[:2], refused("hiv"))

    assert (found.status, found.ready_on, found.lacks) == (Status.READY_WITHOUT, None, ())
    assert found.open == (
        "A test before exposure-prone procedures was declined; the offer stands.",
    )
    assert "HIV" not in found.said()


def test_a_positive_result_is_the_physicians_and_names_no_infection() -> None:
    positive = (*IMMUNE, *ALL_THREE[:2], result("hiv_ag_ab", "positive"))
    found = whole(*positive)

    assert [(lack.need, lack.what) for lack in found.lacks] == [
        (Need.PHYSICIAN, "Exposure-prone procedures: the physician decides under fitness for work")
    ]
    assert found.status is Status.READY_WITHOUT
    assert whole(*positive, decision=decided()).status is Status.READY


@pytest.mark.parametrize(
    ("decision", "status"),
    [
        (decided("not_fit"), Status.NOT_FIT),
        (decided("fit", review_on=ON), Status.OPEN),
        (decided("fit", restriction="no_exposure_prone"), Status.READY_WITHOUT),
        (
            decided("fit", facts={"occasion": "after_exposure", "exposure_prone": "yes"}),
            Status.READY_WITHOUT,
        ),
        (
            decided("fit", facts={"occasion": "clearance", "exposure_prone": "no"}),
            Status.READY_WITHOUT,
        ),
    ],
)
def test_only_a_clearance_for_them_that_holds_settles_what_is_the_physicians(
    decision: FitnessDecision, status: Status
) -> None:
    positive = (*IMMUNE, *ALL_THREE[:2], result("hiv_ag_ab", "positive"))

    assert whole(*positive, decision=decision).status is status


@pytest.mark.parametrize(
    "later",
    [
        result("hiv_ag_ab", "positive"),
        result("hiv_rna", None, number=350, unit="{copies}/mL"),
        (Kind.HISTORY_RECORDED, {"disease": "hiv", "basis": "clinician", "when": None, "text": ""}),
    ],
)
def test_what_was_found_after_a_decision_is_not_settled_by_it(later: Draft) -> None:
    """Fit a month ago, and a virus written down today: nobody has decided about that yet."""
    before = decided(at=NOW - timedelta(days=30))

    assert whole(*IMMUNE, *ALL_THREE, decision=before).status is Status.READY
    assert whole(*IMMUNE, *ALL_THREE, later, decision=before).status is Status.READY_WITHOUT
    assert whole(*IMMUNE, *ALL_THREE, later, decision=decided()).status is Status.READY


def test_a_result_that_was_set_right_after_a_decision_is_not_settled_by_it() -> None:
    """A negative from before the decision that the laboratory calls positive since."""
    store, long_ago = people(), NOW - timedelta(days=15)
    enrolled = (Kind.ENROLLED, {**ENROLLED, "exposure_prone": "yes"})
    write(store, enrolled, *IMMUNE, *ALL_THREE, at=long_ago)
    hiv = next(e for e in store.entries(ONE) if e.body.get("test") == "hiv_ag_ab")
    positive = result("hiv_ag_ab", "positive")[1]
    set_right = {"corrects": hiv.position, "reason": "Set right", "body": positive}
    write(store, (Kind.CORRECTED, set_right))
    before = decided(at=NOW - timedelta(days=5))

    def status(moment: datetime, decision: FitnessDecision) -> Status:
        return readiness(fold(store.entries(ONE), moment), BORN, ON, UK, decision).status

    assert status(NOW - timedelta(days=1), before) is Status.READY
    assert status(NOW, before) is Status.READY_WITHOUT
    assert status(NOW, decided()) is Status.READY


def test_a_decision_replaces_no_test_that_has_no_result() -> None:
    assert whole(*IMMUNE, *ALL_THREE[:2], decision=decided()).status is Status.READY_WITHOUT


def test_rna_after_antibody_has_no_day_as_the_physician_decides_then() -> None:
    found = whole(*IMMUNE, ALL_THREE[0], ALL_THREE[2], result("anti_hcv", "positive"))

    assert [lack.item for lack in found.lacks] == ["hcv_rna"]
    assert found.open == (
        "Before exposure-prone procedures the physician decides once HCV RNA is known.",
    )


def test_an_unclear_result_of_today_is_repeated_and_a_negative_one_of_a_new_sample_settles_it() -> (
    None
):
    found = whole(
        *IMMUNE, *ALL_THREE[:2], result("hiv_ag_ab", "indeterminate", when=ON.isoformat())
    )

    assert [lack.what for lack in found.lacks] == [
        "Before exposure-prone procedures, repeat the test on a new sample: HIV antigen and antibody"
    ]
    assert found.ready_on == date(2026, 3, 5)


def test_a_dose_in_thought_moves_the_day_of_hbsag_and_of_no_other_test() -> None:
    """What-if: first dose today; the panel then waits 28 days."""
    found = suppose(person(NORMAL), BORN, ON, UK, products()["43"], ON)
    days = {lack.item: lack.recommended for lack in found.after.lacks if lack.need is Need.TEST}

    assert days["hbsag"] == date(2026, 3, 30)
    assert days["anti_hcv"] == days["hiv_ag_ab"] == ON
    assert found.after.without is not None
    other = products()["03"]
    unmoved = suppose(person(*IMMUNE), BORN, ON, UK, other, ON)
    assert unmoved.after == unmoved.before


def test_hbsag_waits_28_days_after_a_dose_and_the_other_tests_do_not() -> None:
    """IMM: 28 days after a dose before the panel. The series goes on meanwhile."""
    found = whole(dose("2026-02-25"))
    days = {lack.item: lack.recommended for lack in found.lacks if lack.need is Need.TEST}

    assert days["hbsag"] == date(2026, 3, 25)
    assert days["anti_hcv"] == days["hiv_ag_ab"] == ON


def test_the_person_is_told_of_a_sample_and_never_which_test_it_is() -> None:
    positive = result("anti_hcv", "positive")
    (told,) = {lack.told for lack in whole(*IMMUNE, positive).lacks}

    assert not any(word in told for word in ("HCV", "HIV", "RNA", "HBs"))


def test_where_the_table_lets_no_other_work_begin_nobody_is_ready_for_it(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(judges, "other_work_may_begin", lambda *_: False)

    assert whole(*IMMUNE).status is Status.ON_COURSE


def test_a_titre_that_only_waits_for_one_answer_asks_for_the_answer() -> None:
    """United Kingdom: whether a response lasts is the physician's in weak immunity; nobody asked yet."""
    found = whole(*SERIES, TITRE, prone="no")

    assert said_together(found.lacks, ON) == (
        "Hepatitis B: ask whether anything weakens the immune system, now.",
    )
    assert found.said() == "Ready by Mon 2 Mar 2026 if nothing weakens the immune system."
    weak = whole(*SERIES, TITRE, result("weak_immunity", "positive"), prone="no")
    assert (weak.status, [lack.need for lack in weak.lacks]) == (Status.OPEN, [Need.PHYSICIAN])


DRAFTS = st.lists(
    st.one_of(
        st.builds(dose, st.sampled_from(["2019-02-04", "2019-03-07", "2019-08-11", "2026-02-25"])),
        st.builds(
            result,
            st.sampled_from([t for pair in INFECTIONS.values() for t in pair]),
            st.sampled_from(["positive", "negative", "indeterminate"]),
            when=st.sampled_from(["2026-02-10", "2026-02-20", "2026", None]),
            sample=st.sampled_from([VALID, {**VALID, "direct": "not_known"}]),
        ),
        st.builds(
            result,
            st.just("anti_hbs"),
            st.none(),
            number=st.sampled_from([3, 40, 240]),
            unit=st.just("m[IU]/mL"),
            when=st.sampled_from(["2019-10-02", "2026-02-20"]),
        ),
        st.builds(result, st.just("weak_immunity"), st.sampled_from(["negative", "positive"])),
        st.builds(refused, st.sampled_from(list(INFECTIONS))),
    ),
    max_size=7,
)  # fmt: skip
RULE_SETS = st.sampled_from(
    ["uk_2023", "uk_2019", "us_shea_2020", "us_cdc_2012", "ireland_2005", ""]
)


@example(list(IMMUNE), "uk_2023", "uk", "yes", None)  # ready for other work: rare by chance
@settings(max_examples=150, deadline=None)
@given(
    DRAFTS,
    RULE_SETS,
    st.sampled_from(["uk", "us"]),
    st.sampled_from(["yes", "not_known"]),
    st.sampled_from([None, decided()]),
)
def test_nobody_is_ready_for_them_while_a_test_that_is_asked_for_has_no_result(
    drafts: list[Draft], rule_set: str, by: str, prone: str, decision: FitnessDecision | None
) -> None:
    file = person(*drafts, prone=prone)
    asked = Asked(("hepatitis_b",), by, Duration(3, "days"), rule_set)
    found = readiness(file, BORN, ON, asked, decision)
    said = screened(as_if(file, "yes"), ON, rule_set)
    if said is None:
        assert prone == "not_known" or found.status is not Status.READY
    elif any(each.says in ("missing", "refused") for each in said.infections):
        assert found.status is not Status.READY
    if found.status is Status.READY_WITHOUT:
        other = readiness(as_if(file, "no"), BORN, ON, asked)
        assert other.status is Status.READY


@settings(max_examples=150, deadline=None)
@given(DRAFTS, st.sampled_from(["uk_2023", "us_shea_2020", "ireland_2005"]))
def test_for_other_work_the_answer_is_that_of_somebody_who_does_none(
    drafts: list[Draft], rule_set: str
) -> None:
    """`without` takes short cuts: it is what the tables say of the same file without such procedures."""
    file, asked = person(*drafts), replace(UK, rule_set=rule_set)
    found, other = readiness(file, BORN, ON, asked), readiness(as_if(file, "no"), BORN, ON, asked)

    if found.without is not None:
        assert (found.without.status, found.without.ready_on, found.without.soonest) == (
            other.status, other.ready_on, other.soonest
        )  # fmt: skip


@settings(max_examples=100, deadline=None)
@given(DRAFTS)
def test_who_has_the_tests_done_on_their_days_lacks_none_of_them_on_the_day_that_was_said(
    drafts: list[Draft],
) -> None:
    file = person(*drafts)
    found = readiness(file, BORN, ON, UK)
    planned = [s for s in found.procedures if s.ready_on is not None]
    done = [
        result(lack.item, when=str(max(lack.recommended, ON + timedelta(days=2))))
        for state in planned
        for lack in state.lacks
        if lack.recommended is not None
    ]
    last = max((s.ready_on for s in planned if s.ready_on), default=ON) + timedelta(days=2)
    after = readiness(person(*drafts, *done), BORN, last, UK)
    settled = {s.disease: s.satisfied for s in after.procedures}

    assert all(settled[state.disease] for state in planned)
