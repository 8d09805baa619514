"""Evaluation against brute force: exact outcomes, exact facts that matter, exact items and reasons."""

from __future__ import annotations

import itertools
import random
from collections.abc import Mapping
from functools import reduce
from operator import add
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from protocol.folders import FILES, harbour
from protocol.random_protocols import OUTCOMES, Sheet, Spec, situations, specs
from thimble.protocol import Evaluation, Protocol, Value
from thimble.protocol.compiling import index as index_module

MANY = settings(max_examples=300, deadline=None, suppress_health_check=[HealthCheck.too_slow])


def matter(
    spec: Spec,
    completions: list[dict[str, Value]],
    outcomes: list[object],
    known: Mapping[str, Value],
) -> set[str]:
    """Facts of which two values, all else the same, lead to different outcomes.

    And sets of facts, as small as can be, that lead to different outcomes when they move together.
    """
    missing = [fact.id for fact in spec.facts if fact.id not in known]
    found: list[set[str]] = []
    for size in range(1, len(missing) + 1):
        for moved in itertools.combinations(missing, size):
            if any(smaller <= set(moved) for smaller in found):
                continue
            seen: dict[tuple[object, ...], object] = {}
            for situation, outcome in zip(completions, outcomes, strict=True):
                others = tuple(v for k, v in situation.items() if k not in moved)
                if seen.setdefault(others, outcome) != outcome:
                    found.append(set(moved))
                    break
    return set().union(*found)


def check(spec: Spec, protocol: Protocol, known: Mapping[str, Value]) -> None:
    """Everything that the engine says of `known` against enumeration."""
    completions = spec.completions(known)
    if not completions:
        with pytest.raises(ValueError, match=r"cannot hold together|no situation that can be"):
            protocol.evaluate(known)
        return
    evaluation = protocol.evaluate(known)
    fired = [spec.fire(situation) for situation in completions]
    changes: dict[str, set[str]] = {}
    for sheet in spec.sheets:
        if sheet.unique:
            facts = check_decision(spec, sheet, evaluation, known, completions, fired)
        else:
            facts = check_items(spec, sheet, evaluation, known, completions, fired)
        for fact in facts:
            changes.setdefault(fact, set()).add(sheet.id)
    assert {q.fact: set(q.changes) for q in evaluation.questions} == changes
    assert len(evaluation.questions) == len(changes)


def check_decision(
    spec: Spec,
    sheet: Sheet,
    evaluation: Evaluation,
    known: Mapping[str, Value],
    completions: list[dict[str, Value]],
    fired: list[dict[str, list[int]]],
) -> set[str]:
    rules = [f[sheet.id] for f in fired]
    assert all(len(r) == 1 for r in rules)
    outcomes: list[object] = [sheet.rules[r[0]][1] for r in rules]
    finding = evaluation.findings[sheet.id]
    assert finding.possible == tuple(o for o in OUTCOMES if o in outcomes)
    assert finding.value == (outcomes[0] if len(set(outcomes)) == 1 else None)
    wanted = matter(spec, completions, outcomes, known)
    assert set(finding.open_facts) == wanted
    assert len(finding.open_facts) == len(wanted)
    reasons = {f"{sheet.id}-{r[0]}" for r in rules} if finding.value is not None else set()
    assert {reason.rule for reason in finding.because} == reasons
    return wanted


def check_items(
    spec: Spec,
    sheet: Sheet,
    evaluation: Evaluation,
    known: Mapping[str, Value],
    completions: list[dict[str, Value]],
    fired: list[dict[str, list[int]]],
) -> set[str]:
    found = {item.outputs[sheet.id]: item for item in evaluation.items[sheet.id]}
    assert len(found) == len(evaluation.items[sheet.id])
    changed: set[str] = set()
    in_row_order = []
    for outcome in dict.fromkeys(outcome for _, outcome in sheet.rules):
        mine = {n for n, (_, o) in enumerate(sheet.rules) if o == outcome}
        firing = [mine & set(f[sheet.id]) for f in fired]
        applies: list[object] = [bool(rules) for rules in firing]
        assert (outcome in found) == any(applies)
        if outcome not in found:
            continue
        in_row_order.append(outcome)
        item = found[outcome]
        assert item.certain == all(applies)
        assert set(item.open_facts) == matter(spec, completions, applies, known)
        assert {r.rule for r in item.because} == {f"{sheet.id}-{n}" for n in set().union(*firing)}
        changed |= set(item.open_facts)
    assert [item.outputs[sheet.id] for item in evaluation.items[sheet.id]] == in_row_order
    return changed


@MANY
@given(data=st.data(), spec=specs())
def test_evaluation_is_exact(data: st.DataObject, spec: Spec) -> None:
    protocol = spec.protocol()
    for _ in range(3):
        check(spec, protocol, data.draw(situations(spec)))


