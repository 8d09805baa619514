"""Cells and counterexamples in the words of facts, as a physician would write them."""

from __future__ import annotations

from pathlib import Path

import pytest

from protocol.folders import FILES, WEATHER, harbour
from thimble.protocol import Fact
from thimble.protocol.compiling.space import Axis, axis_for
from thimble.protocol.feel import parse_numbers
from thimble.protocol.proving.checking import prove

HEIGHT = Fact("height", "number", "?", unit="m", low=0, high=100)
FREE = Fact("level", "number", "?", low=float("-inf"))


def axis(fact: Fact, *cells: str) -> Axis:
    return axis_for(fact.id, fact, [parse_numbers(cell, fact.unit) for cell in cells])


# With the cuts 10 and 20: cell 0 is below 10, 1 is 10, 2 between, 3 is 20, 4 above 20.
@pytest.mark.parametrize(
    ("cells", "words"),
    [
        ([0], "< 10 m"),
        ([0, 1], "<= 10 m"),
        ([1], "10 m"),
        ([2], "(10..20) m"),
        ([1, 2], "[10..20) m"),
        ([2, 3], "(10..20] m"),
        ([1, 2, 3], "[10..20] m"),
        ([3, 4], ">= 20 m"),
        ([4], "> 20 m"),
        ([0, 4], "< 10 m or > 20 m"),
        ([1, 3], "10 m or 20 m"),
        ([4, 0, 1], "<= 10 m or > 20 m"),
        ([0, 1, 2, 3, 4], "any m"),
    ],
)
def test_stretches_of_numbers(cells: list[int], words: str) -> None:
    assert axis(HEIGHT, "< 10", "> 20").words(cells) == words


@pytest.mark.parametrize(
    ("cells", "words"),
    [
        ([1], "0 m"),
        ([1, 2], "< 50 m"),
        ([2], "(0..50) m"),
        ([4, 5], "> 50 m"),
        ([4], "(50..100) m"),
    ],
)
def test_the_limits_of_a_fact_go_without_saying(cells: list[int], words: str) -> None:
    """0 and 100 are cuts too, but the fact goes no further: `< 50`, not `[0..50)`."""
    assert axis(HEIGHT, "[0..50)", "<= 100").words(cells) == words


def test_a_fact_without_unit_or_limits() -> None:
    level = axis(FREE, "[-1.5..2]")
    assert [level.words([k]) for k in range(5)] == ["< -1.5", "-1.5", "(-1.5..2)", "2", "> 2"]


@pytest.mark.parametrize(
    ("number", "cell"),
    [
        (9.0, 0), (9.999, 0), (9.999999, 0),
        (9.9999999999, 1), (10.0, 1), (10.0000000001, 1),
        (10.000001, 2), (10.001, 2), (19.999, 2),
        (20.0, 3), (20.001, 4), (99.0, 4),
    ],
)  # fmt: skip
def test_the_cell_of_a_number(number: float, cell: int) -> None:
    assert axis(HEIGHT, "< 10", "> 20").cell_of(number) == cell


def test_cells_beyond_a_facts_limits_do_not_exist() -> None:
    assert axis(HEIGHT, "[0..100]").exists == (False, True, True, True, False)
    assert axis(HEIGHT, "[-5..120]").exists == (False, False, True, False, False)
    assert axis(FREE, "[0..1]").exists == (True,) * 5


def messages(folder: Path, name: str, old: str, new: str) -> list[str]:
    assert old in FILES[name]
    return [f.message for f in prove(harbour(folder, {name: FILES[name].replace(old, new, 1)}))]


@pytest.mark.parametrize(
    ("name", "old", "new", "told"),
    [
        ("danger.csv", ">= 10,high", "> 12,high",
         "no rule covers sky = clear and wind in [10..12] m/s"),
        ("danger.csv", ">= 10,high", ">= 10.5,high",
         "no rule covers sky = clear and wind in [10..10.5) m/s"),
        ("danger.csv", '"clear, cloudy",>= 10', "clear,>= 10",
         "no rule covers sky = cloudy and wind >= 10 m/s"),
        ("danger.csv", '"clear, cloudy",< 10 m/s', '"clear, cloudy",not([3..4))',
         "the rules D-1 and D-2 both cover sky = clear and wind >= 10 m/s"),
        ("danger.csv", '"storm, unknown",-', '"storm, unknown, cloudy",> 99',
         "no rule covers sky = storm and wind < 10 m/s"),
        ("sail.csv", "S-1,low,-", "S-1,low,dinghy",
         "no rule covers sky = clear and wind < 10 m/s and boat = ship"),
    ],
)  # fmt: skip
def test_counterexamples(tmp_path: Path, name: str, old: str, new: str, told: str) -> None:
    assert told in messages(tmp_path, name, old, new)


def test_the_labels_of_values() -> None:
    assert WEATHER["wind"].label(7.50) == "7.5 m/s"
    assert WEATHER["cargo"].label(frozenset({"hay", "coal"})) == "coal, hay"
    assert WEATHER["cargo"].label(frozenset()) == "none"
    assert Fact("a", "code", "?", ("b_c",)).label("b_c") == "b c"


@pytest.mark.parametrize(
    ("fact", "value", "words"),
    [
        ("wind", "3", "wind is a number in m/s; found '3'"),
        ("wind", True, "wind is a number in m/s; found True"),
        ("wind", float("nan"), "wind lies between 0 and 100 in m/s; found nan"),
        ("wind", 100.001, "wind lies between 0 and 100 in m/s; found 100.001"),
        ("wind", -0.001, "found -0.001"),
        ("sky", "blue", "sky is one of clear, cloudy, storm, unknown; found 'blue'"),
        ("sky", ["clear"], "sky is one of"),
        ("cargo", "hay", "cargo is a list of any of hay, glass, coal; found 'hay'"),
        ("cargo", ["hay", "tea"], "found 'tea'"),
    ],
)
def test_answers_that_are_refused(fact: str, value: object, words: str) -> None:
    with pytest.raises(ValueError, match="found") as refused:
        WEATHER[fact].check(value)
    assert words in str(refused.value)


@pytest.mark.parametrize(
    ("fact", "value", "checked"),
    [
        ("wind", 0, 0.0),
        ("wind", 100, 100.0),
        ("sky", "unknown", "unknown"),
        ("cargo", [], frozenset()),
        ("cargo", ["hay", "hay"], frozenset({"hay"})),
    ],
)
def test_answers_that_are_taken(fact: str, value: object, checked: object) -> None:
    assert WEATHER[fact].check(value) == checked
