"""One module a command: what it takes, what it does, what it prints."""

from __future__ import annotations

import argparse
from typing import Any

Commands = Any
"""What `ArgumentParser.add_subparsers` returns; argparse keeps its type to itself."""


class NotUnderstood(Exception):
    """What was asked is not understood; the message is one sentence a line. Exit status 2."""


def group(commands: Commands, name: str, about: str) -> Commands:
    """A command that has commands of its own, such as `thimble ledger verify`."""
    parser: argparse.ArgumentParser = commands.add_parser(name, help=about, description=about)
    return parser.add_subparsers(required=True, metavar="COMMAND")
