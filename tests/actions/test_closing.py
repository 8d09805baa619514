"""The end of a case: nothing is given up in silence, and nobody is told all clear too soon."""

from dataclasses import replace

import pytest

from actions.detectable import RULES, VOCABULARY, opened, plan
from ledger.builders import after
from thimble import actions
from thimble.clinical.serology import Analyte, Result, Status, Word
from thimble.ledger.bodies import CLOSED_REASONS
from thimble.ledger.closing import ALL_CLEAR, GOES_ON_ELSEWHERE
from thimble.ledger.fold import fold
from thimble.ledger.plan import TO_DO

WHO = {"by": "u2", "role": "occupational_physician"}


@pytest.fixture
def case(store):
    return opened(store)


def test_a_case_with_open_actions_is_closed_only_with_a_reason_for_leaving_them(store, case):
    given = {"reason": "transferred", **RULES, "now": after(1), **WHO}
    with pytest.raises(actions.Refused, match="not done") as refused:
        actions.close(store, case, may_leave=True, **given)
    assert "Give the first dose of HIV prophylaxis now" in refused.value.faults
    actions.close(store, case, may_leave=True, **given, text="followed at the other hospital")
    with pytest.raises(actions.Refused, match="closed already"):
        actions.close(store, case, may_leave=True, **given, text="again")


def test_nobody_is_told_all_clear_while_something_is_left(store, case):
    """No words make it so: what is left is done, or decided otherwise with a reason of its own."""
    with pytest.raises(actions.Refused, match="no all clear") as refused:
        actions.close(
            store,
            case,
            may_leave=True,
            reason="all_clear",
            text="surely fine",
            **RULES,
            now=after(1),
            **WHO,
        )
    assert "Give the first dose of HIV prophylaxis now" in refused.value.faults
    assert fold(store.entries(case), after(1), VOCABULARY).closed_at is None


def test_what_nobody_asked_is_no_all_clear(store):
    """Every action that is certain decided otherwise, nothing else known: unknown is no "no"."""
    case = opened(store, {"route": "percutaneous", "fluid": "blood"})
    for action in plan(store, case, after(1)).actions:
        if action.certain:
            actions.depart(
                store, case, subject=action.id, advised=action.what, decided="Not done",
                reason="said so", now=after(1), **WHO,
            )  # fmt: skip
    with pytest.raises(actions.Refused, match="no all clear") as refused:
        actions.close(store, case, may_leave=True, reason="all_clear", **RULES, now=after(1), **WHO)
    assert "Open: HIV prophylaxis" in refused.value.faults


def test_a_worker_who_cannot_be_reached_is_a_kind_of_closing_of_its_own(store, case):
    actions.close(
        store,
        case,
        may_leave=True,
        reason="lost_to_follow_up",
        text="three letters",
        **RULES,
        now=after(1),
        **WHO,
    )
    assert fold(store.entries(case), after(1), VOCABULARY).closed_reason == "lost_to_follow_up"


def test_a_case_with_nothing_left_is_closed_without_more_words(store):
    case = opened(store, {"route": "intact_skin", "fluid": "urine"})
    left = [a.id for a in plan(store, case, after(1)).actions if a.certain]
    actions.give_first_aid(store, case, steps=["washed"], now=after(1), **WHO)
    for action in left:
        actions.counsel(store, case, action, now=after(1), **WHO)
    actions.close(
        store, case, may_leave=True, reason="not_significant", **RULES, now=after(1), **WHO
    )
    assert fold(store.entries(case), after(1), VOCABULARY).closed_reason == "not_significant"


def test_only_a_closed_case_is_reopened(store, case):
    given = {"reason": "a result came", "vocabulary": VOCABULARY, "now": after(2), **WHO}
    with pytest.raises(actions.Refused, match="is not closed"):
        actions.reopen(store, case, **given)
    actions.close(
        store, case, may_leave=True, reason="other", text="left", **RULES, now=after(1), **WHO
    )
    with pytest.raises(actions.Refused, match="reason must say something"):
        actions.reopen(store, case, **{**given, "reason": ""})
    actions.reopen(store, case, **given)
    assert fold(store.entries(case), after(2), VOCABULARY).closed_at is None