@MANY
@given(data=st.data(), spec=specs(feeding=False, may_be_impossible=False))
def test_boxes_are_exact(data: st.DataObject, spec: Spec) -> None:
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(index_module, "LARGEST_GRID", 0)
        protocol = spec.protocol()
    assert not protocol.index.grids
    for _ in range(3):
        check(spec, protocol, data.draw(situations(spec)))


@MANY
@given(data=st.data(), spec=specs(feeding=False, may_be_impossible=False))
def test_boxes_say_what_grids_say(data: st.DataObject, spec: Spec) -> None:
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(index_module, "LARGEST_GRID", 0)
        boxes = spec.protocol()
    grids = spec.protocol()
    known = data.draw(situations(spec))
    assert boxes.evaluate(known) == grids.evaluate(known)


@MANY
@given(data=st.data(), spec=specs())
def test_neither_order_nor_memory_changes_an_answer(data: st.DataObject, spec: Spec) -> None:
    protocol = spec.protocol()
    asked = [known for _ in range(3) if spec.completions(known := data.draw(situations(spec)))]
    first = [protocol.evaluate(known) for known in asked]
    turned = [dict(sorted(known.items(), reverse=True)) for known in asked]
    assert [protocol.evaluate(known) for known in reversed(turned)] == first[::-1]
    protocol.forget()
    assert [protocol.evaluate(known) for known in asked] == first
    assert [spec.protocol().evaluate(known) for known in asked] == first


@MANY
@given(data=st.data(), spec=specs())
def test_learning_a_fact_never_widens_what_is_possible(data: st.DataObject, spec: Spec) -> None:
    protocol = spec.protocol()
    known = data.draw(situations(spec))
    missing = [fact for fact in spec.facts if fact.id not in known]
    completions = spec.completions(known)
    if not missing or not completions:
        return
    fact = data.draw(st.sampled_from(missing))
    more = {**known, fact.id: data.draw(st.sampled_from(completions))[fact.id]}
    before, after = protocol.evaluate(known), protocol.evaluate(more)
    for decision, finding in after.findings.items():
        assert set(finding.possible) <= set(before.findings[decision].possible)
        if fact.id not in before.findings[decision].open_facts and not spec.impossible:
            assert finding.possible == before.findings[decision].possible


@MANY
@given(data=st.data(), spec=specs())
def test_the_facts_that_matter_settle_it(data: st.DataObject, spec: Spec) -> None:
    """Whoever answers every open question knows the outcome, whatever the answers."""
    protocol = spec.protocol()
    known = data.draw(situations(spec))
    completions = spec.completions(known)
    if not completions:
        return
    asked = {question.fact for question in protocol.evaluate(known).questions}
    truth = data.draw(st.sampled_from(completions))
    answered = protocol.evaluate({**known, **{fact: truth[fact] for fact in asked}})
    assert all(finding.value is not None for finding in answered.findings.values())
    assert all(item.certain for items in answered.items.values() for item in items)
    assert answered.questions == ()


# -- worked by hand -----------------------------------------------------------------------------


def test_a_determined_situation_with_reasons(tmp_path: Path) -> None:
    evaluation = harbour(tmp_path).evaluate(
        {"sky": "clear", "wind": 25.0, "boat": "ship", "crew": "yes", "cargo": frozenset({"glass"})}
    )
    sail = evaluation.findings["sail"]
    assert sail.value == "ask"
    assert [(r.table, r.rule, r.source, r.standing) for r in sail.because] == [
        ("sail", "S-2", "LAW: 3", "secondary")
    ]
    assert not sail.because[0].confirmed
    worries = {item.outputs["worries"]: item for item in evaluation.items["worries"]}
    assert list(worries) == ["breakage", "gale"]
    assert [r.rule for r in worries["breakage"].because] == ["W-2", "W-3"]
    assert evaluation.questions == ()


def test_an_undetermined_situation(tmp_path: Path) -> None:
    evaluation = harbour(tmp_path).evaluate({"sky": "storm"})
    assert evaluation.findings["danger"].value == "high"
    assert evaluation.findings["sail"].possible == ("ask", "no")
    assert set(evaluation.findings["sail"].open_facts) == {"crew"}  # a dinghy has none
    assert evaluation.findings["flag"].value == "red"
    assert {q.fact: q.changes for q in evaluation.questions} == {
        "crew": ("sail",),
        "cargo": ("worries",),
        "wind": ("worries",),
    }


@pytest.mark.parametrize(
    ("wind", "danger"),
    [(9.999, "low"), (10.0, "high"), (10.001, "high"), (0.0, "low"), (100.0, "high")],
)
def test_a_threshold_below_on_and_above(tmp_path: Path, wind: float, danger: str) -> None:
    assert (
        harbour(tmp_path).evaluate({"sky": "clear", "wind": wind}).findings["danger"].value
        == danger
    )


