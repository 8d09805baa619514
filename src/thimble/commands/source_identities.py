"""`thimble source-identities purge`: erase who source patients were, when its time is over."""

from __future__ import annotations

import argparse
from functools import cache, partial
from pathlib import Path
from typing import TYPE_CHECKING

from thimble.commands import Commands, NotUnderstood, group
from thimble.commands.scrubbing import written_anew
from thimble.commands.serve import open_data

if TYPE_CHECKING:
    from thimble.actions.erasing import Erasure
    from thimble.exchange.inbox import Inbox


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
    from django.conf import settings

    from thimble.actions.erasing import held, kept_for
    from thimble.clinical.site import SiteError
    from thimble.exchange.inbox import Inbox
    from thimble.web.context import get_site

    try:
        site = get_site()
    except SiteError as error:
        raise NotUnderstood(str(error)) from error
    try:
        held(site.source_patient)
    except ValueError as error:
        raise NotUnderstood(
            f"site.toml: source_patient.hold: {error}. Nothing was erased: correct it first."
        ) from error
    kept, rule = kept_for(site.source_patient)
    print(f"Kept for {kept.words} after a case is closed. Rule: {rule}")
    with Inbox(settings.DATA) as inbox:
        erased, messages, left = _each(inbox, erase=erase)
        if not erase:
            print("Nothing was changed. Add --erase to erase them.")
            return 0
        print(f"{erased} erased, and the people in {_messages(messages)} of the laboratory.")
        # Each time: an earlier run may have been stopped between erasing and this.
        whole = written_anew(inbox)
    return 1 if left or not whole else 0


def _each(inbox: Inbox, *, erase: bool) -> tuple[int, int, int]:
    """One line for each case: how many identities and messages were erased, and how many cases left."""
    from thimble.actions.erasing import due_of, erase_identity, identities_to_erase
    from thimble.clinical.vocabulary import VOCABULARY
    from thimble.ledger.store import Overtaken
    from thimble.web import clock
    from thimble.web.context import get_identities, get_protocol, get_site, get_store
    from thimble.web.laboratory.directory import Directory
    from thimble.web.laboratory.erasing import messages_due
    from thimble.web.laboratory.register import get_register

    site, store, identities, now = get_site(), get_store(), get_identities(), clock.now()
    rules = site.source_patient

    @cache
    def due(case: str) -> Erasure | None:
        return due_of(case, store.entries(case), rules, VOCABULARY, site.zone, now)

    directory = Directory(store, identities, get_protocol(), get_register(), clock.now)
    left = messages_due(inbox, store, directory, lambda case: due(case) is not None)
    named = identities_to_erase(store, identities, rules, VOCABULARY, site.zone, now)
    # Of some sources nobody wrote down who they were, and the laboratory's messages say it.
    unnamed = [due(case) for case in left.keys() - {found.case for found in named}]
    erased = messages = overtaken = 0
    for found in (*named, *(each for each in unnamed if each is not None)):
        parts = left.get(found.case, {})
        line = f"{found.case}, closed on {found.closed_on.isoformat()}"
        with_them = f", with the people in {_messages(len(parts))}" if parts else ""
        if not erase:
            print(f"{line}: would be erased{with_them}")
            continue
        if found in named:
            try:
                erase_identity(
                    store, identities, found, together=store.transaction(), now=now, by="command",
                    role="retention", also=partial(inbox.erase_people, parts, now),
                )  # fmt: skip
            except Overtaken:
                print(f"{line}: left as it is, somebody wrote to the case meanwhile")
                overtaken += 1
                continue
            erased += 1
        else:
            inbox.erase_people(parts, now)
        messages += len(parts)
        print(f"{line}: erased{with_them}")
    return erased, messages, overtaken


def _messages(count: int) -> str:
    return "1 message" if count == 1 else f"{count} messages"