def test_a_result_after_closing_is_still_recorded(store, case):
    actions.close(
        store, case, may_leave=True, reason="other", text="left", **RULES, now=after(1), **WHO
    )
    actions.receive_result(
        store, case, facts={"source_hbsag": "positive"}, vocabulary=VOCABULARY, now=after(2), **WHO
    )
    found = fold(store.entries(case), after(2), VOCABULARY)
    assert found.facts["source_hbsag"].value == "positive"


@pytest.mark.parametrize("reason", sorted(set(CLOSED_REASONS) - {ALL_CLEAR} - GOES_ON_ELSEWHERE))
def test_who_may_not_decide_otherwise_leaves_nothing_undone(store, case, reason):
    given = {"reason": reason, "text": "called thrice", **RULES, "now": after(1), **WHO}
    with pytest.raises(actions.Refused, match="ask a physician") as refused:
        actions.close(store, case, may_leave=False, **given)
    assert "Give the first dose of HIV prophylaxis now" in refused.value.faults
    assert len(store.entries(case)) == 1
    actions.close(store, case, may_leave=True, **given)


def test_a_report_made_twice_is_closed_by_whoever_closes_cases(store, case):
    """The other case holds what is to be done; it is named, and open."""
    given = {"reason": "duplicate", **RULES, "now": after(1), **WHO}
    other, shut = opened(store), opened(store)
    actions.close(
        store, shut, may_leave=True, reason="other", text="left", **RULES, now=after(1), **WHO
    )
    with pytest.raises(actions.Refused, match="say why"):
        actions.close(store, case, may_leave=False, **given)
    for text in ("same needle", f"see {case}", f"see {shut}", "see K7QM-2F49"):
        with pytest.raises(actions.Refused, match="name the open case"):
            actions.close(store, case, may_leave=False, text=text, **given)
    actions.close(store, case, may_leave=False, text=f"same needle, see {other}.", **given)


@pytest.mark.parametrize("reason", ["source_negative", "not_significant", "other"])
def test_a_sample_whose_result_is_awaited_is_left_by_a_physician_with_a_reason(store, reason):
    """Nothing of the plan is to be done any more, but nobody knows yet what the last blood shows."""
    case = opened(store, {"route": "intact_skin", "fluid": "urine"})
    left = [a.id for a in plan(store, case, after(1)).actions if a.certain]
    actions.give_first_aid(store, case, steps=["washed"], now=after(1), **WHO)
    for action in left:
        actions.counsel(store, case, action, now=after(1), **WHO)
    actions.take_sample(store, case, "baseline_hiv", now=after(1), **WHO)
    given = {"reason": reason, **RULES, "now": after(1), **WHO}
    with pytest.raises(actions.Refused, match="say why"):
        actions.close(store, case, may_leave=True, **given)
    with pytest.raises(actions.Refused, match="ask a physician"):
        actions.close(store, case, may_leave=False, text="surely negative", **given)
    actions.close(store, case, may_leave=True, text="not needed: intact skin", **given)


def test_what_was_left_is_named_and_is_to_be_done_again_once_reopened(store, case):
    before = {a.id for a in plan(store, case, after(1)).actions if a.state in TO_DO}
    (entry,) = actions.close(
        store, case, may_leave=True, reason="transferred", text="elsewhere", **RULES,
        now=after(1), **WHO,
    )  # fmt: skip
    assert "hiv_pep_first_dose" in entry.body["left"]
    assert set(entry.body["left"]) <= before
    actions.reopen(store, case, reason="came back", vocabulary=VOCABULARY, now=after(1), **WHO)
    assert {a.id for a in plan(store, case, after(1)).actions if a.state in TO_DO} == before


