"""Fitness: published worked situations, dates of the printed windows, and what no missing fact may do."""

from __future__ import annotations

import tomllib
from datetime import date, timedelta
from pathlib import Path
from typing import Any

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from thimble.clinical.fitness import propose, put, schedule, tables, vocabulary
from thimble.clinical.fitness.proposing import SAYS
from thimble.protocol import check_protocol

TODAY = date(2026, 3, 2)
EXAMPLES: list[dict[str, Any]] = tomllib.loads(
    (Path(__file__).parent / "fitness_examples.toml").read_text(encoding="utf-8")
)["example"]
UK_HIV = {"rule_set": "uk_2023", "hiv": "positive", "hbsag": "negative", "hbv_immunity": "immune",
          "anti_hcv": "negative"}  # fmt: skip


def test_the_tables_are_proved_and_their_cases_hold() -> None:
    assert check_protocol(tables()) == ()


def test_every_rule_names_its_source_and_only_what_was_read_is_marked_so() -> None:
    for table in tables().tables:
        for rule in table.rules:
            assert rule.source, rule.id
            if rule.standing == "read":
                assert "as remembered" not in rule.source, rule.id
                assert "as quoted" not in rule.source, rule.id


@pytest.mark.parametrize("example", EXAMPLES, ids=[e["name"] for e in EXAMPLES])
def test_a_whole_situation_comes_out_as_its_source_says(example: dict[str, Any]) -> None:
    said = propose({"monitoring": "in_time", **example["facts"]}, {}, TODAY)
    # Without days the computed answer is open or nothing is due; an example's own answer then stands.
    for decision in ("fitness", "restriction"):
        if decision in example:
            assert list(getattr(said, decision).possible) == example[decision]


def test_the_window_of_the_printed_example() -> None:
    """Sample Monday 2 June 2025: opens 11 August, due 25 August, closes 8 September 2025."""
    (due,) = schedule(UK_HIV, {"hiv_sample": date(2025, 6, 2)}).due
    assert (due.opens, due.on, due.closes) == (
        date(2025, 8, 11), date(2025, 8, 25), date(2025, 9, 8),
    )  # fmt: skip
    assert [due.overdue(due.closes + timedelta(days=d)) for d in (-1, 0, 1)] == [False, False, True]


def test_hepatitis_c_is_checked_six_months_after_treatment() -> None:
    """Treatment ended 1 March, sample 5 June: cleared, check due 1 September."""
    facts = {"rule_set": "uk_2023", "anti_hcv": "positive", "hcv_rna": "not_detected",
             "hcv_treatment": "ended", "months_since_hcv_treatment_end": 3,
             "hbsag": "negative", "hbv_immunity": "immune", "hiv": "negative"}  # fmt: skip
    (due,) = schedule(facts, {"hcv_treatment_end": date(2025, 3, 1)}).due
    assert due.on == date(2025, 9, 1)


@pytest.mark.parametrize(
    ("rule_set", "treatment", "due"),
    [
        ("uk_2023", "on", date(2026, 9, 2)),
        ("uk_2019", "on", date(2026, 5, 25)),
        ("uk_2023", "never", date(2027, 3, 2)),
        ("us_shea_2020", "on", date(2026, 9, 2)),
    ],
)
def test_the_interval_for_hepatitis_b_is_the_rule_sets(
    rule_set: str, treatment: str, due: date
) -> None:
    facts = {**UK_HIV, "hiv": "negative", "rule_set": rule_set, "hbsag": "positive",
             "hbv_treatment": treatment}  # fmt: skip
    assert [d.on for d in schedule(facts, {"hbv_sample": TODAY}).due] == [due]


def test_a_missing_day_leaves_monitoring_open_and_is_asked() -> None:
    held = next(e for e in EXAMPLES if e["name"] == "UK: monitoring overdue")["facts"]
    facts = {k: v for k, v in held.items() if k != "monitoring"}
    said = propose(facts, {}, TODAY)
    assert said.fitness.value is None
    assert said.questions == ("monitoring",)
    sample = TODAY - timedelta(weeks=14)
    assert propose(facts, {"hiv_sample": sample}, TODAY).fitness.value == "fit"
    late = propose(facts, {"hiv_sample": sample - timedelta(days=1)}, TODAY)
    assert late.restriction.value == "no_exposure_prone_for_now"


