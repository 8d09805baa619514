"""`thimble listen` for the hospital of `night_server.py`, with the clock that a test sets."""

from __future__ import annotations

import sys
from datetime import datetime
from pathlib import Path

from thimble.cli import main
from thimble.web import clock

if __name__ == "__main__":
    folder = Path(sys.argv[1])
    clock._read = lambda: datetime.fromisoformat((folder / "clock").read_text(encoding="ascii"))
    sys.exit(main(["listen", str(folder), "--port", sys.argv[2]]))
