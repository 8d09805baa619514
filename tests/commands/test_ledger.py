"""`thimble ledger verify` on a real database whose file somebody else has changed."""

from __future__ import annotations

import sqlite3
from collections.abc import Callable
from contextlib import closing
from pathlib import Path

import pytest

from commands.data_folders import thimble

DATABASE = "thimble.sqlite3"


def tamper(folder: Path, *statements: str) -> None:
    """What somebody with the file and a tool can do: the triggers go first."""
    with closing(sqlite3.connect(folder / DATABASE)) as database:
        triggers = database.execute(
            "SELECT name FROM sqlite_master WHERE type = 'trigger' AND tbl_name = 'web_ledgerentry'"
        ).fetchall()
        assert triggers, "the database should have refused this by itself"
        for (name,) in triggers:
            database.execute(f"DROP TRIGGER {name}")
        for statement in statements:
            changed = database.execute(statement).rowcount
            assert changed, statement
        database.commit()


def row(folder: Path, number: int) -> tuple[str, int]:
    with closing(sqlite3.connect(folder / DATABASE)) as database:
        found: tuple[str, int] = database.execute(
            'SELECT case_, position FROM (SELECT "case" AS case_, position FROM web_ledgerentry '
            "WHERE number = ?)",
            (number,),
        ).fetchone()
        return found


def going_on(folder: Path) -> int:
    """The second entry of a case that has more: what follows tells whose it was when it is gone."""
    with closing(sqlite3.connect(folder / DATABASE)) as database:
        found: tuple[int] = database.execute(
            "SELECT min(number) FROM web_ledgerentry WHERE position = 2 AND "
            '"case" IN (SELECT "case" FROM web_ledgerentry WHERE position = 3)'
        ).fetchone()
        return found[0]


def test_a_whole_ledger_is_whole(demo_folder: Path) -> None:
    verified = thimble("ledger", "verify", "--data", demo_folder)

    assert (verified.returncode, verified.stderr) == (0, "")
    assert "entries, whole; the last is " in verified.stdout


def test_the_database_itself_refuses_to_change_or_delete(demo_copy: Path) -> None:
    with closing(sqlite3.connect(demo_copy / DATABASE)) as database:
        for statement in (
            "UPDATE web_ledgerentry SET body = '{}' WHERE number = 3",
            "DELETE FROM web_ledgerentry WHERE number = 3",
        ):
            with pytest.raises(sqlite3.IntegrityError, match="append only"):
                database.execute(statement)


SWAP = (
    "UPDATE web_ledgerentry SET number = 99999 WHERE number = 5",
    "UPDATE web_ledgerentry SET number = 5 WHERE number = 6",
    "UPDATE web_ledgerentry SET number = 6 WHERE number = 99999",
)


@pytest.mark.parametrize(
    ("statements", "told"),
    [
        (
            ("UPDATE web_ledgerentry SET role = 'porter' WHERE number = N",),
            lambda number, case, position: (
                f"entry {number} (case {case}, position {position}) was changed"
            ),
        ),
        (
            (
                "UPDATE web_ledgerentry SET happened_at = '2020-01-01T00:00:00.000000+00:00' "
                "WHERE number = N",
            ),
            lambda number, case, position: (
                f"entry {number} (case {case}, position {position}) was changed"
            ),
        ),
        (
            ("UPDATE web_ledgerentry SET body = '{\"facts\":{}}' WHERE number = N",),
            lambda number, case, position: (
                f"entry {number} (case {case}, position {position}) was changed"
            ),
        ),
        (
            ("UPDATE web_ledgerentry SET body = 'nonsense' WHERE number = N",),
            lambda number, case, position: (
                f"entry {number} (case {case}, position {position}) cannot be read"
            ),
        ),
        (
            ("DELETE FROM web_ledgerentry WHERE number = N",),
            lambda number, case, position: (
                f"entry {number} (case {case}, position {position}) is missing"
            ),
        ),
        (SWAP, lambda *_: "entry 5 "),
    ],
    ids=["role", "instant", "body", "nonsense", "missing", "reordered"],
)
def test_an_entry_that_was_changed_taken_out_or_moved_is_named(
    demo_copy: Path, statements: tuple[str, ...], told: Callable[[int, str, int], str]
) -> None:
    number = going_on(demo_copy)
    case, position = row(demo_copy, number)
    statements = tuple(statement.replace("= N", f"= {number}") for statement in statements)
    tamper(demo_copy, *statements)
    verified = thimble("ledger", "verify", "--data", demo_copy)

    assert (verified.returncode, verified.stderr) == (1, "")
    assert told(number, case, position) in verified.stdout
    # The files of people are another ledger, and whole.
    assert [line.split(":")[0] for line in verified.stdout.splitlines() if "whole" in line] == [
        "people"
    ]


def test_an_end_that_was_cut_off_is_found_by_what_a_document_printed(demo_copy: Path) -> None:
    whole = thimble("ledger", "verify", "--data", demo_copy).stdout
    number, digest = whole.rsplit(maxsplit=1)[1].split(":")
    tamper(
        demo_copy,
        "DELETE FROM web_ledgerentry WHERE number = (SELECT max(number) FROM web_ledgerentry)",
    )

    alone = thimble("ledger", "verify", "--data", demo_copy)
    anchored = thimble(
        "ledger", "verify", "--data", demo_copy, "--anchor", f"{number}:{digest[:16]}"
    )

    assert alone.returncode == 0, "a chain alone cannot know that it was longer"
    assert anchored.returncode == 1
    assert f"entry {number} and what followed it are missing" in anchored.stdout


@pytest.mark.parametrize("anchor", ["142", "142:", "142:xyz", ":abc", "142:abcdef", "a:b"])
def test_an_anchor_that_is_none_is_refused(demo_folder: Path, anchor: str) -> None:
    from commands.running import run

    ran = run("ledger", "verify", "--data", demo_folder, "--anchor", anchor)

    assert ran.status == 2
    assert repr(anchor) in ran.err


def test_a_folder_without_a_ledger_is_refused_and_left_as_it_is(tmp_path: Path) -> None:
    from commands.running import run

    assert run("ledger", "verify", "--data", tmp_path).status == 2
    assert run("ledger", "verify", "--data", tmp_path / "nowhere").status == 2
    assert list(tmp_path.iterdir()) == []


def test_a_file_that_is_no_database_is_told_in_a_sentence(demo_copy: Path) -> None:
    for path in demo_copy.glob(f"{DATABASE}*"):
        path.write_bytes(b"not a database, whatever it was before" * 200)
    verified = thimble("ledger", "verify", "--data", demo_copy)

    assert verified.returncode == 1
    assert "cannot be read as a ledger" in verified.stdout
    assert "Traceback" not in verified.stderr
