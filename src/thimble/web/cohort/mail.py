"""What a mail to somebody before their first day says: that there is something, and where to read it."""

from __future__ import annotations

from collections.abc import Mapping

from django.core.mail import EmailMessage

from thimble.clinical.neutral import require_neutral
from thimble.clinical.site import Site
from thimble.documents.letters.starter_letters import Session
from thimble.web.mailing.message import by_itself

SUBJECTS: Mapping[str, str] = {
    "missing": "Before your first day",
    "invitation": "Please come and see us before your first day",
    "offer": "An offer to you before your first day",
}

_BODIES: Mapping[str, str] = {
    "missing": "Something is missing before your first day. Your own page says what, and takes photos of "
    "your papers.",
    "invitation": "Please come on {when}.{place}\n\nChoose your time on your own page.",
    "offer": "We have an offer for you. Your own page says what is open.",
}


def words(about: str, session: Session | None) -> str:
    """The body without greeting and link; nothing in it tells what it is about.

    Raises:
        Telling: the place of the session tells it.
        ValueError: an invitation without its session.
    """
    if about == "invitation":
        if session is None:
            raise ValueError("an invitation says when and where to come")
        place = f"\nWhere: {session.place}" if session.place else ""
        told = _BODIES[about].format(when=session.words, place=place)
    else:
        told = _BODIES[about]
    return require_neutral(told)


def message(
    about: str, site: Site, to: str, address: str, session: Session | None = None
) -> EmailMessage:
    """The mail with the person's own address in it, made and not sent. No name is in it.

    Raises:
        Telling: the site's own words, or the place of the session, tell it.
        ValueError: as `words`.
    """
    phone = site.occupational_medicine.phone
    body = (
        f"Good day\n\n{words(about, session)}\n\n{address}\n\n"
        "The page asks for your birth date. The address is for you alone: do not pass it on.\n"
        f"Questions: {phone}\n\n{site.name}\n\n"
        "This message was sent by itself; answers to it are not read.\n"
    )
    # The secret of the address is drawn by lot and may spell anything; the house has its own name.
    for text in (SUBJECTS[about], body.replace(address, "").replace(site.name, "")):
        require_neutral(text)
    return by_itself(SUBJECTS[about], body, site, to)
