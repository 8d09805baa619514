"""`thimble listen`: from bytes on a socket to the inbox, the answer, and an entry of the ledger."""

from __future__ import annotations

import re
import signal
import socket
import sqlite3
import subprocess
import time
from collections.abc import Iterator
from contextlib import closing, contextmanager
from pathlib import Path

import pytest

from commands.data_folders import COMMAND, environment, thimble

MESSAGE = "\r".join(
    [
        "MSH|^~\\&|LAB|INVENTED|THIMBLE|HOSP|20990101080000+0000||ORU^R01^ORU_R01|{control}|P|2.5.1",
        "PID|1||M-1^^^INVENTED^MR||Invented^Vera||19700102|F",
        "OBR|1|R-1|F-9|24110-9^panel^LN|||||||||||||||||||20200101000000+0000|||F",
        "OBX|1|CE|5195-3^HBsAg^LN||10828004^Positive^SCT||||||F",
        "SPM|1|{specimen}||119297000^Blood^SCT",
        "",
    ]
)


@contextmanager
def listening(folder: Path, *options: str) -> Iterator[int]:
    """A listener on a free port, ended in good order."""
    process = subprocess.Popen(
        [*COMMAND, "listen", str(folder), "--port", "0", *options],
        stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, env=environment(),
    )  # fmt: skip
    assert process.stdout is not None
    try:
        told = ""
        while not (found := re.search(r":(\d+) \(MLLP\)", told)):
            told = process.stdout.readline()
            assert told, process.communicate()[1]
        yield int(found[1])
    finally:
        process.send_signal(signal.SIGTERM)
        out, errors = process.communicate(timeout=30)
    assert process.returncode == 0, errors
    assert "everything acknowledged is stored" in out


def send(port: int, text: str) -> bytes:
    with socket.create_connection(("127.0.0.1", port), timeout=30) as link:
        link.sendall(b"\x0b" + text.encode() + b"\x1c\r")
        answer = b""
        while not answer.endswith(b"\x1c\r"):
            answer += link.recv(4096)
    return answer


def results(folder: Path) -> list[str]:
    with closing(sqlite3.connect(folder / "thimble.sqlite3")) as database:
        rows = database.execute(
            "SELECT body FROM web_ledgerentry WHERE kind = 'result_received' ORDER BY number"
        ).fetchall()
    return [row[0] for row in rows]


def states(folder: Path) -> list[str]:
    with closing(sqlite3.connect(folder / "inbox.sqlite3")) as database:
        return [row[0] for row in database.execute("SELECT state FROM received ORDER BY id")]


def test_a_result_on_the_socket_is_acknowledged_and_becomes_an_entry_by_itself(demo_copy: Path):
    before = results(demo_copy)
    with listening(demo_copy) as port:
        answer = send(port, MESSAGE.format(control="M1", specimen="S-4417"))
        end = time.monotonic() + 30
        while states(demo_copy) == ["new"]:
            assert time.monotonic() < end
            time.sleep(0.01)
        new = results(demo_copy)[len(before) :]
        again = send(port, MESSAGE.format(control="M1", specimen="S-4417"))

    assert b"MSA|AA|M1" in answer
    (body,) = new
    assert '"source_hbsag":"positive"' in body
    assert again == answer
    assert len(results(demo_copy)) == len(before) + 1
    assert thimble("ledger", "verify", "--data", demo_copy).returncode == 0


def test_what_is_at_hand_when_it_is_told_to_stop_is_recorded_before_it_ends(demo_copy: Path):
    before = results(demo_copy)
    with listening(demo_copy) as port:
        send(port, MESSAGE.format(control="M1", specimen="S-4417"))

    assert states(demo_copy) == ["matched"]
    assert len(results(demo_copy)) == len(before) + 1


def test_a_result_that_nobody_awaits_is_acknowledged_and_held(demo_copy: Path):
    before = results(demo_copy)
    with listening(demo_copy) as port:
        answer = send(port, MESSAGE.format(control="M2", specimen="S-0000"))

    assert b"MSA|AA|M2" in answer
    assert results(demo_copy) == before
    with closing(sqlite3.connect(demo_copy / "inbox.sqlite3")) as database:
        ((state, reason),) = database.execute("SELECT state, reason FROM received").fetchall()
    assert state == "held"
    assert "No case and no file" in reason
    assert "Vera" not in reason


def test_the_inbox_is_readable_by_its_own_user_alone(demo_copy: Path):
    with listening(demo_copy) as port:
        send(port, MESSAGE.format(control="M3", specimen="S-0000"))

    assert (demo_copy / "inbox.sqlite3").stat().st_mode & 0o077 == 0


