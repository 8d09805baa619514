"""Results on record for fitness: the latest, in the unit of the limits, on a certain side of them."""

from __future__ import annotations

from datetime import UTC, date, datetime
from decimal import Decimal
from typing import Any

import pytest

from thimble.clinical.fitness import tables
from thimble.clinical.fitness.offering import (
    DIFFER,
    UNCERTAIN_DAY,
    WAS_POSITIVE,
    Offered,
    OnRecord,
    offer,
)
from thimble.clinical.serology import Analyte, Quantity, Result, Status, Word

NOW = datetime(2026, 3, 2, 12, tzinfo=UTC)
DNA, HIV, RNA = Analyte.HBV_DNA, Analyte.HIV_RNA, Analyte.HCV_RNA


def one(
    analyte: Analyte, word: str = "", number: float | None = None, unit: str = "[IU]/mL",
    sign: str = "=", day: str = "2026-02-03", doubt: str = "",
) -> OnRecord:  # fmt: skip
    quantity = None if number is None else Quantity(number, unit, sign)
    result = Result(
        analyte, "worker", Status.FINAL, None, NOW, Word(word) if word else None, quantity
    )
    return OnRecord(result, day, "this case", doubt)


def only(*found: OnRecord) -> Offered:
    (offered,) = offer(found)
    assert bool(offered.facts) is not bool(offered.why_not)
    return offered


@pytest.mark.parametrize("before", ["2019-05-06", "2019", ""])
@pytest.mark.parametrize("analyte", [Analyte.HBSAG, Analyte.ANTI_HCV])
def test_an_infection_that_was_found_once_is_not_offered_as_absent(
    analyte: Analyte, before: str
) -> None:
    """Antibody to hepatitis C stays after cure: negative after positive never reads as never infected."""
    found = offer([one(analyte, "positive", day=before), one(analyte, "negative")])
    assert [each.why_not for each in found if each.evidence.day == "2026-02-03"] == [WAS_POSITIVE]
    assert all(not each.facts for each in found)
    later = only(one(analyte, "negative", day="2019-05-06"), one(analyte, "positive"))
    assert list(later.facts.values()) == ["positive"]


@pytest.mark.parametrize(
    ("result", "facts"),
    [
        (one(Analyte.HBSAG, "negative"), {"hbsag": "negative"}),
        (one(Analyte.HBEAG, "positive"), {"hbeag": "positive"}),
        (one(Analyte.ANTI_HCV, "positive"), {"anti_hcv": "positive"}),
        (one(RNA, "negative"), {"hcv_rna": "not_detected"}),
        (one(RNA, number=15), {"hcv_rna": "detected"}),
        (one(DNA, number=640), {"hbv_dna_reported": "number", "hbv_dna": 640.0}),
        (one(DNA, number=640, unit="IU/mL"), {"hbv_dna_reported": "number", "hbv_dna": 640.0}),
        (one(DNA, "negative"), {"hbv_dna_reported": "number", "hbv_dna": 0.0}),
        (one(DNA, number=20, sign="<"), {"hbv_dna_reported": "number", "hbv_dna": 0.0}),
        (one(DNA, "positive", 20, sign="<"), {"hbv_dna_reported": "number", "hbv_dna": 0.0}),
        (one(DNA, number=60, sign="<"), {"hbv_dna_reported": "number", "hbv_dna": 0.0}),
        (one(DNA, number=1e8, sign=">"), {"hbv_dna_reported": "number", "hbv_dna": 1e8}),
        (one(HIV, number=350, unit="{copies}/mL"), {"hiv_load_reported": "number", "hiv_load": 350.0}),
    ],
)  # fmt: skip
def test_what_a_result_answers(result: OnRecord, facts: dict[str, Any]) -> None:
    assert only(result).facts == facts


