"""`thimble account add`: the first account of a site."""

from __future__ import annotations

import re
import sqlite3
from contextlib import closing
from pathlib import Path

import pytest

from commands.data_folders import thimble


def accounts(folder: Path) -> dict[str, tuple[str, str, bool]]:
    with closing(sqlite3.connect(folder / "thimble.sqlite3")) as database:
        rows = database.execute(
            "SELECT sign_in, role, password, must_change_password FROM web_account"
        ).fetchall()
    return {sign_in: (role, password, bool(change)) for sign_in, role, password, change in rows}


def test_the_first_account_of_a_new_folder_may_manage_accounts(tmp_path: Path) -> None:
    added = thimble("account", "add", "k.lindner", "--name", "K. Lindner", "--data", tmp_path)

    # A sign-in name is letters, digits, hyphens and underscores.
    assert added.returncode == 2
    assert "Traceback" not in added.stderr
    added = thimble("account", "add", "Lindner", "--name", "K. Lindner", "--data", tmp_path)

    assert (added.returncode, added.stderr) == (0, "")
    match = re.search(r"one-time password (\S+) ", added.stdout)
    assert match is not None
    role, stored, must_change = accounts(tmp_path)["lindner"]
    assert role == "administrator"
    assert stored.startswith("argon2$argon2id$")
    assert match[1] not in stored
    assert must_change
    with closing(sqlite3.connect(tmp_path / "thimble.sqlite3")) as database:
        events = database.execute('SELECT what, role, "by" FROM web_accountevent').fetchall()
    assert events == [("created", "administrator", "")]
    assert len(match[1]) >= 12
    # The names of patients and staff are nobody else's to read.
    assert (tmp_path / "thimble.sqlite3").stat().st_mode & 0o077 == 0
    assert (tmp_path / "secret_key").stat().st_mode & 0o077 == 0


@pytest.mark.parametrize(
    ("arguments", "told"),
    [
        (["night", "--name", "Another"], "already exists"),
        (["fresh", "--name", "Another", "--role", "superuser"], "emergency_clinician"),
        (["fresh", "--name", ""], "blank"),
        (["with space", "--name", "Another"], "letters, numbers"),
    ],
)
def test_what_cannot_be_an_account_is_refused_in_a_sentence(
    demo_copy: Path, arguments: list[str], told: str
) -> None:
    before = accounts(demo_copy)
    added = thimble("account", "add", *arguments, "--data", demo_copy)

    assert (added.returncode, added.stdout) == (2, "")
    assert told in added.stderr
    assert "Traceback" not in added.stderr
    assert accounts(demo_copy) == before


def test_a_folder_that_does_not_exist_is_refused(tmp_path: Path) -> None:
    added = thimble("account", "add", "x", "--name", "X", "--data", tmp_path / "nowhere")

    assert added.returncode == 2
    assert "nowhere" in added.stderr
