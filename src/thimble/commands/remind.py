"""`thimble remind`: send the mails about appointments that are due. Run it once a day, by a timer."""

from __future__ import annotations

import argparse
from pathlib import Path

from thimble.commands import Commands, NotUnderstood
from thimble.commands.serve import migrate, open_data


def add_to(commands: Commands) -> None:
    """Add `thimble remind` to the command line."""
    parser = commands.add_parser("remind", help="send the mails about appointments that are due")
    parser.add_argument("--data", type=Path, required=True, help="the data folder")
    parser.add_argument("--dry-run", action="store_true", help="count, and send nothing")
    parser.set_defaults(run=run)


def run(options: argparse.Namespace) -> int:
    """Print how many were sent, never to whom. Exit status 1 if any could not be sent.

    Running it again on the same day, or twice at once, sends nothing twice.
    """
    open_data(options.data, existing=True)
    migrate()
    from thimble.web import clock
    from thimble.web.mailing.sending import due_mails

    if not options.dry_run:
        return _send()
    try:
        print(f"{sum(1 for _ in due_mails(clock.now()))} due; nothing was sent")
    except _faults() as error:
        raise NotUnderstood(str(error)) from error
    return 0


def send_all(_data: Path) -> int:
    """The nightly job: as `thimble remind`, and content where a site sends no mail."""
    from thimble.clinical.site import SiteError
    from thimble.web.context import get_site
    from thimble.web.mailing.sending import why_no_mail

    try:
        why = why_no_mail(get_site())
    except SiteError as error:
        raise NotUnderstood(str(error)) from error
    if why:
        print(why)
        return 0
    return _send()


def _send() -> int:
    from thimble.web import clock
    from thimble.web.mailing.sending import send_due

    try:
        done = send_due(clock.now())
    except _faults() as error:
        raise NotUnderstood(str(error)) from error
    print(
        f"{done.sent} sent, {done.failed} could not be sent, {done.no_address} without an address"
    )
    if done.not_known:
        print(f"{done.not_known} not known whether sent: call these workers, see the recall list")
    return 1 if done.failed or done.not_known else 0


def _faults() -> tuple[type[Exception], ...]:
    """What settings can be wrong in, told in sentences."""
    from thimble.clinical.ladder import LadderError
    from thimble.clinical.neutral import Telling
    from thimble.clinical.site import SiteError

    return (SiteError, LadderError, Telling, ValueError)