def test_the_arithmetic_of_computers_does_not_move_a_threshold(tmp_path: Path) -> None:
    """0.1 + 0.2 is not 0.3 in binary; such a difference must not cross a limit, either way."""
    wind = reduce(add, [0.1] * 100)  # 9.99999999999998; `sum` compensates from Python 3.12 on
    assert wind < 10
    danger = harbour(tmp_path).evaluate({"sky": "clear", "wind": wind}).findings["danger"]
    assert danger.value == "high"


def test_facts_that_cannot_hold_together(tmp_path: Path) -> None:
    protocol = harbour(tmp_path)
    facts = {"boat": "dinghy", "crew": "yes"}
    (contradiction,) = protocol.contradictions(facts)
    assert contradiction.facts == ("boat", "crew")
    with pytest.raises(ValueError, match=r"boat, crew: a dinghy has no crew\."):
        protocol.evaluate(facts)
    assert protocol.contradictions({"boat": "dinghy"}) == ()
    assert protocol.contradictions({"boat": "dinghy", "crew": "no"}) == ()


def test_an_impossible_completion_is_no_completion(tmp_path: Path) -> None:
    """A dinghy in danger never sails, and her crew is no question: a dinghy has none."""
    sail = harbour(tmp_path).evaluate({"sky": "storm", "boat": "dinghy"}).findings["sail"]
    assert (sail.value, sail.open_facts) == ("no", ())


def test_an_uncovered_situation_is_refused_in_words(tmp_path: Path) -> None:
    text = FILES["danger.csv"].replace('D-2,"clear, cloudy"', "D-2,clear")
    protocol = harbour(tmp_path, {"danger.csv": text})
    with pytest.raises(ValueError, match=r"danger\.csv: no rule covers this situation"):
        protocol.evaluate({"sky": "cloudy", "wind": 12.0})


def test_members_of_a_set_are_learned_together() -> None:
    """Where the members can only change together, the set still matters."""
    from protocol.random_protocols import FACTS, Cell

    no, yes = Cell(codes=("no",)), Cell(codes=("yes",))
    spec = Spec(
        (FACTS[4],),
        (
            Sheet(
                "first",
                True,
                ("parts.bolt", "parts.nut"),
                (((no, Cell()), "o1"), ((yes, Cell()), "o2")),
            ),
        ),
        ({"parts.bolt": no, "parts.nut": yes}, {"parts.bolt": yes, "parts.nut": no}),
    )
    finding = spec.protocol().evaluate({}).findings["first"]
    assert finding.possible == ("o1", "o2")
    assert finding.open_facts == ("parts",)
    check(spec, spec.protocol(), {})


def test_a_table_too_large_for_a_grid_is_answered_exactly() -> None:
    """40 yes-or-no facts: 2 to the 40 situations. Red if any is yes, worked out by hand."""
    from protocol.random_protocols import Cell
    from thimble.protocol import Fact

    facts = tuple(Fact(f"f{n}", "code", "?", ("no", "yes")) for n in range(40))
    no, yes = Cell(codes=("no",)), Cell(codes=("yes",))
    rules = [(tuple([no] * n + [yes] + [Cell()] * (39 - n)), "o2") for n in range(40)] + [
        (tuple([no] * 40), "o1")
    ]
    protocol = Spec(
        facts, (Sheet("first", True, tuple(f.id for f in facts), tuple(rules)),)
    ).protocol()
    assert len(protocol.index.boxes) == 1
    from thimble.protocol import check_protocol

    assert check_protocol(protocol) == ()
    nothing = protocol.evaluate({})
    assert nothing.findings["first"].possible == ("o1", "o2")
    assert set(nothing.findings["first"].open_facts) == {f.id for f in facts}
    one = protocol.evaluate({"f17": "yes"}).findings["first"]
    assert (one.value, one.open_facts) == ("o2", ())
    shuffled = list(facts)
    random.Random(7).shuffle(shuffled)
    all_but_one = {fact.id: "no" for fact in shuffled[1:]}
    last = protocol.evaluate(all_but_one).findings["first"]
    assert (last.possible, last.open_facts) == (("o1", "o2"), (shuffled[0].id,))
    assert protocol.evaluate({**all_but_one, shuffled[0].id: "no"}).findings["first"].value == "o1"


def test_two_facts_that_can_only_move_together_both_matter() -> None:
    """Only (red, small) and (blue, large) can be: no step in one fact alone, yet two outcomes."""
    from protocol.random_protocols import FACTS, Cell

    red, other = Cell(codes=("red",)), Cell(codes=("green", "blue"))
    small, large = Cell(codes=("small",)), Cell(codes=("large",))
    spec = Spec(
        FACTS[:2],
        (Sheet("first", True, ("colour",), (((red,), "o1"), ((other,), "o2"))),),
        ({"colour": red, "size": large}, {"colour": other, "size": small}),
    )
    finding = spec.protocol().evaluate({}).findings["first"]
    assert finding.possible == ("o1", "o2")
    assert set(finding.open_facts) == {"colour", "size"}
    check(spec, spec.protocol(), {})
