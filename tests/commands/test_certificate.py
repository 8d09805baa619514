"""`thimble certificate verify`: offline, from the text of a square code and the published keys alone."""

from __future__ import annotations

import base64
import json
import re
import shutil
import subprocess
from pathlib import Path

import pytest

from people.test_certificate_signing import FRAGMENT, KEYS, OTHER, PAYLOAD, PUBLIC, SALT, SQUARE
from thimble.cli import main
from thimble.people.certificates.payload import square_text
from thimble.people.certificates.signing import key_set, public_of, sign

DOCS = Path(__file__).parents[2] / "docs" / "certificates.md"


@pytest.fixture
def keys(tmp_path: Path) -> str:
    path = tmp_path / "jwks.json"
    path.write_text(json.dumps(key_set(KEYS)), encoding="utf-8")
    return str(path)


def verify(*arguments: str) -> int:
    return main(["certificate", "verify", *arguments])


@pytest.mark.parametrize("kept", ["text", "fragment", "file"])
def test_a_genuine_one_is_told_with_what_it_states(
    keys: str, tmp_path: Path, capsys: pytest.CaptureFixture[str], kept: str
) -> None:
    file = tmp_path / "square.txt"
    file.write_text(f"{SQUARE}\n", encoding="ascii")
    square = {"text": SQUARE, "fragment": FRAGMENT, "file": str(file)}[kept]
    whose = ("--name", "Brindle, Inés", "--born", "1999-02-28")
    assert verify(square, "--keys", keys, "--on", "2027-03-03", *whose) == 0
    said = capsys.readouterr().out
    for part in (
        "Signed by Lindenfels General Hospital: certificate C-K7QM-2F49",
        "Cleared for work with patients.",
        "Cleared for exposure-prone procedures, United Kingdom category 3.",
        "valid until 2027-03-03, that day included",
        "are those that were signed",
        "withdrawn since, the house's own page alone can say",
    ):
        assert part in said


def test_the_day_after_the_last_it_has_run_out(
    keys: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert verify(SQUARE, "--keys", keys, "--on", "2027-03-04") == 1
    said = capsys.readouterr().out
    assert "EXPIRED" in said
    assert "was not checked" in said


@pytest.mark.parametrize(
    ("name", "born"),
    [
        ("Brindle, Ines", "1999-02-28"),
        ("Otherby, Inés", "1999-02-28"),
        ("Brindle, Inés", "1998-02-28"),
    ],
)
def test_another_name_or_birth_date_is_another_person(
    keys: str, capsys: pytest.CaptureFixture[str], name: str, born: str
) -> None:
    whose = ("--name", name, "--born", born, "--on", "2026-04-01")
    assert verify(SQUARE, "--keys", keys, *whose) == 1
    assert "ANOTHER PERSON" in capsys.readouterr().out


def test_what_is_signed_by_another_or_changed_is_not_genuine(
    keys: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    forged = square_text("", sign(PAYLOAD.to_bytes(), OTHER), SALT)
    for square in (forged, SQUARE[:-1], FRAGMENT.replace(".", ".A", 1)):
        assert verify(square, "--keys", keys) == 1
        assert "NOT GENUINE" in capsys.readouterr().out
    # By the other's own keys it is: nobody is asked but whoever the keys are from.
    other = tmp_path / "other.json"
    other.write_text(json.dumps(key_set({"x" * 16: public_of(OTHER)})), encoding="utf-8")
    assert verify(SQUARE, "--keys", str(other)) == 1
    capsys.readouterr()


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        (["nowhere.txt", "--keys", "KEYS"], "neither the text of a square code nor a file"),
        ([SQUARE, "--keys", "nowhere.json"], "cannot be read as a set of public keys"),
        ([SQUARE, "--keys", "KEYS", "--name", "Brindle"], "go together"),
        ([SQUARE, "--keys", "KEYS", "--on", "soon"], "--on: is a day"),
        ([SQUARE, "--keys", "KEYS", "--name", "B", "--born", "28.2.1999"], "--born: is a day"),
        ([SQUARE, "--data", "/nowhere"], "no such data folder"),
    ],
)
def test_what_is_not_understood_is_told_in_a_sentence(
    keys: str, capsys: pytest.CaptureFixture[str], arguments: list[str], says: str
) -> None:
    assert verify(*(keys if each == "KEYS" else each for each in arguments)) == 2
    assert says in capsys.readouterr().err


def test_the_commands_of_the_documentation_verify_it_with_openssl(tmp_path: Path) -> None:
    """Every line of OpenSSL in docs/certificates.md, as it stands there."""
    if shutil.which("openssl") is None:
        pytest.skip("no openssl on the PATH")
    told = re.search(r"```\n(printf .*?)```", DOCS.read_text(encoding="utf-8"), re.DOTALL)
    assert told is not None
    header, payload, signature, _ = FRAGMENT.split(".")
    (tmp_path / "signature").write_bytes(base64.urlsafe_b64decode(signature + "=="))
    # SubjectPublicKeyInfo of Ed25519 (RFC 8410, section 4): a fixed head before the key's 32 bytes.
    der = base64.b64encode(bytes.fromhex("302a300506032b6570032100") + PUBLIC).decode()
    (tmp_path / "key.pem").write_text(
        f"-----BEGIN PUBLIC KEY-----\n{der}\n-----END PUBLIC KEY-----\n"
    )

    def run(header: str) -> subprocess.CompletedProcess[str]:
        return subprocess.run(
            ["bash", "-c", told[1]],
            cwd=tmp_path,
            env={"PATH": "/usr/bin:/bin", "HEADER": header, "PAYLOAD": payload,
                 "SALT_IN_HEX": SALT.hex(), "LC_ALL": "C.UTF-8"},
            capture_output=True, text=True, check=False,
        )  # fmt: skip

    said = run(header).stdout
    assert "Signature Verified Successfully" in said
    assert base64.urlsafe_b64decode(PAYLOAD.person + "=").hex() in said
    assert "Signature Verified Successfully" not in run(header[:-1] + "A").stdout
