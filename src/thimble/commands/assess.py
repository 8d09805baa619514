"""`thimble assess`: one situation in a file, one plan on the screen.

The file is TOML: `occurred_at`, an instant with its offset, and the table `[facts]`. A fact that is
absent has not been asked yet and stays open; it is never read as "no".
"""

from __future__ import annotations

import argparse
import json
from dataclasses import dataclass
from datetime import UTC, tzinfo
from pathlib import Path

from thimble.clinical import library
from thimble.commands import Commands, NotUnderstood
from thimble.commands.plan_json import as_json
from thimble.commands.plan_text import as_text
from thimble.commands.situation_file import as_of, clock, moment, read_situation, told
from thimble.ledger.assess import assess, situation_of
from thimble.ledger.consistent import consistent
from thimble.protocol import ProtocolFaults


def add_to(commands: Commands) -> None:
    """Add `thimble assess` to the command line."""
    parser = commands.add_parser("assess", help="the plan for one situation", description=__doc__)
    parser.add_argument("file", type=Path, help="the situation (TOML)")
    parser.add_argument("--protocol", default="us", help="a shipped protocol's id, or a folder")
    parser.add_argument(
        "--as-of", metavar="INSTANT", help="the moment to decide for, with its offset; now if none"
    )
    parser.add_argument("--json", action="store_true", help="print one JSON object")
    parser.set_defaults(run=run)


@dataclass(frozen=True, slots=True)
class _Zone:
    """Stands for a site: a file names no site, so days follow the offset that it is written in."""

    zone: tzinfo


def run(options: argparse.Namespace) -> int:
    """Print the plan."""
    try:
        protocol = library.protocol(options.protocol)
    except LookupError as error:
        raise NotUnderstood(error.args[0]) from error
    except ProtocolFaults as error:
        raise NotUnderstood(str(error)) from error
    asked = None if options.as_of is None else as_of(options.as_of)
    facts, occurred_at = read_situation(options.file)
    now = moment(options.file, facts, occurred_at, asked, clock())
    contradictions = [c for c in protocol.contradictions(facts) if not c.gives_way]
    if contradictions:
        raise NotUnderstood(
            "\n".join(
                f"{options.file}: {told(c.facts, facts)} cannot hold together: {c.because}. "
                "Correct one of them."
                for c in contradictions
            )
        )
    zone = (occurred_at or now).tzinfo or UTC
    now = now.astimezone(zone)
    # What makes sense only after another answer gives way to it, and is told.
    kept, given_way = consistent(facts, protocol)
    plan = assess(situation_of(kept, occurred_at=occurred_at, now=now), protocol, now, _Zone(zone))
    if plan.contradictions:
        raise NotUnderstood("\n".join(f"{options.file}: {c}" for c in plan.contradictions))
    if options.json:
        print(json.dumps(as_json(plan, given_way), indent=2))
    else:
        print("\n".join(as_text(plan, protocol, occurred_at, given_way)))
    return 0
