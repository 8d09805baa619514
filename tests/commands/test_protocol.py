"""`thimble protocol check`: 0 for the shipped ones, 1 and the faults for a broken one."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

from commands.running import run
from thimble.clinical.library import SHIPPED, folders


@pytest.fixture
def copied(tmp_path: Path) -> Path:
    folder = tmp_path / "mine"
    shutil.copytree(SHIPPED / "us", folder)
    return folder


def edit(folder: Path, name: str, before: str, after: str) -> None:
    text = (folder / name).read_text(encoding="utf-8")
    assert before in text
    (folder / name).write_text(text.replace(before, after, 1), encoding="utf-8")


def test_every_shipped_protocol_is_complete_unambiguous_and_monotone() -> None:
    ran = run("protocol", "check")

    assert (ran.status, ran.err) == (0, "")
    lines = ran.out.splitlines()
    assert [line.split(":")[0] for line in lines] == list(folders())
    assert all("complete, unambiguous, monotone" in line for line in lines)
    assert all("cases come out as they say" in line for line in lines)


def test_one_can_be_named_or_a_folder(copied: Path) -> None:
    assert run("protocol", "check", "uk").out.startswith("uk: ")
    assert run("protocol", "check", copied).status == 0
    assert run("protocol", "check", "uk", "us").out.count("\n") == 2


def test_a_gap_is_shown_as_the_smallest_situation_that_falls_into_it(copied: Path) -> None:
    edit(copied, "hbig_timing.csv", "> 168 h", "> 169 h")
    ran = run("protocol", "check", copied)

    assert ran.status == 1
    assert "hbig_timing" in ran.out
    assert "168" in ran.out
    assert "fault" in ran.out.splitlines()[-1]


def test_two_rules_for_one_situation_are_shown(copied: Path) -> None:
    edit(copied, "hbig_timing.csv", "> 168 h", ">= 168 h")
    ran = run("protocol", "check", copied)

    assert ran.status == 1
    assert "HBIGTIME-02" in ran.out
    assert "HBIGTIME-03" in ran.out


def test_a_value_that_does_not_exist_is_shown_with_its_cell(copied: Path) -> None:
    edit(copied, "significance.csv", "intact_skin,laboratory_concentrate", "intact,blood")
    ran = run("protocol", "check", copied)

    assert ran.status == 1
    assert "significance.csv" in ran.out
    assert "intact" in ran.out
    assert "Traceback" not in ran.err


def test_a_case_that_comes_out_otherwise_is_shown(copied: Path) -> None:
    edit(copied, "cases.toml", 'significance = "significant"', 'significance = "not_significant"')
    ran = run("protocol", "check", copied)

    assert ran.status == 1
    assert "cases.toml" in ran.out or "case" in ran.out
    assert "not_significant" in ran.out


def test_a_fault_of_one_does_not_hide_another_protocol(copied: Path) -> None:
    edit(copied, "hbig_timing.csv", "> 168 h", "> 169 h")
    ran = run("protocol", "check", copied, "uk")

    assert ran.status == 1
    assert "uk: " in ran.out


@pytest.mark.parametrize("name", ["mars", "src/../nowhere"])
def test_a_protocol_that_does_not_exist_is_refused(name: str) -> None:
    ran = run("protocol", "check", name)

    assert (ran.status, ran.out) == (2, "")
    assert "uk, us" in ran.err


def test_a_folder_without_a_manifest_has_a_fault(tmp_path: Path) -> None:
    ran = run("protocol", "check", tmp_path)

    assert ran.status == 1
    assert "protocol.toml" in ran.out
