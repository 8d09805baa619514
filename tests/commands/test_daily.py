"""`thimble daily`: every job runs, a failure is told and stops nobody, and the output names nobody."""

from __future__ import annotations

import sqlite3
from pathlib import Path

import pytest

from commands.data_folders import thimble
from thimble.commands import NotUnderstood
from thimble.commands.daily import Job, run_all


def test_a_job_that_breaks_stops_no_other_and_its_words_stay_inside(
    capsys: pytest.CaptureFixture[str], tmp_path: Path
):
    ran = []

    def says(data: Path) -> int:
        ran.append(data)
        print("2 done")
        return 0

    def breaks(data: Path) -> int:
        print("1 done")
        raise KeyError("Benedikt Aalders, source.hiv positive")

    def refuses(data: Path) -> int:
        raise NotUnderstood("site.toml: name is missing.\nsite.toml: zone is missing.")

    def tells(data: Path) -> int:
        print("1 could not be sent")
        return 1

    jobs = [Job("one", breaks), Job("two", refuses), Job("three", tells), Job("four", says)]
    assert run_all(jobs, tmp_path) == 1
    assert ran == [tmp_path]
    said = capsys.readouterr()
    assert "Benedikt" not in said.out + said.err
    lines = said.out.splitlines()
    assert lines[0] == "one: 1 done"
    assert lines[1].startswith("one: failed: KeyError at test_daily.py, line ")
    assert lines[2:] == [
        "two: failed: site.toml: name is missing.",
        "two: site.toml: zone is missing.",
        "three: 1 could not be sent",
        "three: failed, see above",
        "four: 2 done",
        "failed: one, two, three",
    ]


def test_all_done_is_status_0(capsys: pytest.CaptureFixture[str], tmp_path: Path):
    assert run_all([Job("one", lambda _: 0)], tmp_path) == 0
    assert capsys.readouterr().out == "all done\n"


def test_a_night_of_the_invented_hospital(demo_copy: Path):
    night = thimble("daily", "--data", demo_copy, THIMBLE_MAIL="file")
    assert night.returncode == 0, night.stdout + night.stderr
    assert "mail to workers: 1 sent, 0 could not be sent, 0 without an address" in night.stdout
    assert "source identities: " in night.stdout
    assert "ledger: cases: " in night.stdout
    assert ", whole; the last is " in night.stdout
    assert "Benedikt" not in night.stdout + night.stderr
    assert "quillhaven.example" not in night.stdout + night.stderr


def test_a_site_without_mail_has_a_good_night_and_is_told(demo_copy: Path):
    night = thimble("daily", "--data", demo_copy)
    assert night.returncode == 0, night.stdout + night.stderr
    assert "mail to workers: Mail is not set up: THIMBLE_MAIL is not set." in night.stdout


def test_an_entry_that_was_changed_is_told_at_night(demo_copy: Path):
    with sqlite3.connect(demo_copy / "thimble.sqlite3") as database:
        for (trigger,) in database.execute(
            "select name from sqlite_master where type = 'trigger'"
        ).fetchall():
            database.execute(f'drop trigger "{trigger}"')
        database.execute("update web_ledgerentry set by = 'nobody' where number = 3")
    night = thimble("daily", "--data", demo_copy, THIMBLE_MAIL="file")
    assert night.returncode == 1
    assert "failed: ledger" in night.stdout.splitlines()[-1]