def test_no_correction_closes_a_case(store, case):
    """Withdrawing what opened it again, or what withdrew its end, is no way round the page."""
    given = {"vocabulary": VOCABULARY, "now": after(1), **WHO}
    wrong = {"reason": "mistaken", "withdrawn": True, **given}
    actions.close(
        store, case, may_leave=True, reason="other", text="left", **RULES, now=after(1), **WHO
    )
    actions.reopen(store, case, reason="a result came", **given)
    with pytest.raises(actions.Refused, match="close it on its own page"):
        actions.correct(store, case, 3, **wrong)
    actions.correct(store, case, 2, **wrong)  # the end itself: the case stays open
    actions.correct(store, case, 3, **wrong)
    with pytest.raises(actions.Refused, match="close it on its own page"):
        actions.correct(store, case, 4, **wrong)
    assert fold(store.entries(case), after(1), VOCABULARY).closed_at is None


def harmless(store) -> str:
    """A case with nothing left to do: only blood that somebody drew all the same."""
    case = opened(store, {"route": "intact_skin", "fluid": "urine"})
    left = [a.id for a in plan(store, case, after(1)).actions if a.certain]
    actions.give_first_aid(store, case, steps=["washed"], now=after(1), **WHO)
    for action in left:
        actions.counsel(store, case, action, now=after(1), **WHO)
    actions.take_sample(store, case, "baseline_hiv", specimen="W 1", now=after(2), **WHO)
    return case


def test_a_result_that_the_laboratory_took_back_is_awaited_again(store):
    case = harmless(store)
    laboratory(store, case, Word.NEGATIVE)
    taken_back = Result(
        analyte=Analyte.HIV_AG_AB, of="worker", status=Status.RETRACTED, taken_at=after(2),
        reported_at=after(9, 30), word=None, specimen="w1",
    )  # fmt: skip
    actions.record_results(
        store, case, [taken_back], drawn_for="baseline", now=after(9, 40), **RULES, **WHO
    )
    with pytest.raises(actions.Refused, match="Result awaited"):
        clear(store, case)
    actions.record_results(
        store, case, [replace(taken_back, status=Status.FINAL, word=Word.NEGATIVE, specimen="W1",
                              reported_at=after(9, 50))],
        drawn_for="baseline", now=after(9, 55), **RULES, **WHO,
    )  # fmt: skip
    clear(store, case)


def laboratory(store, case, word: Word, *, specimen: str = "w1", analyte=Analyte.HIV_AG_AB) -> None:
    result = Result(
        analyte=analyte, of="worker", status=Status.FINAL, taken_at=after(2), reported_at=after(9),
        word=word, specimen=specimen,
    )  # fmt: skip
    actions.record_results(
        store, case, [result], drawn_for="baseline", now=after(9), **RULES, **WHO
    )


def clear(store, case, at=None) -> None:
    actions.close(
        store, case, may_leave=True, reason="all_clear", **RULES, now=at or after(10), **WHO
    )


def test_blood_that_was_drawn_waits_for_its_result(store):
    case = harmless(store)
    with pytest.raises(actions.Refused) as refused:
        clear(store, case)
    (awaited,) = (fault for fault in refused.value.faults if "Result awaited" in fault)
    # Under which number a result that is entered by hand counts.
    assert awaited.endswith("(W 1)")
    laboratory(store, case, Word.NEGATIVE, specimen="another")
    with pytest.raises(actions.Refused, match="Result awaited"):
        clear(store, case)
    laboratory(store, case, Word.NEGATIVE)
    clear(store, case)
    assert fold(store.entries(case), after(11), VOCABULARY).closed_reason == "all_clear"


@pytest.mark.parametrize("word", [Word.POSITIVE, Word.INDETERMINATE])
def test_nobody_with_a_result_that_is_not_negative_is_told_all_clear(store, word):
    case = harmless(store)
    laboratory(store, case, word)
    with pytest.raises(actions.Refused, match=r"not negative|not final|infection"):
        clear(store, case)


def test_an_infection_among_the_answers_is_no_all_clear(store):
    case = harmless(store)
    laboratory(store, case, Word.NEGATIVE)
    actions.learn_facts(
        store, case, {"worker_anti_hcv": "positive"}, said_by="worker", vocabulary=VOCABULARY,
        now=after(9), **WHO,
    )  # fmt: skip
    with pytest.raises(actions.Refused, match="An infection of the worker"):
        clear(store, case)
