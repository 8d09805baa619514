"""The prover against brute force: its verdicts, and the smallest situation that it names."""

from __future__ import annotations

import itertools
import re
from collections.abc import Callable, Iterator, Mapping
from decimal import Decimal
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings

from protocol.folders import FILES, MANIFEST, harbour
from protocol.random_protocols import FACTS, Cell, Sheet, Spec, look, specs
from thimble.protocol import Fault, Value, check_protocol
from thimble.protocol.compiling import index as index_module
from thimble.protocol.feel import parse_numbers
from thimble.protocol.proving.checking import prove

MANY = settings(max_examples=250, deadline=None, suppress_health_check=[HealthCheck.too_slow])

GAP = re.compile(r"no rule covers (.+)")
CLASH = re.compile(r"the rules (\S+) and (\S+) both cover (.+)")
DEAD = re.compile(r"the rule (\S+) can never apply")
ORDER = re.compile(r"a worse situation yields less: (.+) gives (\S+), the worse (.+) gives (\S+)")

Situation = Mapping[str, Value]
Holds = Callable[[Situation], bool]


# -- reading a fault back -----------------------------------------------------------------------


def told(words: str) -> list[Holds]:
    """The conditions that a fault's words name: `colour = red and heat in [3..5) K`."""
    return [] if words == "every situation" else [condition(w) for w in words.split(" and ")]


def condition(words: str) -> Holds:
    column, rest = words.split(" ", 1)
    fact = next(fact for fact in FACTS if fact.id == column.partition(".")[0])
    if fact.kind != "number":
        return lambda s: look(s, {}, column) == rest.removeprefix("= ")
    cell = rest.removeprefix("= ").removeprefix("in ").replace(" or ", ", ")
    test = parse_numbers(cell, fact.unit)
    return lambda s: test.accepts_number(Decimal(str(s[column])))


def every_fewer(spec: Spec, fewer_than: int) -> Iterator[list[Holds]]:
    """Every way of setting fewer columns than that to a representative value."""
    columns = spec.columns()
    facts = {c: next(f for f in spec.facts if f.id == c.partition(".")[0]) for c in columns}
    ways = {c: ["no", "yes"] if facts[c].kind == "set" else spec.values(facts[c]) for c in columns}
    for size in range(fewer_than):
        for chosen in itertools.combinations(columns, size):
            for values in itertools.product(*(ways[c] for c in chosen)):
                pairs = list(zip(chosen, values, strict=True))
                yield [
                    lambda s, c=c, v=v: look(s, {}, c) == v  # type: ignore[misc]
                    for c, v in pairs
                ]


def shows(situations: list[Situation], conditions: list[Holds], fault: Holds) -> bool:
    """Whether the conditions can hold and, whenever they do, the fault is there."""
    inside = (s for s in situations if all(holds(s) for holds in conditions))
    faulty = [fault(first) for first in itertools.islice(inside, 1)]
    return faulty == [True] and all(fault(s) for s in inside)


def check_witness(spec: Spec, situations: list[Situation], words: str, fault: Holds) -> None:
    conditions = told(words)
    assert shows(situations, conditions, fault), words
    for fewer in every_fewer(spec, len(conditions)):
        assert not shows(situations, fewer, fault), words


# -- verdicts and witnesses ---------------------------------------------------------------------


def check_unique(spec: Spec, sheet: Sheet, faults: list[Fault]) -> None:
    situations: list[Situation] = list(spec.completions({}))
    fired = {id(s): spec.fire(s) for s in situations}
    # Where a table that feeds this one has no rule, the fault is that table's.
    fed_by = [c for c in sheet.inputs if any(c == other.id for other in spec.sheets)]
    used = [
        c for c in fed_by
        if any(not cells[sheet.inputs.index(c)].any for cells, _ in sheet.rules)
    ]  # fmt: skip
    judged = [s for s in situations if all(fired[id(s)][c] for c in used)]

    def hits(situation: Situation) -> list[int]:
        return fired[id(situation)][sheet.id]

    gaps = [m[1] for f in faults if (m := GAP.fullmatch(f.message))]
    assert len(gaps) == int(any(not hits(s) for s in judged))
    for words in gaps:
        if len(judged) == len(situations):
            check_witness(spec, situations, words, lambda s: not hits(s))

    clashes = {(m[1], m[2]): m[3] for f in faults if (m := CLASH.fullmatch(f.message))}
    wanted = {pair for s in judged for pair in itertools.combinations(hits(s), 2)}
    assert clashes.keys() == {(f"{sheet.id}-{a}", f"{sheet.id}-{b}") for a, b in wanted}
    for (first, second), words in clashes.items():
        pair = {int(first.partition("-")[2]), int(second.partition("-")[2])}
        if len(judged) == len(situations):
            check_witness(spec, situations, words, lambda s, p=pair: p <= set(hits(s)))  # type: ignore[misc]


