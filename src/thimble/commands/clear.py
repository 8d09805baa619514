"""`thimble clear`: who of many people is clear of hepatitis B, and what comes next for each.

A file with a fault is refused whole, and every fault is told.
"""

from __future__ import annotations

import argparse
import csv
import io
import sys
from datetime import date
from pathlib import Path

from thimble.clinical.series import Evidence, MarkerResult, PartialDate, Person, clear
from thimble.clinical.series.cohort import Answers, clear_many, gather, situation_of
from thimble.clinical.series.deciding import decide, rules
from thimble.clinical.series.schedule import schedule
from thimble.clinical.series.wording import series_sentence
from thimble.clinical.serology import Analyte
from thimble.commands import Commands, NotUnderstood
from thimble.commands.clearance_files import LATEST, OLDEST, read_files

COLUMNS = (
    "person_id", "series", "valid_doses", "next_dose_earliest", "next_dose_recommended", "immunity",
    "next_step", "next_due", "reasons",
)  # fmt: skip


def add_to(commands: Commands) -> None:
    """Add `thimble clear` to the command line."""
    parser = commands.add_parser("clear", help="clearance of many people", description=__doc__)
    parser.add_argument("people", type=Path, help="one row a person (CSV)")
    parser.add_argument("evidence", type=Path, help="one row a dose, result or refusal (CSV)")
    parser.add_argument("--as-of", metavar="DATE", required=True, help="the day to answer for")
    parser.add_argument(
        "--protocol", default="us", help="the id of a protocol with clearance rules"
    )
    parser.add_argument("--out", type=Path, metavar="FILE", help="write there, not to the screen")
    parser.set_defaults(run=run)


def run(options: argparse.Namespace) -> int:
    """Print or write one row a person."""
    as_of = _day(options.as_of)
    try:
        schedule(options.protocol)
        rules(options.protocol)
    except LookupError as error:
        raise NotUnderstood(f"--protocol: {error.args[0]}") from error
    records = read_files(options.people, options.evidence, as_of)
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(COLUMNS)
    people = [(record.person, record.evidence) for record in records.values()]
    found = clear_many(gather(people, as_of), as_of, options.protocol)
    for n, id_ in enumerate(records):
        writer.writerow(
            (id_, *found.row(n), _reasons(found, n, people[n], as_of, options.protocol))
        )
    if options.out is None:
        sys.stdout.write(text.getvalue())
        return 0
    try:
        options.out.write_text(text.getvalue(), encoding="utf-8", newline="")
    except OSError as error:
        raise NotUnderstood(f"{options.out}: cannot be written: {error.strerror}.") from error
    print(f"{len(records)} people written to {options.out}")
    return 0


def _reasons(
    found: Answers, n: int, subject: tuple[Person, list[Evidence]], as_of: date, protocol: str
) -> str:
    """The reasons in one line; doses and titres that may not count are explained one by one."""
    valid = int(found.valid_doses[n])
    titres = sum(isinstance(e, MarkerResult) and e.analyte is Analyte.ANTI_HBS for e in subject[1])
    if valid != found.documented[n] or titres:
        return clear(*subject, as_of, protocol).reason
    path = schedule(protocol).paths[int(found.path[n])].id
    series = series_sentence(path, bool(found.complete[n]), valid, schedule(protocol))
    return f"{series} | {decide(protocol, situation_of(int(found.situation[n]))).text}"


def _day(text: str) -> date:
    try:
        when = PartialDate.parse(text)
    except ValueError:
        when = None
    if when is None or not when.exact:
        raise NotUnderstood(f"--as-of: is a day written 2026-03-02; found {text!r}.")
    if not OLDEST <= when.year <= LATEST:
        raise NotUnderstood(f"--as-of: is a day from {OLDEST} to {LATEST}; found {text!r}.")
    return when.first