def test_without_a_rule_set_nothing_is_settled_by_a_load() -> None:
    facts = next(e for e in EXAMPLES if e["name"].startswith("no rule set"))["facts"]
    said = propose(facts, {}, TODAY)
    assert said.rule_set is None
    assert "rule_set" in said.questions


def test_nobody_may_answer_for_the_tables() -> None:
    with pytest.raises(ValueError, match="hbv_says is the tables' to answer"):
        propose({"hbv_says": "cleared"}, {}, TODAY)
    with pytest.raises(ValueError, match="hiv_load lies between 0"):
        put({"hiv_load": -1})


ASKED = [f for f in vocabulary().values() if f.id not in SAYS]


def _values(fact: Any) -> st.SearchStrategy[Any]:
    if fact.kind == "number":
        edges = [0, 2, 3, 5, 6, 11, 12, 49, 50, 59, 60, 199, 200, 201, 499, 500, 999, 1000, 1001,
                 1999, 2000, 9999, 10000]  # fmt: skip
        return st.sampled_from([edge for edge in edges if edge <= fact.high])
    return st.sampled_from(fact.values)


WHOLE = st.fixed_dictionaries({f.id: _values(f) for f in ASKED}).map(
    lambda facts: {**facts, "occasion": "clearance", "exposure_prone": "yes"}
)


OVERDUE_AS_SAID: dict[str, Any] = {
    **UK_HIV, "occasion": "clearance", "exposure_prone": "yes", "validated_sample": "yes",
    "register_entry": "entered", "joint_supervision": "yes", "monitoring": "overdue",
    "hiv_treatment": "on", "hiv_load_reported": "number", "hiv_load": 0,
    "hiv_clearance_so_far": "held",
}  # fmt: skip
"""Said to be overdue, though the days tell that it is in time; without a fact no interval is known."""


@example(whole=OVERDUE_AS_SAID, dropped={"rule_set"})
@example(whole=OVERDUE_AS_SAID, dropped={"hiv"})
@example(whole=OVERDUE_AS_SAID, dropped={"hiv", "monitoring"})
@settings(max_examples=60, deadline=None)
@given(whole=WHOLE, dropped=st.sets(st.sampled_from([f.id for f in ASKED]), max_size=4))
def test_missing_facts_never_hide_the_outcome_that_the_whole_would_give(
    whole: dict[str, Any], dropped: set[str]
) -> None:
    day = {"hbv_sample": TODAY, "hiv_sample": TODAY, "hcv_treatment_end": TODAY}
    full = propose(whole, day, TODAY)
    part = propose({k: v for k, v in whole.items() if k not in dropped}, day, TODAY)
    assert set(full.fitness.possible) <= set(part.fitness.possible)
    assert set(full.restriction.possible) <= set(part.restriction.possible)
    if part.fitness.value is None and full.fitness.value is not None:
        assert set(part.questions) & (dropped | {"monitoring"})
    assert not set(part.questions) & set(part.facts)


def test_what_is_said_of_monitoring_gives_way_where_a_missing_fact_may_let_the_days_tell() -> None:
    days = {"hiv_sample": TODAY}
    assert propose(OVERDUE_AS_SAID, days, TODAY).fitness.value == "fit"
    part = propose({k: v for k, v in OVERDUE_AS_SAID.items() if k != "rule_set"}, days, TODAY)
    assert set(part.fitness.possible) >= {"fit", "fit_with_restriction"}
    assert "rule_set" in part.questions
    assert "monitoring" not in part.questions


@pytest.mark.parametrize("infection", ["hbsag", "anti_hcv", "hiv"])
def test_a_test_that_was_declined_never_clears_exposure_prone_work(infection: str) -> None:
    cleared = {"hbsag": "negative", "anti_hcv": "negative", "hiv": "negative"}
    for rule_set in vocabulary()["rule_set"].values:
        facts = {**cleared, infection: "not_settled", "rule_set": rule_set,
                 "validated_sample": "yes", "occasion": "clearance", "exposure_prone": "yes",
                 "hbv_immunity": "immune", "monitoring": "in_time"}  # fmt: skip
        assert propose(facts, {}, TODAY).restriction.value == "no_exposure_prone_for_now"
        facts["exposure_prone"] = "no"
        assert propose(facts, {}, TODAY).fitness.value == "fit"