def test_a_folder_that_does_not_exist_is_told(tmp_path: Path):
    ran = thimble("listen", tmp_path / "none")

    assert ran.returncode == 2
    assert "no such data folder" in ran.stderr


def test_keys_without_a_certificate_and_files_that_are_none_are_refused(tmp_path: Path) -> None:
    missing = tmp_path / "none.pem"
    for options in (["--key", str(missing)], ["--senders", str(missing)]):
        refused = thimble("listen", str(tmp_path), *options)
        assert (refused.returncode, "need --certificate" in refused.stderr) == (2, True)
    refused = thimble("listen", str(tmp_path), "--certificate", str(missing))
    assert (refused.returncode, "there is no such file" in refused.stderr) == (2, True)
    assert not (tmp_path / "inbox.sqlite3").exists()


DECLARED = """
[laboratory]
decimal_comma = true

[[laboratory.codes]]
system = "L"
code = "HBS"
loinc = "5195-3"

[laboratory.words]
positive = ["nachgewiesen"]
"""
LOCAL = MESSAGE.replace("CE|5195-3^HBsAg^LN||10828004^Positive^SCT", "ST|HBS^HBsAg^L||nachgewiesen")


def declare(folder: Path, text: str) -> None:
    site = folder / "site.toml"
    site.write_text(f"{site.read_text(encoding='utf-8')}\n{text}", encoding="utf-8")


def test_local_codes_and_words_are_read_once_the_site_declares_them(demo_copy: Path):
    before = results(demo_copy)
    with listening(demo_copy) as port:
        send(port, LOCAL.format(control="M4", specimen="S-4417"))
    assert results(demo_copy) == before

    declare(demo_copy, DECLARED)
    with listening(demo_copy) as port:
        send(port, LOCAL.format(control="M5", specimen="S-4417"))

    (body,) = results(demo_copy)[len(before) :]
    assert '"source_hbsag":"positive"' in body


@pytest.mark.parametrize("command", [["listen", "--port", "0"], ["serve", "--port", "1", "--data"]])
def test_a_declaration_that_cannot_be_followed_stops_both_servers_with_every_reason(
    demo_copy: Path, command: list[str]
):
    wrong = DECLARED.replace("5195-3", "2093-3").replace(
        '["nachgewiesen"]', '["negative", "<20 Kopien", "3,5"]'
    )
    declare(
        demo_copy,
        wrong
        + '[[laboratory.codes]]\nsystem = "LN"\ncode = "13955-0"\nloinc = "5195-3"\n'
        + '[[laboratory.passed_over]]\nsystem = "LN"\ncode = "5195-3"\n',
    )

    ran = thimble(*command, demo_copy)

    assert ran.returncode == 2
    assert (
        "site.toml: laboratory: codes: 'HBS' of 'L' is mapped to 2093-3, which is not" in ran.stderr
    )
    assert "'13955-0' of 'LN' is mapped to 5195-3, but 'LN' names LOINC itself" in ran.stderr
    assert "passed_over: '5195-3' of 'LN' is read here" in ran.stderr
    assert "'negative' is declared as positive, and it means negative everywhere" in ran.stderr
    for text in ("<20 Kopien", "3,5"):
        assert f"{text!r} is declared as positive, and what begins like a number" in ran.stderr
    assert "Traceback" not in ran.stderr


def test_a_listener_on_settings_with_faults_lists_them(demo_copy: Path):
    declare(demo_copy, '[laboratory]\ncolour = "red"\n')

    ran = thimble("listen", demo_copy, "--port", "0")

    assert (ran.returncode, "colour" in ran.stderr, "Traceback" in ran.stderr) == (2, True, False)


def test_a_sender_that_asks_for_no_answer_is_answered_only_where_that_is_switched_on(
    demo_copy: Path,
):
    silent = MESSAGE.replace("|P|2.5.1", "|P|2.5.1|||NE|NE")
    with listening(demo_copy) as port, socket.create_connection(("127.0.0.1", port)) as link:
        link.sendall(b"\x0b" + silent.format(control="M6", specimen="S-0").encode() + b"\x1c\r")
        link.sendall(b"\x0b" + MESSAGE.format(control="M7", specimen="S-0").encode() + b"\x1c\r")
        link.settimeout(30)
        first = link.recv(4096)
    with listening(demo_copy, "--answer-unasked") as port:
        answer = send(port, silent.format(control="M8", specimen="S-0"))

    assert b"|M7\r" in first
    assert b"|M6\r" not in first
    assert b"MSA|AA|M8" in answer
