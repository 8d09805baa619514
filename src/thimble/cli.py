"""The command `thimble`. Exit status: 0 done; 1 a check failed; 2 what was asked is not understood."""

from __future__ import annotations

import argparse
import sys
from collections.abc import Sequence
from time import perf_counter

from thimble.clinical import library
from thimble.protocol import ProtocolFaults, check_protocol


def main(arguments: Sequence[str] | None = None) -> int:
    """Run one command; the exit status is returned."""
    options = _parser().parse_args(arguments)
    status: int = options.run(options)
    return status


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(prog="thimble", description=__doc__)
    commands = parser.add_subparsers(required=True, metavar="COMMAND")

    protocol = commands.add_parser("protocol", help="work on a protocol")
    protocol_commands = protocol.add_subparsers(required=True, metavar="COMMAND")
    check = protocol_commands.add_parser("check", help="prove a protocol and run its cases")
    check.add_argument("protocol", nargs="*", help="an id or a folder; every shipped one if none")
    check.set_defaults(run=protocol_check)
    return parser


def protocol_check(options: argparse.Namespace) -> int:
    """Read, prove and run the cases of each protocol named."""
    status = 0
    for name in options.protocol or library.shipped():
        start = perf_counter()
        try:
            found = library.protocol(name)
            faults = check_protocol(found)
        except LookupError as error:
            print(error.args[0], file=sys.stderr)
            return 2
        except ProtocolFaults as error:
            faults = error.faults
        for fault in faults:
            print(f"{name}/{fault}")
        if faults:
            status = 1
            print(f"{name}: {len(faults)} fault{'s' if len(faults) > 1 else ''}")
            continue
        rules = sum(len(table.rules) for table in found.tables)
        print(
            f"{name}: {len(found.tables)} tables, {rules} rules complete, unambiguous and "
            f"monotone; {len(found.cases)} cases come out as they say "
            f"({1000 * (perf_counter() - start):.0f} ms)"
        )
    return status