def check_dead(spec: Spec, sheet: Sheet, faults: list[Fault]) -> None:
    dead = {m[1] for f in faults if (m := DEAD.match(f.message))}
    living = {n for s in spec.completions({}) for n in spec.fire(s)[sheet.id]}
    assert dead == {f"{sheet.id}-{n}" for n in range(len(sheet.rules)) if n not in living}


def check_orders(spec: Spec, sheet: Sheet, faults: list[Fault]) -> None:
    rank = {o: place for place, group in enumerate(spec.outcome_order) for o in group}
    steps = {
        fact: {v: place for place, group in enumerate(order) for v in group}
        for fact, order in spec.fact_order.items()
    }

    def worse(mild: Situation, other: Situation) -> list[str] | None:
        """The facts that are worse in the other, or None if it is not worse."""
        moved = [f for f in mild if mild[f] != other[f]]
        grows = all(
            f in steps
            and mild[f] in steps[f]
            and other[f] in steps[f]
            and steps[f][mild[f]] < steps[f][other[f]]  # type: ignore[index]
            for f in moved
        )
        return moved if moved and grows else None

    decided = [
        (s, sheet.rules[hit[0]][1]) for s in spec.completions({}) if (hit := spec.fire(s)[sheet.id])
    ]
    sizes = [
        len(moved)
        for (mild, high), (other, low) in itertools.product(decided, repeat=2)
        if high in rank and low in rank and rank[high] > rank[low]
        if (moved := worse(mild, other)) is not None
    ]
    found = [m for f in faults if (m := ORDER.match(f.message))]
    assert bool(found) == bool(sizes)
    for fault in found:
        milder, high, worse_words, rest = fault.groups()
        assert len(milder.split(" and ")) == min(sizes)
        low = rest.partition(" where ")[0]
        where = fault.string.partition(" where ")[2]
        assert rank[high] > rank[low]
        witnesses = [
            (mild, other)
            for (mild, a), (other, b) in itertools.product(decided, repeat=2)
            if (a, b) == (high, low)
            and worse(mild, other) is not None
            and all(holds(mild) and holds(other) for holds in told(where or "every situation"))
            and all(mild[w.split()[0]] == w.split()[1] for w in milder.split(" and "))
            and all(other[w.split()[0]] == w.split()[1] for w in worse_words.split(" and "))
        ]
        assert witnesses, fault.string


def check_spec(spec: Spec, *, ordered: bool = True) -> None:
    faults: dict[str, list[Fault]] = {}
    if not spec.completions({}):
        (fault,) = prove(spec.protocol())
        assert "leave no situation that can be" in fault.message
        return
    for fault in prove(spec.protocol()):
        faults.setdefault(fault.file.removesuffix(".csv"), []).append(fault)
    for sheet in spec.sheets:
        mine = faults.get(sheet.id, [])
        if sheet.unique:
            check_unique(spec, sheet, mine)
            if ordered:
                check_orders(spec, sheet, mine)
        check_dead(spec, sheet, mine)


@MANY
@given(spec=specs(complete=False, most_facts=3))
def test_gaps_clashes_and_dead_rules(spec: Spec) -> None:
    check_spec(spec, ordered=False)


@MANY
@given(spec=specs(complete=False, feeding=False, may_be_impossible=False, most_facts=3))
def test_gaps_clashes_and_dead_rules_of_boxes(spec: Spec) -> None:
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(index_module, "LARGEST_GRID", 0)
        check_spec(spec, ordered=False)


@MANY
@given(spec=specs(orders=True, most_facts=3))
def test_orders(spec: Spec) -> None:
    check_spec(spec)


@MANY
@given(spec=specs(orders=True, feeding=False, may_be_impossible=False, most_facts=3))
def test_orders_of_boxes(spec: Spec) -> None:
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(index_module, "LARGEST_GRID", 0)
        check_spec(spec)


@MANY
@given(spec=specs(may_be_impossible=False))
def test_a_complete_protocol_is_proved(spec: Spec) -> None:
    dead = [f for f in prove(spec.protocol()) if not DEAD.match(f.message)]
    assert dead == []


