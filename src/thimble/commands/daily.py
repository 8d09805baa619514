"""`thimble daily`: what a site runs each night, one job after the other. A new job is a line of `JOBS`."""

from __future__ import annotations

import argparse
import io
import traceback
from collections.abc import Callable, Sequence
from contextlib import redirect_stdout
from dataclasses import dataclass
from pathlib import Path

from thimble.commands import (
    Commands,
    NotUnderstood,
    ledger,
    people_identities,
    remind,
    source_identities,
    stock_alerts,
)
from thimble.commands.serve import migrate, open_data


@dataclass(frozen=True, slots=True)
class Job:
    """One thing to run each night.

    `run` gets the data folder, which is open and up to date; it prints lines that name nobody and nothing
    clinical, and returns an exit status: 0 where all is well, also where a site has not set it up.
    """

    name: str
    run: Callable[[Path], int]


JOBS: tuple[Job, ...] = (
    Job("mail to workers", remind.send_all),
    Job("stock alerts", stock_alerts.send_all),
    Job("source identities", source_identities.erase_all),
    Job("people's identities", people_identities.erase_all),
    Job("ledger", ledger.verify_all),
)
"""In the order in which they run. Each is done whatever became of those before it."""


def add_to(commands: Commands) -> None:
    """Add `thimble daily` to the command line."""
    parser = commands.add_parser(
        "daily", help="run what is due each night: " + ", ".join(job.name for job in JOBS)
    )
    parser.add_argument("--data", type=Path, required=True, help="the data folder")
    parser.set_defaults(run=run)


def run(options: argparse.Namespace) -> int:
    """Run every job; exit status 1 if any failed."""
    open_data(options.data, existing=True)
    migrate()
    return run_all(JOBS, options.data)


def run_all(jobs: Sequence[Job], data: Path) -> int:
    """Run jobs on a data folder and print what each said, a line for a line, after its name."""
    failed = [job.name for job in jobs if not _done(job, data)]
    print(f"failed: {', '.join(failed)}" if failed else "all done")
    return 1 if failed else 0


def _done(job: Job, data: Path) -> bool:
    """Whether a job ran without a fault; its lines, and how it failed, are printed."""
    said = io.StringIO()
    try:
        with redirect_stdout(said):
            status = job.run(data)
        fault = "" if status == 0 else "failed, see above"
    except NotUnderstood as refusal:
        fault = f"failed: {refusal}"
    except Exception as error:
        # Any failure is one job's own: the next must run. What an error says may hold a name or an
        # address, so only its kind and its place in the program are told.
        place = traceback.extract_tb(error.__traceback__)[-1]
        fault = (
            f"failed: {type(error).__name__} at {Path(place.filename).name}, line {place.lineno}"
        )
    for line in [*said.getvalue().splitlines(), *fault.splitlines()]:
        print(f"{job.name}: {line}", flush=True)
    return not fault
