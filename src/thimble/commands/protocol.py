"""`thimble protocol check`: read, prove and run the cases of a protocol."""

from __future__ import annotations

import argparse
from time import perf_counter

from thimble.clinical import library
from thimble.commands import Commands, NotUnderstood, group
from thimble.protocol import ProtocolFaults, check_protocol


def add_to(commands: Commands) -> None:
    """Add `thimble protocol check` to the command line."""
    check = group(commands, "protocol", "work on a protocol").add_parser(
        "check", help="prove a protocol complete, unambiguous and monotone, and run its cases"
    )
    check.add_argument("protocol", nargs="*", help="an id or a folder; every shipped one if none")
    check.set_defaults(run=check_protocols)


def check_protocols(options: argparse.Namespace) -> int:
    """Status 1 if any protocol has a fault; each fault is one line."""
    return max(_check(name) for name in options.protocol or library.folders())


def _check(name: str) -> int:
    start = perf_counter()
    try:
        protocol = library.protocol(name)
        faults = check_protocol(protocol)
    except LookupError as error:
        raise NotUnderstood(error.args[0]) from error
    except ProtocolFaults as error:
        faults = error.faults
    if faults:
        for fault in faults:
            print(f"{name}/{fault}")
        print(f"{name}: {len(faults)} fault{'s' if len(faults) > 1 else ''}")
        return 1
    rules = [rule for table in protocol.tables for rule in table.rules]
    confirmed = sum(rule.standing == "read" for rule in rules)
    print(
        f"{name}: {len(protocol.tables)} tables, {len(rules)} rules ({confirmed} read in their "
        f"document); complete, unambiguous, monotone; {len(protocol.cases)} cases come out as "
        f"they say; {1000 * (perf_counter() - start):.0f} ms"
    )
    return 0
