"""`thimble source-identities purge`: erase who source patients were, when its time is over."""

from __future__ import annotations

import argparse
from pathlib import Path

from thimble.commands import Commands, NotUnderstood, group
from thimble.commands.serve import open_data


def add_to(commands: Commands) -> None:
    """Add `thimble source-identities purge` to the command line."""
    purge = group(commands, "source-identities", "look after who source patients are").add_parser(
        "purge", help="show whose time is over; with --erase, erase them"
    )
    purge.add_argument("--data", type=Path, required=True, help="the data folder")
    purge.add_argument("--erase", action="store_true", help="erase; without it, only show")
    purge.set_defaults(run=run)


def run(options: argparse.Namespace) -> int:
    """Print one line a case, by its reference; never a name. Status 1 if one could not be erased,
    or may still be readable in the database's file."""
    open_data(options.data, existing=True)
    return _purge(erase=options.erase)


def erase_all(_data: Path) -> int:
    """The nightly job: as `thimble source-identities purge --erase`."""
    return _purge(erase=True)


def _purge(*, erase: bool) -> int:
    from thimble.actions.erasing import erase_identity, identities_to_erase, kept_for
    from thimble.clinical.site import SiteError
    from thimble.clinical.vocabulary import VOCABULARY
    from thimble.ledger.store import Overtaken
    from thimble.web import clock
    from thimble.web.context import get_identities, get_site, get_store

    try:
        site = get_site()
    except SiteError as error:
        raise NotUnderstood(str(error)) from error
    now, rules = clock.now(), site.source_patient
    store, identities = get_store(), get_identities()
    kept, rule = kept_for(rules)
    print(f"Kept for {kept.words} after a case is closed. Rule: {rule}")
    status, erased = 0, 0
    for found in identities_to_erase(store, identities, rules, VOCABULARY, site.zone, now):
        line = f"{found.case}, closed on {found.closed_on.isoformat()}"
        if not erase:
            print(f"{line}: would be erased")
            continue
        try:
            erase_identity(
                store, identities, found, together=store.transaction(), now=now, by="command",
                role="retention",
            )  # fmt: skip
        except Overtaken:
            print(f"{line}: left as it is, somebody wrote to the case meanwhile")
            status = 1
            continue
        erased += 1
        print(f"{line}: erased")
    if erase:
        # Each time: an earlier run may have been stopped between erasing and this.
        print(f"{erased} erased.")
        if not identities.scrub():
            print(
                "The database was in use and could not be written anew: what was erased may still be "
                "readable in its file. Stop the server, then run this again."
            )
            status = 1
    else:
        print("Nothing was changed. Add --erase to erase them.")
    return status