def test_worse_together_where_no_single_step_can_be() -> None:
    """(red, small) and (blue, large) can be; a step in one fact alone cannot."""
    red, blue = Cell(codes=("red",)), Cell(codes=("blue",))
    small, large = Cell(codes=("small",)), Cell(codes=("large",))
    rules = (((red, Cell()), "o2"), ((Cell(codes=("green", "blue")), Cell()), "o1"))
    spec = Spec(
        FACTS[:2],
        (Sheet("first", True, ("colour", "size"), rules),),
        (
            {"colour": red, "size": large},
            {"colour": blue, "size": small},
            {"colour": Cell(codes=("green",))},
        ),
        {"colour": (("red",), ("blue",)), "size": (("small",), ("large",))},
        (("o1",), ("o2",)),
    )
    (fault,) = prove(spec.protocol())
    assert fault.message == (
        "a worse situation yields less: colour red and size small gives o2, "
        "the worse colour blue and size large gives o1"
    )


# -- planted in the harbour ---------------------------------------------------------------------


def only_fault(folder: Path, changed: Mapping[str, str]) -> Fault:
    (fault,) = prove(harbour(folder, changed))
    return fault


def swap(name: str, old: str, new: str) -> dict[str, str]:
    assert old in FILES[name]
    return {name: FILES[name].replace(old, new, 1)}


def test_the_harbour_is_proved(tmp_path: Path) -> None:
    assert check_protocol(harbour(tmp_path)) == ()


@pytest.mark.parametrize(
    ("changed", "place", "words"),
    [
        pytest.param(
            swap("danger.csv", ">= 10,high", "> 10,high"),
            ("danger.csv", 0, ""),
            "no rule covers sky = clear and wind = 10 m/s",
            id="a gap on a threshold",
        ),
        pytest.param(
            swap("danger.csv", '"storm, unknown"', "storm"),
            ("danger.csv", 0, ""),
            "no rule covers sky = unknown",
            id="a gap for an unknown",
        ),
        pytest.param(
            swap("sail.csv", "S-2,high,ship,yes", "S-2,high,ship,no"),
            None,
            "no rule covers",
            id="a gap that needs an earlier decision",
        ),
        pytest.param(
            swap("danger.csv", "< 10 m/s", "<= 10 m/s"),
            ("danger.csv", 3, "rule"),
            "the rules D-1 and D-2 both cover sky = clear and wind = 10 m/s",
            id="an overlap on a threshold",
        ),
        pytest.param(
            swap("worries.csv", "> 20,breakage", "> 100,breakage"),
            ("worries.csv", 4, "rule"),
            "the rule W-3 can never apply",
            id="a rule beyond the fact's own range",
        ),
        pytest.param(
            swap("worries.csv", "W-2,high,-,yes,-", "W-2,low,-,yes,>= 10"),
            None,
            "the rule W-2 can never apply",
            id="a rule that the earlier decision starves",
        ),
        pytest.param(
            {"protocol.toml": MANIFEST.replace(
                'sky = ["clear", "cloudy", "storm"]', 'sky = ["storm", "cloudy", "clear"]')},
            ("danger.csv", 0, "→ danger"),
            "a worse situation yields less: sky storm gives high, the worse sky cloudy gives low "
            "where wind < 10 m/s",
            id="an order",
        ),
    ],
)  # fmt: skip
def test_planted_faults(
    tmp_path: Path, changed: dict[str, str], place: tuple[str, int, str] | None, words: str
) -> None:
    faults = prove(harbour(tmp_path, changed))
    said = [f for f in faults if words in f.message]
    assert said, faults
    if place is not None:
        assert [(f.file, f.row, f.column) for f in said] == [place] * len(said)


def test_a_gap_behind_an_earlier_decision_is_told_in_facts(tmp_path: Path) -> None:
    """The words name what a person can see, sky and wind, not the decision `danger`."""
    changed = swap("sail.csv", "S-2,high,ship,yes", "S-2,high,ship,no")
    changed = {
        "sail.csv": changed["sail.csv"].replace("S-3,high,ship,no,no,red,LAW: 3,read,-\n", "")
    }
    fault = only_fault(tmp_path, changed)
    assert fault.message == "no rule covers sky = storm and crew = yes"


def test_an_impossible_situation_is_no_gap(tmp_path: Path) -> None:
    """A dinghy with a crew cannot be, so that no rule need cover her; but a ship is another matter."""
    dinghy = {"sail.csv": FILES["sail.csv"].replace("S-4,high,dinghy,-", "S-4,high,dinghy,no")}
    assert prove(harbour(tmp_path, dinghy)) == ()
    without = {**dinghy, "protocol.toml": MANIFEST.partition("[[impossible]]")[0]}
    fault = only_fault(tmp_path, without)
    assert fault.message == "no rule covers sky = storm and boat = dinghy and crew = yes"


