"""Files that hold names: kept outside every served folder, encrypted, under names that tell nothing.

A file is sealed with AES-256-GCM under the data folder's own key (`vault_key`, readable by its owner
alone); its random name is bound to it, so that two files cannot be exchanged. What a file is, is told by
its content, never by its name or by what the browser says. `THIMBLE_MALWARE_COMMAND` names a program that
gets each scan on its standard input before it is kept: any status but 0 refuses it.
"""

from __future__ import annotations

import os
import re
import secrets
import shlex
import subprocess
from pathlib import Path

from cryptography.exceptions import InvalidTag
from cryptography.hazmat.primitives.ciphers.aead import AESGCM

from thimble.web.key_files import make_once, sync

NAME = re.compile(r"[0-9a-f]{32}")
_NONCE = 12
_SCANNER_SECONDS = 60

LARGEST_SCAN = 10 * 1024 * 1024
"""Bytes of one scan."""


class NotKept(ValueError):
    """A file that is not taken. The message is a sentence."""


class Damaged(ValueError):
    """A kept file that is missing, or is not what was sealed."""


class Vault:
    """The sealed files of a data folder."""

    def __init__(self, data: Path) -> None:
        self._folder = data / "vault"
        self._key_file = data / "vault_key"

    def put(self, content: bytes) -> str:
        """Seal a file and write it to the disk; returns its name.

        Raises:
            NotKept: the key is missing beside files that it sealed, or is none.
        """
        self._make_key_once()
        try:
            cipher = self._cipher()
        except (OSError, ValueError) as error:
            raise NotKept(
                f"The file was not kept: the key of the kept files ({self._key_file.name}) is missing "
                "or damaged. Put it back from a copy; tell whoever runs the server."
            ) from error
        name = secrets.token_hex(16)
        nonce = secrets.token_bytes(_NONCE)
        sealed = nonce + cipher.encrypt(nonce, content, name.encode())
        self._folder.mkdir(mode=0o700, exist_ok=True)
        handle = os.open(self._folder / name, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
        with os.fdopen(handle, "wb") as file:
            file.write(sealed)
            file.flush()
            os.fsync(file.fileno())
        # The file's bytes are on the disk; that it is there must be, too, before an entry says so.
        sync(self._folder)
        sync(self._folder.parent)
        return name

    def get(self, name: str) -> bytes:
        """What was sealed under a name.

        Raises:
            Damaged: there is no such file, or somebody changed it.
        """
        if NAME.fullmatch(name) is None:
            raise Damaged("this is no name of a kept file")
        try:
            sealed = (self._folder / name).read_bytes()
            return self._cipher().decrypt(sealed[:_NONCE], sealed[_NONCE:], name.encode())
        except (OSError, InvalidTag, ValueError) as error:
            raise Damaged("a kept file is missing or was changed outside Thimble") from error

    def delete(self, name: str) -> None:
        """Take a file away for good; one that is gone already stays gone."""
        if NAME.fullmatch(name):
            (self._folder / name).unlink(missing_ok=True)

    def _cipher(self) -> AESGCM:
        return AESGCM(bytes.fromhex(self._key_file.read_text(encoding="ascii").strip()))

    def _make_key_once(self) -> None:
        """Make the key where nothing was sealed yet.

        A lost key is never replaced in silence: what it sealed could not be opened again.
        """
        if not (self._folder.is_dir() and any(self._folder.iterdir())):
            make_once(self._key_file, AESGCM.generate_key(256).hex())


def type_of(content: bytes) -> str:
    """The type of a scan, by its content alone.

    Raises:
        NotKept: it is empty, too large, or no PDF, JPEG or PNG from its first to its last byte.
    """
    if not content:
        raise NotKept("The file is empty.")
    if len(content) > LARGEST_SCAN:
        most = LARGEST_SCAN // (1024 * 1024)
        raise NotKept(f"The file is larger than {most} MB: scan it at a lower resolution.")
    end = content[-1024:]
    if content.startswith(b"%PDF-") and b"%%EOF" in end:
        return "application/pdf"
    # Telephones write more behind the end of a photo; it is cut off before the photo is kept.
    if content.startswith(b"\xff\xd8\xff") and b"\xff\xd9" in content:
        return "image/jpeg"
    if content.startswith(b"\x89PNG\r\n\x1a\n") and b"IEND" in end:
        return "image/png"
    raise NotKept(
        "The file is neither a whole PDF nor a JPEG or PNG picture: scan it as one of these."
    )


def refuse_malware(content: bytes, command: str) -> None:
    """Show a scan to the program that `command` names; no command, no look.

    Raises:
        NotKept: the program refuses the file, or could not be asked.
    """
    if not command.strip():
        return
    try:
        done = subprocess.run(
            shlex.split(command),
            input=content,
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
            timeout=_SCANNER_SECONDS,
            check=False,
        )
    except (OSError, ValueError, subprocess.TimeoutExpired) as error:
        raise NotKept(
            "The file could not be looked at for malware, so it was not kept. Tell whoever runs the server."
        ) from error
    if done.returncode != 0:
        raise NotKept("The scanner for malware refuses this file. It was not kept.")
