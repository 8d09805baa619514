"""A result settles what it says and nothing more; what cannot be right waits for a person."""

from __future__ import annotations

from datetime import timedelta

import pytest

from ledger.builders import NIGHT, SITE, after, us
from thimble import actions
from thimble.clinical.serology import Analyte, Quantity, Result, Status, Word
from thimble.ledger.assess import assess
from thimble.ledger.fold import fold
from thimble.ledger.plan import Plan
from thimble.ledger.situation import Situation
from thimble.ledger.store import MemoryStore

VOCABULARY = us().vocabulary
RULES = {"protocol": us(), "site": SITE, "by": "u-nurse", "role": "occupational_nurse"}


def opened(store: MemoryStore, **facts: str) -> str:
    return actions.report(
        store, facts={"route": "percutaneous", "fluid": "blood", **facts}, occurred_at=NIGHT,
        occurred_at_precision="minute", vocabulary=VOCABULARY, now=after(minutes=10),
    ).case  # fmt: skip


def result(
    analyte: Analyte,
    word: Word | None,
    *,
    of: str = "source",
    status: Status = Status.FINAL,
    hours: float = 9,
    quantity: Quantity | None = None,
    taken: timedelta = timedelta(hours=2),
) -> Result:
    return Result(
        analyte, of, status, after(taken / timedelta(hours=1)), after(hours), word=word,  # type: ignore[arg-type]
        quantity=quantity, specimen="S-1",
    )  # fmt: skip


def now_known(store: MemoryStore, case: str, hours: float = 30) -> Situation:
    return fold(store.entries(case), after(hours), VOCABULARY)


def plan(store: MemoryStore, case: str, hours: float = 30) -> Plan:
    return assess(now_known(store, case, hours), us(), after(hours), SITE)


def test_a_final_negative_of_the_source_ends_what_rested_on_it(store: MemoryStore):
    case = opened(store, source_hiv_acute_illness="no", worker_hiv="negative", worker_on_prep="no")
    assert plan(store, case).findings["hiv_pep"].value is None
    actions.record_results(
        store, case, [result(Analyte.HIV_AG_AB, Word.NEGATIVE)], now=after(9), **RULES
    )

    assert now_known(store, case).facts["source_hiv"].value == "negative"
    assert now_known(store, case).facts["source_hiv"].said_by == "laboratory"
    assert plan(store, case).findings["hiv_pep"].value == "not_indicated"


@pytest.mark.parametrize(
    ("status", "word"),
    [(Status.PRELIMINARY, Word.NEGATIVE), (Status.FINAL, Word.INDETERMINATE)],
)
def test_what_is_not_final_or_not_clear_settles_nothing(
    store: MemoryStore, status: Status, word: Word
):
    case = opened(store)
    actions.record_results(
        store, case, [result(Analyte.HIV_AG_AB, word, status=status)], now=after(9), **RULES
    )

    assert "source_hiv" not in now_known(store, case).facts
    assert len(now_known(store, case).results) == 1


def test_a_correction_from_negative_to_positive_changes_the_plan(store: MemoryStore):
    case = opened(store, source_hiv_acute_illness="no", worker_hiv="negative", worker_on_prep="no")
    actions.record_results(
        store, case, [result(Analyte.HBSAG, Word.NEGATIVE)], now=after(9), **RULES
    )
    assert now_known(store, case).facts["source_hbsag"].value == "negative"
    actions.record_results(
        store, case, [result(Analyte.HBSAG, Word.POSITIVE, status=Status.CORRECTED, hours=20)],
        now=after(20), **RULES,
    )  # fmt: skip

    assert now_known(store, case).facts["source_hbsag"].value == "positive"


def test_what_the_laboratory_takes_back_is_open_again(store: MemoryStore):
    case = opened(store)
    actions.record_results(
        store, case, [result(Analyte.HBSAG, Word.NEGATIVE)], now=after(9), **RULES
    )
    actions.record_results(
        store, case, [result(Analyte.HBSAG, None, status=Status.RETRACTED, hours=20)],
        now=after(20), **RULES,
    )  # fmt: skip

    assert "source_hbsag" not in now_known(store, case).facts


def test_a_negative_against_a_positive_of_the_record_waits_for_a_person(store: MemoryStore):
    case = opened(store, source_hiv="positive")
    before = store.entries(case)
    negative = [result(Analyte.HIV_AG_AB, Word.NEGATIVE)]
    with pytest.raises(actions.Doubtful, match="whose blood"):
        actions.record_results(store, case, negative, now=after(9), **RULES)
    assert store.entries(case) == before

    actions.record_results(
        store, case, negative, looked_at="Rang the laboratory: right tube.", now=after(9), **RULES
    )
    assert store.entries(case)[-1].body["looked_at"] == "Rang the laboratory: right tube."


def test_a_number_that_cannot_be_waits_for_a_person_and_settles_nothing_even_then(
    store: MemoryStore,
):
    case = opened(store)
    impossible = [
        result(Analyte.ANTI_HBS, None, of="worker", quantity=Quantity(1e9, "m[IU]/mL"))
    ]  # fmt: skip
    with pytest.raises(actions.Doubtful):
        actions.record_results(store, case, impossible, drawn_for="baseline", now=after(9), **RULES)
    actions.record_results(
        store, case, impossible, drawn_for="baseline", looked_at="as printed", now=after(9), **RULES
    )

    assert "worker_anti_hbs_now" not in now_known(store, case).facts


@pytest.mark.parametrize(("titre", "known"), [(9.9, 9.9), (10.0, 10.0), (56.0, 56.0)])
def test_a_titre_of_the_worker_at_baseline_answers_its_question(
    store: MemoryStore, titre: float, known: float
):
    case = opened(store)
    actions.record_results(
        store, case,
        [result(Analyte.ANTI_HBS, None, of="worker", quantity=Quantity(titre, "m[IU]/mL"))],
        drawn_for="baseline", now=after(9), **RULES,
    )  # fmt: skip

    assert now_known(store, case).facts["worker_anti_hbs_now"].value == known


def test_a_follow_up_result_is_no_fact_about_the_worker_before_the_exposure(store: MemoryStore):
    case = opened(store)
    actions.record_results(
        store, case, [result(Analyte.HIV_AG_AB, Word.NEGATIVE, of="worker")],
        drawn_for="baseline", now=after(9), **RULES,
    )  # fmt: skip
    assert now_known(store, case).facts["worker_hiv"].value == "negative"
    weeks = 24 * 12.0 * 7
    actions.record_results(
        store, case,
        [result(Analyte.HIV_AG_AB, Word.POSITIVE, of="worker", hours=weeks,
                taken=timedelta(hours=weeks - 4))],
        drawn_for="follow_up", now=after(weeks), **RULES,
    )  # fmt: skip

    assert now_known(store, case, weeks).facts["worker_hiv"].value == "negative"
    assert len(now_known(store, case, weeks).results) == 2


def test_no_result_is_refused(store: MemoryStore):
    with pytest.raises(actions.Refused, match="no result to record"):
        actions.record_results(store, opened(store), [], now=after(9), **RULES)
