"""Files that hold a key: readable by their owner alone, whole and on the disk before anybody sees them."""

from __future__ import annotations

import os
import secrets
from contextlib import suppress
from pathlib import Path


def make_once(path: Path, text: str) -> None:
    """Make a file where there is none. Of two that make it at once, the first stands."""
    if path.exists():
        return
    new = write_new(path, text)
    with suppress(FileExistsError):
        os.link(new, path)
    new.unlink()
    sync(path.parent)


def write_new(path: Path, text: str) -> Path:
    """Write a file beside `path`, under a name of its own, down to the disk; returns where."""
    new = path.with_name(f"{path.name}.{secrets.token_hex(8)}")
    handle = os.open(new, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
    with os.fdopen(handle, "w", encoding="ascii") as file:
        file.write(text)
        file.flush()
        os.fsync(file.fileno())
    return new


def sync(folder: Path) -> None:
    """Write down which files a folder holds."""
    handle = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)
