"""Serves the invented hospital with a clock that a test sets: the file `clock` in the data folder.

Run by `conftest.py` in a process of its own, with gunicorn and the real database, as a site runs it.
"""

from __future__ import annotations

import json
import sys
from argparse import Namespace
from datetime import datetime
from pathlib import Path

from thimble.commands.demo import fill
from thimble.commands.serve import listen
from thimble.demo.hospital import SITE


def main(folder: Path, port: int) -> None:
    (folder / "site.toml").write_text(
        SITE.format(base_url=f"http://127.0.0.1:{port}"), encoding="utf-8"
    )
    file = folder / "clock"

    def read() -> datetime:
        return datetime.fromisoformat(file.read_text(encoding="ascii"))

    cases = fill(folder, read())
    (folder / "cases.json").write_text(json.dumps(cases), encoding="utf-8")
    from thimble.web import clock

    clock._read = read
    listen(Namespace(host="127.0.0.1", port=port, threads=8))


if __name__ == "__main__":
    main(Path(sys.argv[1]), int(sys.argv[2]))
