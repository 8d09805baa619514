"""More knowledge only narrows: what a part of a situation leaves possible holds the whole's answer."""

from __future__ import annotations

from itertools import product
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from commands.running import plan, toml
from thimble.clinical import library
from thimble.clinical.vocabulary import VOCABULARY
from thimble.protocol import Fact

NUMBERS: dict[str, list[float]] = {
    "hours_since_exposure": [0, 1.9, 23.9, 24, 24.1, 48, 48.1, 71.9, 72, 72.1, 168, 168.1, 2000],
    "worker_anti_hbs_now": [0, 9.9, 10, 10.1, 99.9, 100, 500],
    "worker_creatinine_clearance": [12, 29.9, 30, 49.9, 50, 59.9, 60, 96],
    "worker_years_since_tetanus_dose": [0, 4.9, 5, 9.9, 10, 30],
    "worker_weight": [45, 72.5],
}
COMPUTED_FROM = {"worker_creatinine", "worker_age", "worker_sex_for_renal_formula"}
"""Clearance is given instead: two ways to say one thing could contradict each other."""
MOMENT = ("--as-of", "2026-03-05T10:00:00-05:00")
PROTOCOLS = ("us", "uk")


def _answers(fact: Fact) -> st.SearchStrategy[Any]:
    if fact.kind == "number":
        return st.sampled_from(NUMBERS[fact.id])
    if fact.kind == "set":
        return st.sets(st.sampled_from(fact.values)).map(sorted)
    return st.sampled_from(fact.values)


@st.composite
def whole_situations(draw: st.DrawFn) -> dict[str, Any]:
    """Every fact answered, with no two answers that cannot hold together."""
    facts = {
        id_: draw(_answers(fact), label=id_)
        for id_, fact in VOCABULARY.items()
        if id_ not in COMPUTED_FROM
    }
    if facts["source_hiv"] != "positive":
        facts["source_hiv_load"] = "unknown"
    if facts["source_hiv"] != "unknown":
        facts["source_hiv_likelihood"] = "unknown"
    if facts["worker_hbv_series"] not in {"one_complete", "two_complete"}:
        facts["worker_hbv_response"] = "not_known"
    return facts


@pytest.mark.parametrize("protocol", PROTOCOLS)
@settings(max_examples=60, deadline=None)
@given(data=st.data())
def test_a_part_of_what_is_known_never_excludes_what_the_whole_decides(
    protocol: str, data: st.DataObject
) -> None:
    whole = data.draw(whole_situations())
    part = {f: v for f, v in whole.items() if data.draw(st.booleans(), label=f)}
    full = plan(toml(whole), "--protocol", protocol, *MOMENT)
    partial = plan(toml(part), "--protocol", protocol, *MOMENT)

    assert full["questions"] == []
    assert full["actions_that_may_follow"] == []
    for id_, decision in full["decisions"].items():
        before = partial["decisions"][id_]
        assert decision["value"] is not None, id_
        if isinstance(decision["value"], list):
            assert set(decision["value"]) <= set(before["possible"]), id_
            if before["value"] is not None:
                assert before["value"] == decision["value"], id_
        else:
            assert decision["value"] in before["possible"], id_
    for question in partial["questions"]:
        assert question["fact"] not in part
        touched = [partial["decisions"][c] for c in question["changes"] if c in full["decisions"]]
        # The weight changes the amount of a dose, whose parts by weight are settled.
        assert all(d["value"] is None for d in touched) or question["fact"] == "worker_weight"
    sure = {action["id"] for action in partial["actions"]}
    maybe = {action["id"] for action in partial["actions_that_may_follow"]}
    final = {action["id"] for action in full["actions"]}
    assert sure <= final <= sure | maybe
    assert set(partial["cautions"]) <= set(full["cautions"])


@pytest.mark.parametrize("protocol", PROTOCOLS)
@settings(max_examples=15, deadline=None)
@given(data=st.data())
def test_what_is_possible_is_exactly_what_the_completions_reach(
    protocol: str, data: st.DataObject
) -> None:
    """Two facts are taken away and every answer to them is tried: the union is what is possible."""
    whole = data.draw(whole_situations())
    coded = sorted(f for f in whole if VOCABULARY[f].kind == "code")
    hidden = data.draw(st.lists(st.sampled_from(coded), min_size=2, max_size=2, unique=True))
    part = {f: v for f, v in whole.items() if f not in hidden}
    rules = library.protocol(protocol)
    reached: dict[str, set[str]] = {}
    for answers in product(*(VOCABULARY[f].values for f in hidden)):
        candidate = part | dict(zip(hidden, answers, strict=True))
        if rules.contradictions({f: VOCABULARY[f].check(v) for f, v in candidate.items()}):
            continue
        for id_, decision in plan(toml(candidate), "--protocol", protocol, *MOMENT)[
            "decisions"
        ].items():
            value = decision["value"]
            reached.setdefault(id_, set()).update(value if isinstance(value, list) else {value})

    told = plan(toml(part), "--protocol", protocol, *MOMENT)["decisions"]
    assert {id_: set(decision["possible"]) for id_, decision in told.items()} == reached
