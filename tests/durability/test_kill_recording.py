"""`kill -9` while messages are recorded together: each is recorded whole and once, whatever the moment.

The messages were acknowledged before. Each holds results of two cases, so that half of one would show.
"""

from __future__ import annotations

import os
import random
import shutil
import signal
import sqlite3
import subprocess
import sys
import time
from collections import Counter
from contextlib import closing
from pathlib import Path

import pytest

from commands.data_folders import COMMAND, environment
from durability.recorder import MESSAGES
from durability.test_kill import PATIENCE, entries, until
from thimble.exchange.inbox import FILE
from thimble.ledger.entries import Kind
from thimble.ledger.verify import verify

SCRIPT = Path(__file__).with_name("recorder.py")


def run(folder: Path, what: str) -> int:
    ran = subprocess.run(
        [sys.executable, str(SCRIPT), str(folder), what],
        env=environment(), check=False, timeout=PATIENCE, capture_output=True,
    )  # fmt: skip
    assert ran.returncode in {0, -signal.SIGKILL}, ran.stderr.decode()
    return ran.returncode


@pytest.fixture(scope="module")
def acknowledged(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A hospital whose inbox holds messages that nobody has recorded. Not to be changed."""
    folder = tmp_path_factory.mktemp("acknowledged")
    assert run(folder, "build") == 0
    return folder


@pytest.fixture
def folder(acknowledged: Path, tmp_path: Path) -> Path:
    return shutil.copytree(acknowledged, tmp_path / "data")


def recorded(folder: Path) -> Counter[str]:
    """How many entries each message has; the ledger is whole."""
    found = entries(folder)
    assert verify(found) == []
    return Counter(e.body["message"] for e in found if e.kind is Kind.RESULT_RECEIVED)


def states(folder: Path) -> dict[str, str]:
    """The state of each stored message, by its digest."""
    with closing(sqlite3.connect(folder / FILE, timeout=PATIENCE)) as database:
        assert database.execute("PRAGMA integrity_check").fetchall() == [("ok",)]
        return dict(database.execute("SELECT digest, state FROM received"))


@pytest.mark.parametrize(
    ("moment", "there"),
    [
        ("while the messages are read", 0),
        ("in the middle of the write", 0),
        ("between the ledger and the inbox", MESSAGES),
    ],
)
def test_killed_at_the_worst_moments_all_or_none_of_a_write_is_there_and_the_rest_follows_once(
    folder: Path, moment: str, there: int
) -> None:
    assert run(folder, moment) == -signal.SIGKILL
    assert len(recorded(folder)) == there
    assert Counter(states(folder).values()) == {"new": MESSAGES}

    assert run(folder, "never") == 0

    assert recorded(folder) == dict.fromkeys(states(folder), 2)
    assert Counter(states(folder).values()) == {"matched": MESSAGES}


def test_killed_at_random_moments_again_and_again_each_message_is_recorded_once(
    folder: Path,
) -> None:
    """`thimble listen` itself, which takes up at its start what is new."""
    for last in (False, False, False, True):
        before = len(recorded(folder))
        process = subprocess.Popen(
            [*COMMAND, "listen", str(folder), "--port", "0"],
            stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL, env=environment(),
        )  # fmt: skip
        if last:
            until(lambda: "new" not in states(folder).values())
        else:
            until(lambda: _locked(folder) or "new" not in states(folder).values())
            time.sleep(random.uniform(0, 0.1))
        os.kill(process.pid, signal.SIGKILL)
        process.wait(PATIENCE)
        after = recorded(folder)
        assert set(after.values()) <= {2}
        assert len(after) >= before

    assert set(recorded(folder)) == set(states(folder))


def _locked(folder: Path) -> bool:
    """Whether somebody writes to the ledger at this moment."""
    with closing(sqlite3.connect(folder / "thimble.sqlite3", timeout=0)) as database:
        try:
            database.execute("BEGIN IMMEDIATE")
            database.rollback()
        except sqlite3.OperationalError:
            return True
    return False
