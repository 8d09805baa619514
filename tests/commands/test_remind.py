"""`thimble remind`: what is due goes out once a day, and the output names nobody."""

from __future__ import annotations

import subprocess
from pathlib import Path

from commands.data_folders import COMMAND, environment, thimble


def mails(folder: Path) -> str:
    return "".join(path.read_text(encoding="utf-8") for path in (folder / "mail").glob("*"))


def test_twice_on_a_day_sends_once_and_prints_counts_alone(demo_copy: Path):
    """One worker of the invented hospital missed a visit, agreed to mail and was called in vain."""
    asked = thimble("remind", "--data", demo_copy, "--dry-run", THIMBLE_MAIL="file")
    assert (asked.returncode, asked.stdout) == (0, "1 due; nothing was sent\n")
    assert not (demo_copy / "mail").exists()

    first = thimble("remind", "--data", demo_copy, THIMBLE_MAIL="file")
    assert first.returncode == 0, first.stderr
    assert first.stdout == "1 sent, 0 could not be sent, 0 without an address\n"
    sent = mails(demo_copy)
    assert sent.count("Subject: Appointment, occupational medicine") == 1
    assert "Benedikt" not in first.stdout + first.stderr
    assert "quillhaven.example" not in first.stdout + first.stderr

    again = thimble("remind", "--data", demo_copy, THIMBLE_MAIL="file")
    assert again.stdout == "0 sent, 0 could not be sent, 0 without an address\n"
    assert mails(demo_copy) == sent


def test_a_server_that_is_not_there_is_a_failure_on_record(demo_copy: Path):
    nobody = {"THIMBLE_MAIL": "smtp", "THIMBLE_MAIL_HOST": "127.0.0.1", "THIMBLE_MAIL_PORT": "9"}
    failed = thimble("remind", "--data", demo_copy, **nobody)
    assert (failed.returncode, failed.stdout) == (
        1, "0 sent, 1 could not be sent, 0 without an address\n",
    )  # fmt: skip
    assert "Traceback" not in failed.stderr


def test_without_mail_set_up_it_says_what_is_missing(demo_copy: Path):
    refused = thimble("remind", "--data", demo_copy)
    assert refused.returncode == 2
    assert "THIMBLE_MAIL is not set" in refused.stderr


def test_a_way_of_sending_that_is_none_is_refused(demo_copy: Path):
    refused = thimble("remind", "--data", demo_copy, THIMBLE_MAIL="pigeon")
    assert refused.returncode != 0
    assert "smtp, file, console or not set; found 'pigeon'" in refused.stderr


def test_two_processes_at_one_moment_send_once(demo_copy: Path):
    both = [
        subprocess.Popen(
            [*COMMAND, "remind", "--data", str(demo_copy)],
            stdout=subprocess.PIPE, stderr=subprocess.PIPE, env=environment(THIMBLE_MAIL="file"),
            encoding="utf-8",
        )
        for _ in range(2)
    ]  # fmt: skip
    said = [process.communicate(timeout=120)[0] for process in both]
    assert [process.returncode for process in both] == [0, 0]
    assert sorted(line[:6] for line in said) == ["0 sent", "1 sent"]
    assert mails(demo_copy).count("Subject: ") == 1
