"""`thimble demo` and `thimble serve`: build once, keep, start afresh, leave other folders alone."""

from __future__ import annotations

import sqlite3
from contextlib import closing
from pathlib import Path

import pytest

from commands.data_folders import thimble
from commands.running import run
from thimble.demo.hospital import PASSWORD, STAFF
from thimble.demo.stories import STORIES


def digests(folder: Path) -> list[str]:
    with closing(sqlite3.connect(folder / "thimble.sqlite3")) as database:
        rows = database.execute("SELECT digest FROM web_ledgerentry ORDER BY number").fetchall()
    return [digest for (digest,) in rows]


def test_a_first_run_builds_and_names_the_address_and_the_sign_ins(tmp_path: Path) -> None:
    folder = tmp_path / "demo"
    built = thimble("demo", "--data", folder, "--build-only", "--port", "9017")

    assert (built.returncode, built.stderr) == (0, "")
    assert "http://127.0.0.1:9017/" in built.stdout
    assert PASSWORD in built.stdout
    assert all(member.sign_in in built.stdout for member in STAFF)
    assert len(digests(folder)) > 3 * len(STORIES)
    assert (folder / "site.toml").read_text(encoding="utf-8").count("9017") == 1
    assert folder.stat().st_mode & 0o077 == 0


def test_a_second_run_keeps_the_data_and_a_reset_starts_afresh(demo_copy: Path) -> None:
    before = digests(demo_copy)
    again = thimble("demo", "--data", demo_copy, "--build-only")
    kept = digests(demo_copy)
    afresh = thimble("demo", "--data", demo_copy, "--build-only", "--reset")

    assert (again.returncode, afresh.returncode) == (0, 0)
    assert kept == before
    assert digests(demo_copy) != before
    assert "Building" not in again.stdout
    assert "Building" in afresh.stdout


@pytest.mark.parametrize("options", [[], ["--reset"]])
def test_a_folder_that_is_not_the_demo_is_left_alone(tmp_path: Path, options: list[str]) -> None:
    (tmp_path / "thesis.txt").write_text("years of work", encoding="utf-8")
    ran = run("demo", "--data", tmp_path, "--build-only", *options)

    assert ran.status == 2
    assert "left alone" in ran.err
    assert [path.name for path in tmp_path.iterdir()] == ["thesis.txt"]


def test_serving_a_folder_without_settings_says_what_to_write(tmp_path: Path) -> None:
    ran = run("serve", "--data", tmp_path)

    assert ran.status == 2
    assert "site.toml" in ran.err
    assert "docs/deployment.md" in ran.err


def test_serving_settings_with_faults_lists_them_all(tmp_path: Path) -> None:
    (tmp_path / "site.toml").write_text('name = 4\nprotocol = "mars"\n', encoding="utf-8")
    served = thimble("serve", "--data", tmp_path)

    assert served.returncode == 2
    assert "name" in served.stderr
    assert "'mars'" in served.stderr
    assert "Traceback" not in served.stderr
    assert not (tmp_path / "thimble.sqlite3").exists()
