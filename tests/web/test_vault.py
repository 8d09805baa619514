"""Files that hold names: told by their content, sealed, and refused where anything is odd."""

from __future__ import annotations

import os
import stat
import struct
import sys
import zlib
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import pytest

from thimble.web.vault import LARGEST_SCAN, Damaged, NotKept, Vault, refuse_malware, type_of

PDF = b"%PDF-1.7\n1 0 obj\n<<>>\nendobj\ntrailer\n%%EOF\n"
JPEG = b"\xff\xd8\xff\xe0" + b"\0" * 40 + b"\xff\xd9"


def _chunk(name: bytes, body: bytes) -> bytes:
    return struct.pack(">I", len(body)) + name + body + struct.pack(">I", zlib.crc32(name + body))


PNG = b"\x89PNG\r\n\x1a\n" + b"".join(
    (
        _chunk(b"IHDR", struct.pack(">IIBBBBB", 2, 1, 8, 0, 0, 0, 0)),
        _chunk(b"IDAT", zlib.compress(b"\0\x20\xd0")),
        _chunk(b"IEND", b""),
    )
)
"""Two grey points."""


@pytest.mark.parametrize(
    ("content", "kind"),
    [(PDF, "application/pdf"), (JPEG, "image/jpeg"), (PNG, "image/png")],
)
def test_a_scan_is_what_its_content_says(content: bytes, kind: str) -> None:
    assert type_of(content) == kind


@pytest.mark.parametrize(
    "content",
    [
        b"",
        b"MZ\x90\0" + PDF,
        b"<html><script>alert(1)</script>" + PNG,
        b"GIF89a" + b"\0" * 40,
        b"<svg xmlns='http://www.w3.org/2000/svg' onload='alert(1)'/>",
        b"PK\x03\x04" + b"\0" * 40,
        PDF[:-7],
        JPEG[:-2],
        PNG[:-8],
        b" " + PDF,
        PDF + b"\0" * (LARGEST_SCAN + 1 - len(PDF)),
    ],
)
def test_what_is_no_whole_scan_or_too_large_is_refused(content: bytes) -> None:
    with pytest.raises(NotKept):
        type_of(content)


def test_the_largest_scan_is_taken() -> None:
    assert type_of(PDF[:9] + b"\0" * (LARGEST_SCAN - len(PDF)) + PDF[9:]) == "application/pdf"


def test_a_sealed_file_shows_nothing_on_the_disk_and_only_its_owner_reads_it(
    tmp_path: Path,
) -> None:
    vault = Vault(tmp_path)
    name = vault.put(b"Rea Example, hepatitis B")

    files = [p for p in tmp_path.rglob("*") if p.is_file() and p.name != "site.toml"]
    assert {path.name for path in files} == {name, "vault_key"}
    assert all(b"Example" not in path.read_bytes() for path in files)
    assert all(stat.S_IMODE(path.stat().st_mode) == 0o600 for path in files)
    assert Vault(tmp_path).get(name) == b"Rea Example, hepatitis B"


def test_a_changed_exchanged_or_missing_file_is_never_given_out(tmp_path: Path) -> None:
    vault = Vault(tmp_path)
    one, other = vault.put(b"one"), vault.put(b"other")
    folder = tmp_path / "vault"
    sealed = (folder / one).read_bytes()

    (folder / one).write_bytes((folder / other).read_bytes())
    with pytest.raises(Damaged):
        vault.get(one)
    (folder / one).write_bytes(sealed[:-1] + bytes([sealed[-1] ^ 1]))
    with pytest.raises(Damaged):
        vault.get(one)
    (folder / one).write_bytes(b"")
    for name in (one, "0" * 32, "../vault_key", "", "A" * 32):
        with pytest.raises(Damaged):
            vault.get(name)
    vault.delete(other)
    vault.delete(other)
    with pytest.raises(Damaged):
        vault.get(other)


def test_the_scanner_decides_and_one_that_cannot_be_asked_refuses() -> None:
    looks = f"{sys.executable} -c \"import sys; sys.exit(b'BAD' in sys.stdin.buffer.read())\""
    refuse_malware(b"BAD", "")
    refuse_malware(b"good", looks)
    with pytest.raises(NotKept, match="refuses this file"):
        refuse_malware(b"xBADx", looks)
    with pytest.raises(NotKept, match="could not be looked at"):
        refuse_malware(b"good", "/nowhere/scanner")


def test_a_lost_or_damaged_key_is_told_and_never_replaced(tmp_path: Path) -> None:
    vault = Vault(tmp_path)
    kept = vault.put(b"%PDF-1.7 kept %%EOF")
    key = (tmp_path / "vault_key").read_bytes()
    for damaged in (None, b"", b"abc", b"00"):
        (tmp_path / "vault_key").unlink(missing_ok=True)
        if damaged is not None:
            (tmp_path / "vault_key").write_bytes(damaged)
        with pytest.raises(Damaged):
            vault.get(kept)
        with pytest.raises(NotKept, match="Put it back from a copy"):
            vault.put(b"%PDF-1.7 more %%EOF")
        assert (tmp_path / "vault_key").exists() is (damaged is not None)
    (tmp_path / "vault_key").write_bytes(key)
    assert vault.get(kept) == b"%PDF-1.7 kept %%EOF"


def test_two_that_make_the_key_at_once_use_the_same(tmp_path: Path) -> None:
    vaults = [Vault(tmp_path) for _ in range(8)]
    with ThreadPoolExecutor(8) as pool:
        names = list(pool.map(lambda vault: vault.put(b"%PDF-1.7 scan %%EOF"), vaults))
    assert {Vault(tmp_path).get(name) for name in names} == {b"%PDF-1.7 scan %%EOF"}
    assert [path.name for path in tmp_path.iterdir() if path.name.startswith("vault_key")] == [
        "vault_key"
    ]


def test_a_kept_file_is_on_the_disk_with_its_name_before_anybody_is_told_it(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    vault = Vault(tmp_path)
    vault.put(b"one")
    real, flushed = os.fsync, []

    def fsync(handle: int) -> None:
        real(handle)
        flushed.append(Path(f"/proc/self/fd/{handle}").readlink())

    monkeypatch.setattr(os, "fsync", fsync)
    name = vault.put(b"two")
    assert flushed == [tmp_path / "vault" / name, tmp_path / "vault", tmp_path]
