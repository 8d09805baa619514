"""The command on a data folder of its own, in a process of its own, as a site runs it."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
from pathlib import Path

COMMAND = [sys.executable, "-c", "import sys; from thimble.cli import main; sys.exit(main())"]
SOURCE = Path(__file__).absolute().parents[2] / "src"


def environment(**more: str) -> dict[str, str]:
    kept = {k: v for k, v in os.environ.items() if not k.startswith(("THIMBLE_", "DJANGO_"))}
    return {**kept, "PYTHONPATH": str(SOURCE), "PYTHONIOENCODING": "utf-8"} | more


def thimble(*arguments: object, **more: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [*COMMAND, *map(str, arguments)],
        capture_output=True,
        encoding="utf-8",
        check=False,
        timeout=120,
        env=environment(**more),
    )


def copy(folder: Path, to: Path) -> Path:
    """A data folder that nobody has open, copied whole."""
    shutil.copytree(folder, to)
    return to
