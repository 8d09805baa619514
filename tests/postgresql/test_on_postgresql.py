"""The store, its triggers and what rests on them, on a PostgreSQL server that is started for it.

The same tests as on SQLite, run in a process of their own whose settings name the server. It listens on a
socket in a folder, not on the network. Without the server's programs this is skipped, unless
THIMBLE_REQUIRE_POSTGRES says that it must not be.
"""

from __future__ import annotations

import os
import pwd
import re
import shutil
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from pathlib import Path

import pytest

TESTS = Path(__file__).resolve().parents[1]
SUITE = (
    "test_store.py",
    "test_vials.py",
    "test_recall.py",
    "test_laboratory.py",
    "test_people_import.py",
    "test_booking.py",
    "test_mailing_at_once.py",
    "test_limits_at_once.py",
    "test_people_at_once.py",
    "test_certificates.py",
    "test_certificates_many.py",
    "test_own_page.py",
    "test_letters_many.py",
    "test_offers_by_letter.py",
)
LEAST = 200
"""So many tests there must be: a run that collects nothing proves nothing."""


def _programs() -> Path | None:
    """The folder of initdb and pg_ctl, of the newest server that is installed."""
    if found := shutil.which("initdb"):
        return Path(found).resolve().parent
    places = Path("/usr/lib/postgresql").glob("*/bin/initdb")
    newest = max(places, key=lambda path: int(path.parent.parent.name), default=None)
    return None if newest is None else newest.parent


@pytest.fixture
def address() -> Iterator[str]:
    """A new, empty server: the address of its database."""
    programs = _programs()
    if programs is None:
        if os.environ.get("THIMBLE_REQUIRE_POSTGRES") == "1":
            pytest.fail("THIMBLE_REQUIRE_POSTGRES is 1, and there is no PostgreSQL server")
        pytest.skip("no PostgreSQL server is installed")
    with tempfile.TemporaryDirectory(prefix="thimble-pg-") as name:
        folder, user = Path(name), None
        if os.geteuid() == 0:  # the server does not run as root
            user = "postgres"
            owner = pwd.getpwnam(user)
            os.chown(folder, owner.pw_uid, owner.pw_gid)

        def run(*command: object) -> None:
            # The server keeps what it inherits open; a pipe would never end.
            with (folder / "said").open("ab") as said:
                done = subprocess.run(
                    list(map(str, command)), cwd="/", user=user, stdin=subprocess.DEVNULL,
                    stdout=said, stderr=said, check=False, timeout=120,
                )  # fmt: skip
            assert done.returncode == 0, (folder / "said").read_text(encoding="utf-8")

        data = folder / "data"
        run(programs / "initdb", "-D", data, "-U", "thimble", "-A", "trust", "-E", "UTF8",
            "--locale=C.UTF-8")  # fmt: skip
        # -F: what is lost with the machine is not asked here, and waiting for the disk takes long.
        pg_ctl = programs / "pg_ctl"
        run(pg_ctl, "-D", data, "-w", "-l", folder / "log", "-o", f"-F -k {folder} -h ''", "start")
        try:
            yield f"postgresql://thimble@/postgres?host={folder}"
        finally:
            run(pg_ctl, "-D", data, "-w", "-m", "immediate", "stop")


def test_ledger_records_and_messages_hold_on_postgresql(address: str) -> None:
    done = subprocess.run(
        [sys.executable, "-m", "pytest", "-p", "no:cacheprovider", "-p", "no:xdist",
         *(str(TESTS / "web" / name) for name in SUITE)],
        cwd=TESTS.parent, env={**os.environ, "THIMBLE_DATABASE": address}, check=False,
        capture_output=True, text=True, timeout=500,
    )  # fmt: skip
    assert done.returncode == 0, done.stdout[-8000:] + done.stderr[-2000:]
    passed = re.search(r"(\d+) passed", done.stdout)
    assert passed is not None, done.stdout[-2000:]
    assert int(passed[1]) >= LEAST