ACTIONS = """rule,boat,wind,→ action,→ what,→ kind,→ for,→ counted_from,→ earliest,→ target,→ latest,source,standing,note
A-1,ship,-,reef,Reef one sail.,review,worker,exposure,PT0H,-,PT1H,LAW: 1,read,-
A-2,-,> 20,reef,Reef two sails.,review,worker,exposure,PT0H,-,PT1H,LAW: 1,read,-
"""  # noqa: E501
ACTIONS_HEAD = """
[[tables]]
id = "chores"
file = "chores.csv"
hit_policy = "COLLECT"
role = "actions"
key = "action"
question = "What is to be done?"
"""


def chores(text: str) -> dict[str, str]:
    return {
        "protocol.toml": MANIFEST.replace("[severity.facts]", ACTIONS_HEAD + "[severity.facts]"),
        "chores.csv": text,
    }


@pytest.mark.parametrize("largest", [index_module.LARGEST_GRID, 60])
def test_one_key_with_two_meanings(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, largest: int
) -> None:
    monkeypatch.setattr(index_module, "LARGEST_GRID", largest)
    fault = only_fault(tmp_path, chores(ACTIONS))
    assert (fault.file, fault.row, fault.column) == ("chores.csv", 3, "→ action")
    assert fault.message == (
        "the rules A-1 and A-2 give 'reef' two meanings in wind > 20 m/s and boat = ship"
    )


def test_one_key_with_one_meaning_or_at_different_times(tmp_path: Path) -> None:
    same = ACTIONS.replace("two sails", "one sail")
    assert prove(harbour(tmp_path, chores(same))) == ()
    apart = ACTIONS.replace("A-1,ship,-", "A-1,ship,<= 20")
    assert prove(harbour(tmp_path, chores(apart))) == ()
    touching = ACTIONS.replace("A-1,ship,-", "A-1,ship,<= 20.1")
    assert len(prove(harbour(tmp_path, chores(touching)))) == 1


def test_a_key_clash_that_hangs_on_earlier_decisions(tmp_path: Path) -> None:
    """By their own cells both could apply; the decisions that feed them keep them apart."""
    text = ACTIONS.replace("rule,boat,wind", "rule,sail,danger")
    apart = text.replace("A-1,ship,-", "A-1,yes,-").replace("A-2,-,> 20", "A-2,-,high")
    assert prove(harbour(tmp_path, chores(apart))) == ()
    together = text.replace("A-1,ship,-", "A-1,no,-").replace("A-2,-,> 20", "A-2,-,high")
    (fault,) = prove(harbour(tmp_path, chores(together)))
    assert "'reef' two meanings in" in fault.message


def test_a_table_that_fits_neither_way_is_refused(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    from thimble.protocol import ProtocolFaults

    monkeypatch.setattr(index_module, "LARGEST_GRID", 3)
    with pytest.raises(ProtocolFaults) as refused:
        harbour(tmp_path)
    told_of = {(f.file, f.column) for f in refused.value.faults}
    assert ("sail.csv", "danger") in told_of  # danger is boxes here and cannot feed
    assert any("split that table in two" in f.message for f in refused.value.faults)


# -- the protocol's own cases -------------------------------------------------------------------


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ('danger = "low", sail', 'danger = "high", sail', "danger should be high; it is low"),
        ('worries = ["fire"]', 'worries = ["fire", "gale"]', "it is ['fire']"),
        ('["yes", "ask", "no"]', '["yes", "no"]', "exactly no, yes; it is ask, no, yes"),
        ('excludes = { worries = ["gale"] }', 'excludes = { worries = ["fire"] }',
         "should not hold fire; it does or may"),
        ('excludes = { worries = ["gale"] }', 'includes = { worries = ["fire"] }',
         "should include fire for certain; it does not"),
        ('possible = { danger', 'expect = { danger = "low" }\npossible = { danger',
         "danger should be low; it is still open: low, high"),
        ('crew = "no"', 'crew = "yes"', "a dinghy has no crew"),
    ],
)  # fmt: skip
def test_a_case_that_comes_out_otherwise(tmp_path: Path, old: str, new: str, words: str) -> None:
    (fault,) = check_protocol(harbour(tmp_path, swap("cases.toml", old, new)))
    assert fault.file == "cases.toml"
    assert words in fault.message
