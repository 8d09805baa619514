"""`thimble stock-alerts`: mail what is to be done about stock, each thing once."""

from __future__ import annotations

import argparse
import fcntl
from pathlib import Path

from thimble.commands import Commands, NotUnderstood
from thimble.commands.serve import migrate, open_data

LOCK = "stock-alerts.lock"


def add_to(commands: Commands) -> None:
    """Add `thimble stock-alerts` to the command line."""
    parser = commands.add_parser("stock-alerts", help="mail what is to be done about stock, once")
    parser.add_argument("--data", type=Path, required=True, help="the data folder")
    parser.set_defaults(run=run)


def run(options: argparse.Namespace) -> int:
    """Print how many alerts were told. Exit status 1 if the mail could not be sent."""
    open_data(options.data, existing=True)
    migrate()
    return send_all(options.data)


def send_all(data: Path) -> int:
    """The nightly job: content where a site has nobody told."""
    from thimble.clinical.site import SiteError
    from thimble.web import clock
    from thimble.web.context import get_site
    from thimble.web.stock.mailing import send, why_not_told

    try:
        why = why_not_told(get_site())
    except SiteError as error:
        raise NotUnderstood(str(error)) from error
    if why:
        print(why)
        return 0
    with (data / LOCK).open("w") as lock:
        fcntl.flock(lock, fcntl.LOCK_EX)
        told = send(clock.now())
    print(
        f"{told.fresh} new, {told.before} told before"
        + ("" if told.sent else "; the mail could not be sent")
    )
    return 0 if told.sent else 1