@pytest.mark.parametrize(
    ("result", "why"),
    [
        (one(DNA, number=3200, unit="{copies}/mL"), "copies}/mL. The limits are in IU/mL"),
        (one(DNA, number=3200, unit="[GE]/mL"), "nothing is converted here"),
        (one(DNA, number=3200, unit=""), "in no unit"),
        (one(HIV, number=350, unit="[IU]/mL"), "The limits are in copies/mL"),
        (one(DNA, number=60, sign="<="), "either side of a limit"),
        (one(DNA, number=61, sign="<"), "either side of a limit"),
        (one(HIV, number=51, unit="{copies}/mL", sign="<"), "either side of a limit"),
        (one(DNA, number=2000, sign=">"), "either side of a limit"),
        (one(DNA, number=2000, sign=">="), "either side of a limit"),
        (one(DNA, "positive"), "no number"),
        (one(DNA, "indeterminate", 20, sign="<"), "no number"),
        (one(DNA, "negative", 500), "no number"),
        (one(RNA, number=15, sign="<"), "neither positive nor negative"),
        (one(Analyte.HBSAG, "indeterminate"), "neither positive nor negative"),
        (one(DNA, number=150, doubt="It is preliminary."), "It is preliminary."),
        (one(DNA, number=150, day=""), UNCERTAIN_DAY),
        (one(DNA, number=150, day="2026-02"), UNCERTAIN_DAY),
    ],
)  # fmt: skip
def test_what_does_not_answer_is_told_with_why(result: OnRecord, why: str) -> None:
    assert why in only(result).why_not


def test_a_number_at_the_limit_of_the_test_is_offered_only_on_one_side_of_every_limit() -> None:
    """Against the rules themselves: whatever “<x” may be, a load offered for it meets the same tests."""
    where = {t.id: t.inputs.index("hbv_dna") for t in tables().tables if "hbv_dna" in t.inputs}
    for limit in (1, 20, 59, 60, 61, 199, 200, 201, 2000):
        offered = only(one(DNA, number=limit, sign="<"))
        sides = {
            tuple(r.tests[at].text for t, at in where.items() for r in tables().table(t).rules
                  if r.tests[at].accepts_number(Decimal(str(load))))
            for load in (0, limit / 2, limit - 0.01)
        }  # fmt: skip
        assert bool(offered.facts) is (len(sides) == 1), limit


def test_the_latest_counts_with_its_day_as_the_day_of_the_monitoring_sample() -> None:
    old, new = one(DNA, number=640, day="2025-09-01"), one(DNA, number=150)
    for found in ([old, new], [new, old]):
        offered = only(*found)
        assert offered.facts["hbv_dna"] == 150
        assert offered.days == {"hbv_sample": date(2026, 2, 3)}
    assert only(one(HIV, "negative")).days == {"hiv_sample": date(2026, 2, 3)}
    assert only(one(Analyte.HBSAG, "negative")).days == {}


def test_a_newer_result_in_doubt_is_not_passed_over_for_an_older_one() -> None:
    newer = one(DNA, number=640, doubt="It is preliminary.")
    assert only(newer, one(DNA, number=150, day="2025-09-01")).facts == {}


def test_one_that_may_be_later_stands_beside_the_latest() -> None:
    exact = one(Analyte.HBEAG, "negative")
    said = [o.why_not for o in offer([exact, one(Analyte.HBEAG, "positive", day="2026-02")])]
    assert said == ["", UNCERTAIN_DAY]
    assert [o.why_not for o in offer([exact, one(Analyte.HBEAG, "positive", day="2025")])] == [""]


def test_two_results_of_one_day_that_differ_answer_nothing() -> None:
    both = offer([one(Analyte.HBSAG, "negative"), one(Analyte.HBSAG, "positive")])
    assert [(o.facts, o.why_not) for o in both] == [({}, DIFFER)] * 2
    assert only(one(Analyte.HBSAG, "negative"), one(Analyte.HBSAG, "negative")).why_not == ""
