"""The steps after a missed visit as data: what ships is whole, and every fault is a sentence."""

from __future__ import annotations

import copy
import tomllib
from pathlib import Path
from typing import Any

import pytest

from thimble.clinical.ladder import SHIPPED_LADDER, LadderError, load_ladder, parse_ladder
from thimble.ledger.bodies import CONTACT_BY

WHOLE: dict[str, Any] = tomllib.loads(SHIPPED_LADDER.read_text(encoding="utf-8"))


def test_what_ships_says_that_it_has_no_source_and_ends_with_a_physician():
    ladder = load_ladder(SHIPPED_LADDER, CONTACT_BY)
    assert "no published source" in ladder.source
    assert ladder.standing == "memory"
    assert [step.decides for step in ladder.steps] == [False, False, False, True]
    assert {way for step in ladder.steps for way in step.how} <= set(CONTACT_BY)


def changed(*path: Any, to: Any) -> dict[str, Any]:
    whole = copy.deepcopy(WHOLE)
    at: Any = whole
    for key in path[:-1]:
        at = at[key]
    at[path[-1]] = to
    return whole


@pytest.mark.parametrize(
    ("table", "said"),
    [
        (changed("steps", 0, "how", to=["pigeon"]), "steps[1].how lists any of telephone"),
        (changed("steps", 0, "how", to=[]), "the last step, and no other, has no way"),
        (changed("steps", 3, "how", to=["letter"]), "the last step, and no other, has no way"),
        (changed("steps", 1, "after_days", to=30), "after_days never falls"),
        (changed("steps", 1, "after_days", to=-1), "steps[2].after_days is a whole number of days"),
        (changed("steps", 1, "after_days", to=True), "found True"),
        (changed("steps", 1, "id", to="telephone"), "an id of its own"),
        (changed("steps", 1, "what", to=" "), "steps[2].what is a text"),
        (changed("steps", to=[]), "steps names no step"),
        (changed("steps", to="none"), "steps is a list of tables"),
        (changed("again_after_days", to=0), "from 1 to 366; found 0"),
        (changed("standing", to="certain"), "standing is one of read"),
        (changed("colour", to="red"), "colour is not a key here"),
    ],
)
def test_a_fault_is_told_in_a_sentence_that_says_where(table: dict[str, Any], said: str):
    with pytest.raises(LadderError) as caught:
        parse_ladder(table, CONTACT_BY)
    assert any(said in fault for fault in caught.value.faults)


def test_a_file_that_is_no_toml_is_refused(tmp_path: Path):
    (tmp_path / "ladder.toml").write_text("steps = [", encoding="utf-8")
    with pytest.raises(LadderError, match=r"ladder\.toml cannot be read"):
        load_ladder(tmp_path / "ladder.toml", CONTACT_BY)
