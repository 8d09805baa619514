"""A result shows that its sample was drawn: inside the window, for its purpose, of every test it needs."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime, timedelta
from types import SimpleNamespace
from typing import Any, cast

import pytest

from thimble.clinical.serology import Analyte, Result, Status, Word
from thimble.ledger.plan import Action, State, Window
from thimble.ledger.results.drawn import Drawn, drawn_by_results
from thimble.ledger.results.recorded import BASELINE, FOLLOW_UP
from thimble.ledger.situation import LabResult

from .builders import after, us

OPENS, CLOSES = after(hours=21 * 24), after(hours=42 * 24)


def action(id_: str, state: State = State.OPEN) -> Action:
    return Action(
        id_, f"Draw for {id_}", "sample", "worker", Window(OPENS, None, CLOSES), state, True, ()
    )


def came(test: Analyte, at: datetime | None, drawn_for: str = FOLLOW_UP, **more: Any) -> LabResult:
    result = Result(
        test, "worker", Status.FINAL, at, after(hours=2000), Word.NEGATIVE, specimen="S-1"
    )
    return LabResult(replace(result, **more), drawn_for, 7)


def shown(actions: list[Action], *results: LabResult) -> list[str]:
    return [each.action.id for each in drawn(actions, *results)]


def drawn(actions: list[Action], *results: LabResult) -> tuple[Drawn, ...]:
    situation = cast(Any, SimpleNamespace(results=results))
    return drawn_by_results(situation, cast(Any, SimpleNamespace(actions=actions)), us())


@pytest.mark.parametrize(
    ("at", "inside"),
    [
        (OPENS - timedelta(minutes=1), False),
        (OPENS, True),
        (CLOSES, True),
        (CLOSES + timedelta(minutes=1), False),
        (None, False),
    ],
)
def test_only_blood_taken_inside_the_window_counts(at: datetime | None, inside: bool):
    found = drawn([action("follow_up_hcv_rna")], came(Analyte.HCV_RNA, at))
    assert [(d.action.id, d.at, d.specimen) for d in found] == (
        [("follow_up_hcv_rna", at, "S-1")] if inside else []
    )


def test_another_test_another_purpose_a_result_taken_back_or_a_sample_done_show_nothing():
    rna = action("follow_up_hcv_rna")
    assert shown([rna], came(Analyte.ANTI_HCV, OPENS)) == []
    assert shown([rna], came(Analyte.HCV_RNA, OPENS, BASELINE)) == []
    assert shown([rna], came(Analyte.HCV_RNA, OPENS, status=Status.RETRACTED)) == []
    assert shown([action("follow_up_hcv_rna", State.DONE)], came(Analyte.HCV_RNA, OPENS)) == []
    assert shown([action("follow_up_hcv_rna", State.LATE)], came(Analyte.HCV_RNA, OPENS)) != []
    # Of the exposure itself only what was drawn for it.
    assert shown([action("baseline_hcv")], came(Analyte.ANTI_HCV, OPENS)) == []
    assert shown([action("baseline_hcv")], came(Analyte.ANTI_HCV, OPENS, BASELINE)) != []


def test_a_sample_for_two_tests_needs_both_of_one_blood():
    both = [action("follow_up_hbv")]
    antigen, core = (Analyte.HBSAG, Analyte.ANTI_HBC_TOTAL)
    later = OPENS + timedelta(days=1)
    assert shown(both, came(antigen, OPENS)) == []
    assert shown(both, came(antigen, OPENS), came(core, later)) == []
    assert shown(both, came(antigen, OPENS), came(core, OPENS)) == ["follow_up_hbv"]


def test_every_sample_that_follows_a_worker_is_named_with_its_tests():
    named = us().named_actions
    follow_up = set(named["follow_up_samples"]) | set(named["baseline_samples"])
    tested = {a for name, ids in named.items() if name.startswith("drawn_for_") for a in ids}
    assert tested == follow_up
    assert all(
        name.removeprefix("drawn_for_") in set(Analyte)
        for name in named
        if name.startswith("drawn_for_")
    )
