"""The tables and schedules of clearance as a whole: proved, and each file read strictly."""

from __future__ import annotations

import csv
import shutil

import pytest

from thimble.clinical.library import SHIPPED, protocol
from thimble.clinical.series import schedule as reading
from thimble.clinical.series.deciding import FACTS, rules
from thimble.protocol import check_protocol

FOLDERS = ("clearance_us", "clearance_uk")


@pytest.mark.parametrize("name", FOLDERS)
def test_every_table_is_proved_complete_and_unambiguous_and_the_cases_come_out(name):
    assert check_protocol(protocol(name)) == ()
    assert {table.hit_policy for table in protocol(name).tables} == {"UNIQUE"}


def test_the_cases_reach_every_way_to_respond_and_every_outcome_of_the_united_states():
    tables = protocol("clearance_us")
    expected = [case.expect for case in tables.cases]

    for decision in ("hbv_response", "immunity", "next_step"):
        assert {case[decision] for case in expected} == set(tables.outputs[decision].values)


@pytest.mark.parametrize("name", FOLDERS)
def test_tables_ask_for_nothing_but_what_is_computed(name):
    asked = {column for table in protocol(name).tables for column in table.inputs}

    assert asked - {"hbv_response"} <= set(FACTS)


def test_the_outcomes_are_those_of_the_contract():
    immunity = {"immune", "not_immune", "not_known", "infected", "past_infection", "isolated_core",
                "non_responder"}  # fmt: skip
    steps = {"none", "dose", "titre", "challenge_dose", "second_series", "booster", "infection_tests",
             "refer", "counsel_non_responder"}  # fmt: skip

    assert set(rules("us").outputs["immunity"].values) == immunity
    assert set(rules("us").outputs["next_step"].values) == steps
    assert set(rules("uk").outputs["immunity"].values) <= immunity
    assert set(rules("uk").outputs["next_step"].values) <= steps


def test_every_number_of_the_schedules_has_a_source_and_a_standing():
    found = 0
    for path in (SHIPPED / "clearance").rglob("*.csv"):
        with path.open(encoding="utf-8", newline="") as file:
            for row in csv.DictReader(file):
                found += 1
                assert ":" in row["source"], row
                assert row["standing"] in ("read", "secondary", "memory", "derived", "unread"), row
    assert found > 40


@pytest.mark.parametrize(
    ("old", "new", "told"),
    [
        ("P8W,P16W", "8 weeks,P16W", r"doses.csv, line \d+: column from_previous: .*P8W|duration"),
        ("three_dose,2", "three_dose,3", r"doses.csv, line \d+: column dose"),
        ("adolescent,1,43", "adolescent,1,99", r"doses.csv, line \d+: column products"),
        (
            "adjuvanted,1,189,P18Y",
            "adjuvanted,1,189,",
            r"doses.csv, line \d+: column min_age: is empty",
        ),
    ],
)
def test_a_slip_in_a_schedule_is_refused_with_its_place(tmp_path, monkeypatch, old, new, told):
    shutil.copytree(SHIPPED / "clearance", tmp_path / "clearance")
    path = tmp_path / "clearance" / "us" / "doses.csv"
    text = path.read_text(encoding="utf-8")
    assert old in text
    path.write_text(text.replace(old, new, 1), encoding="utf-8")
    monkeypatch.setattr(reading, "FOLDER", tmp_path / "clearance")

    with pytest.raises(ValueError, match=told):
        reading.schedule.__wrapped__("us")
