"""The command `thimble`. Exit status: 0 done; 1 a check failed; 2 what was asked is not understood."""

from __future__ import annotations

import argparse
import io
import sys
from collections.abc import Sequence

from thimble import __version__
from thimble.commands import (
    NotUnderstood,
    accounts,
    assess,
    certificate,
    clear,
    daily,
    demo,
    ledger,
    listen,
    people_identities,
    protocol,
    remind,
    serve,
    source_identities,
    stock_alerts,
)


def main(arguments: Sequence[str] | None = None) -> int:
    """Run one command; the exit status is returned."""
    parser = argparse.ArgumentParser(
        prog="thimble",
        description="Decide and follow a person's exposure to a patient's blood.",
        epilog="Decision support for trained staff: local policy and licensed judgement decide.",
    )
    parser.add_argument("--version", action="version", version=f"thimble {__version__}")
    commands = parser.add_subparsers(required=True, metavar="COMMAND")
    for module in (
        assess,
        certificate,
        clear,
        protocol,
        ledger,
        serve,
        listen,
        daily,
        remind,
        people_identities,
        source_identities,
        stock_alerts,
        demo,
        accounts,
    ):
        module.add_to(commands)
    for stream in (sys.stdout, sys.stderr):
        # A terminal that lacks a letter shows a question mark; a plan never fails for its dashes.
        if isinstance(stream, io.TextIOWrapper):
            stream.reconfigure(errors="replace")
    options = parser.parse_args(arguments)
    try:
        status: int = options.run(options)
    except NotUnderstood as refusal:
        print(refusal, file=sys.stderr)
        return 2
    except KeyboardInterrupt:
        return 130
    except BrokenPipeError:
        # The reader has gone, as with `| head`; there is nobody left to tell.
        sys.stderr.close()
        return 0
    return status
