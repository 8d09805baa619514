"""What a non-responder was told: on record with day and material, asked for by the tables until it is."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta
from typing import Any

import pytest

from people.files import GOOD, NOW, ONE, RESULT, people, write
from people.test_procedures import (
    ALL_THREE,
    BORN,
    ON,
    UK,
    Draft,
    decided,
    dose,
    person,
    result,
)
from thimble.clinical.readiness import Need, Status
from thimble.clinical.series.counselling import counselling
from thimble.clinical.series.deciding import rules
from thimble.people.bodies import PEOPLE
from thimble.people.counselled import counselled
from thimble.people.entries import Kind
from thimble.people.immunity import shown
from thimble.people.readiness import readiness
from thimble.protocol import STANDINGS


def titre(when: str, number: float) -> Draft:
    return Kind.RESULT_RECORDED, {**RESULT, "when": when, "number": number, "comparator": "="}


def talk(on: str = "2026-02-26", **more: Any) -> Draft:
    return Kind.COUNSELLED, {**GOOD[Kind.COUNSELLED], "on": on, **more}


FAILED = (
    dose("2024-01-08"), dose("2024-02-12"), dose("2024-08-12"), titre("2024-09-23", 3),
    dose("2024-10-07"), dose("2024-11-11"), dose("2025-05-12"), titre("2025-06-23", 3),
    result("hbsag", when="2025-06-23"), result("anti_hbc_total", when="2025-06-23"),
)  # fmt: skip


def test_the_tables_ask_for_it_and_once_it_is_on_record_the_physician_judges() -> None:
    before = readiness(person(*FAILED, prone="no"), BORN, ON, UK)
    assert before.status is Status.OPEN
    assert [lack.need for lack in before.lacks] == [Need.PHYSICIAN]

    after = readiness(person(*FAILED, talk(), prone="no"), BORN, ON, UK)
    assert (after.status, after.lacks) == (Status.TO_JUDGE, ())
    assert after.states[0].words == "Non-responder; counselled Thu 26 Feb 2026"


def test_who_was_counselled_and_found_fit_is_ready_and_for_such_procedures_with_their_tests() -> (
    None
):
    """UKAP, remembered: a non-responder shown not to be infectious may do them."""
    fit = decided(facts={"occasion": "clearance", "exposure_prone": "no"})
    ward = person(*FAILED, talk(), prone="no")
    assert readiness(ward, BORN, ON, UK, fit).status is Status.READY
    assert readiness(person(*FAILED, prone="no"), BORN, ON, UK, fit).status is Status.OPEN

    core = result("anti_hbc_total")
    surgeon = person(*FAILED, talk(), *ALL_THREE, core)
    assert readiness(surgeon, BORN, ON, UK, decided()).status is Status.READY
    assert readiness(surgeon, BORN, ON, UK, fit).status is not Status.READY
    untested = person(*FAILED, talk(), *ALL_THREE[:2], core)
    assert readiness(untested, BORN, ON, UK, decided()).status is Status.READY_WITHOUT


def test_a_decision_from_before_the_titres_says_nothing_of_who_did_not_respond() -> None:
    """Found fit while the series was running; that the vaccine did nothing was written down since."""
    fit = decided(facts={"occasion": "clearance", "exposure_prone": "no"})
    ward = person(*FAILED, talk(), prone="no")

    before = readiness(ward, BORN, ON, UK, replace(fit, at=NOW - timedelta(days=5)))
    assert before.status is Status.TO_JUDGE
    assert readiness(ward, BORN, ON, UK, fit).status is Status.READY


@pytest.mark.parametrize(
    ("on", "counts"), [("2025-06-22", False), ("2025-06-23", True), ("2026-03-02", True)]
)
def test_only_a_talk_from_the_day_of_the_latest_titre_on_counts(on: str, counts: bool) -> None:
    assert (counselled(person(*FAILED, talk(on)), ON) is not None) is counts


def test_a_talk_of_a_later_day_is_not_yet_held_and_the_latest_one_is_told() -> None:
    file = person(*FAILED, talk("2026-02-20"), talk("2026-02-27", material="card"))

    assert counselled(file, date(2026, 2, 19)) is None
    found = counselled(file, ON)
    assert found is not None
    assert found.body["material"] == "card"
    assert found in shown(file)
    assert found.vouched


@pytest.mark.parametrize("protocol", ["us", "uk"])
def test_every_point_has_a_source_and_the_step_is_one_of_the_tables(protocol: str) -> None:
    told = counselling(protocol)
    assert told is not None
    assert told.settles in rules(protocol).outputs["next_step"].values
    assert len({point.id for point in told.points}) == len(told.points) > 0
    for point in told.points:
        assert point.words
        assert point.source
        assert point.standing in STANDINGS
    assert counselling("xx") is None


@pytest.mark.parametrize(
    "wrong", [{"points": []}, {"material": ""}, {"on": "soon"}, {"disease": "plague"}, {"on": None}]
)
def test_an_entry_that_does_not_say_what_when_and_what_was_handed_out_is_refused(
    wrong: dict[str, Any],
) -> None:
    store = people()
    with pytest.raises(ValueError, match="counselled"):
        write(store, (Kind.COUNSELLED, {**GOOD[Kind.COUNSELLED], **wrong}))
    assert store.entries(ONE) == []
    assert PEOPLE.faults_of(Kind.COUNSELLED, GOOD[Kind.COUNSELLED]) == []


def test_a_number_below_ten_of_an_unclear_day_hides_no_talk_that_may_lie_after_it() -> None:
    file = person(*FAILED, titre("2026", 3), talk("2026-01-05"))

    assert counselled(file, ON) is not None
