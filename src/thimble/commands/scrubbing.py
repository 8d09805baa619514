"""What an erasure leaves in the files of the database and the inbox, written over."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from thimble.exchange.inbox import Inbox


def written_anew(inbox: Inbox) -> bool:
    """Whether nothing that was erased can be read in the files any more; prints what is left otherwise."""
    from thimble.web.scrubbing import scrub

    whole = True
    for what, done in (("The database", scrub()), ("The laboratory's inbox", inbox.scrub())):
        if not done:
            print(
                f"{what} was in use and could not be written anew: what was erased may still be "
                "readable in its files. Stop the servers, then run this again."
            )
            whole = False
    return whole
