"""`python -m bench [WHAT] [--protocol ID]`: ratios to peers of the same run."""

from __future__ import annotations

import argparse
import platform
import sys
from importlib.metadata import version

from thimble.clinical import library


def main(argv: list[str] | None = None) -> int:
    """Run and print; 0 when every answer of every peer was equal."""
    parser = argparse.ArgumentParser(prog="python -m bench", description=__doc__)
    parser.add_argument(
        "what",
        nargs="?",
        choices=(
            "rules",
            "pages",
            "recall",
            "visits",
            "messages",
            "people",
            "cohort",
            "clearance",
            "all",
        ),
        default="all",
    )
    parser.add_argument("--protocol", action="append", help="a shipped id or a folder; default us")
    parser.add_argument("--situations", type=int, default=200)
    asked = parser.parse_args(argv)
    versions = " ".join(f"{p} {version(p)}" for p in ("zen-engine", "z3-solver", "duckdb", "numpy"))
    print(f"Python {platform.python_version()}, {versions}, {platform.machine()}")
    if asked.what in {"rules", "all"}:
        rules(asked.protocol or ["us"], asked.situations)
    if asked.what in {"pages", "all"}:
        from bench import pages

        print("\n(d) Pages")
        pages.main()
    if asked.what in {"recall", "all"}:
        from bench import recall

        print("\n(d) Recall list")
        recall.main()
    if asked.what in {"visits", "all"}:
        from bench import visits

        print("\n(e) Visits")
        visits.main()
    if asked.what in {"messages", "all"}:
        from bench import messages

        print("\n(f) Messages")
        messages.main()
    if asked.what in {"cohort", "all"}:
        from bench import cohort

        print("\n(i) Page of a cohort")
        cohort.main()
    if asked.what in {"people", "all"}:
        from bench import people

        print("\n(g) People")
        people.main()
    if asked.what in {"clearance", "all"}:
        from bench import clearance

        print("\n(h) Clearance")
        clearance.main()
    return 0


def rules(names: list[str], count: int) -> None:
    """The three questions that the rules answer, for each protocol."""
    from bench.rules import open_decisions, proofs, whole_decisions
    from bench.situations import protocol_named, sample

    for name in names:
        protocol = protocol_named(name)
        asked = sample(protocol, count)
        whole_decisions(asked)
        open_decisions(asked)
        proofs(protocol, library.folder_of(name))


if __name__ == "__main__":
    sys.exit(main())
