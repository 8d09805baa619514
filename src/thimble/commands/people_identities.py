"""`thimble people-identities purge`: erase who people of the register were, when their time is over."""

from __future__ import annotations

import argparse
from pathlib import Path

from thimble.commands import Commands, NotUnderstood, group
from thimble.commands.scrubbing import written_anew
from thimble.commands.serve import open_data


def add_to(commands: Commands) -> None:
    """Add `thimble people-identities purge` to the command line."""
    purge = group(commands, "people-identities", "look after who people are").add_parser(
        "purge", help="show whose time is over; with --erase, erase them"
    )
    purge.add_argument("--data", type=Path, required=True, help="the data folder")
    purge.add_argument("--erase", action="store_true", help="erase; without it, only show")
    purge.set_defaults(run=run)


def run(options: argparse.Namespace) -> int:
    """Print one line a person, by their reference; never a name. Status 1 if one could not be erased, or
    may still be readable in the database's files."""
    open_data(options.data, existing=True)
    return _purge(erase=options.erase)


def erase_all(_data: Path) -> int:
    """The nightly job: as `thimble people-identities purge --erase`."""
    return _purge(erase=True)


def _purge(*, erase: bool) -> int:
    from django.conf import settings

    from thimble.actions.people_erasing import held_people
    from thimble.clinical.people_rules import retention_law
    from thimble.clinical.site import SiteError
    from thimble.exchange.inbox import Inbox
    from thimble.web.context import get_site

    try:
        site = get_site()
    except SiteError as error:
        raise NotUnderstood(str(error)) from error
    try:
        held_people(site.people)
    except ValueError as error:
        raise NotUnderstood(
            f"site.toml: people.hold: {error}. Nothing was erased: correct it first."
        ) from error
    law = retention_law(site.protocol)
    lawful = f" {law.jurisdiction}: {law.words} ({law.source}; {law.standing})." if law else ""
    if site.people.after_leaving is None:
        print(f"Nobody is erased: site.toml sets no people.keep_after_leaving.{lawful}")
    else:
        print(f"Kept for {site.people.after_leaving.words} after leaving.{lawful}")
    left = _each(erase=erase)
    if not erase:
        print("Nothing was changed. Add --erase to erase them.")
        return 0
    # Each time: an earlier run, or an import that was taken back, may have left traces.
    with Inbox(settings.DATA) as inbox:
        whole = written_anew(inbox)
    return 1 if left or not whole else 0


def _each(*, erase: bool) -> int:
    """One line for each person; how many were left because somebody wrote meanwhile."""
    from thimble.ledger.store import Overtaken
    from thimble.web import clock
    from thimble.web.context import get_site
    from thimble.web.people import erasing

    now, erased, left = clock.now(), 0, 0
    for found in list(erasing.people_due(get_site(), now)):
        cases = f", with {len(found.cases)} of their cases" if found.cases else ""
        line = f"{found.person}, kept until {found.kept_until.isoformat()}"
        if not erase:
            print(f"{line}: would be erased{cases}")
            continue
        try:
            erasing.erase(found, now)
        except Overtaken:
            print(f"{line}: left as it is, somebody wrote meanwhile")
            left += 1
            continue
        erased += 1
        print(f"{line}: erased{cases}")
    if erase:
        print(f"{erased} erased.")
    return left
