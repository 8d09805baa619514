"""The site, the protocol and the stores that every screen works with."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from datetime import date, tzinfo
from functools import cache
from typing import Any

from django.conf import settings
from django.http import HttpRequest
from django.urls import reverse

from thimble.actions.identity import Whose
from thimble.clinical.ladder import SHIPPED_LADDER, Ladder, load_ladder
from thimble.clinical.library import folder_of
from thimble.clinical.site import Site, SiteError, load_site
from thimble.clinical.vocabulary import vocabulary
from thimble.exchange.hl7v2.declared import faults_of
from thimble.ledger.bodies import CONTACT_BY
from thimble.people.bodies import PEOPLE
from thimble.people.entries import Kind as PersonKind
from thimble.protocol import Protocol, ProtocolFaults, check_protocol, load_protocol
from thimble.web import clock
from thimble.web.people_identities import DjangoPeopleIdentities
from thimble.web.screens import links
from thimble.web.stock.store import DjangoStock
from thimble.web.store import DjangoIdentities, DjangoStore


@cache
def get_site() -> Site:
    """The site that the data folder's `site.toml` describes.

    Raises:
        SiteError: the file is missing or has faults.
    """
    return load_site(settings.DATA / "site.toml")


@cache
def get_protocol() -> Protocol:
    """The protocol that the site follows.

    Raises:
        SiteError, or the protocol's own faults.
    """
    return load_protocol(folder_of(get_site().protocol), vocabulary())


@cache
def get_ladder() -> Ladder:
    """The steps after a missed visit: those of the data folder's `ladder.toml`, else those shipped.

    Raises:
        LadderError: the file has faults.
    """
    own = settings.DATA / "ladder.toml"
    return load_ladder(own if own.is_file() else SHIPPED_LADDER, CONTACT_BY)


@cache
def get_store() -> DjangoStore:
    """The ledger in the database."""
    return DjangoStore()


@cache
def get_stock() -> DjangoStock:
    """The movements of stock in the database."""
    return DjangoStock()


@cache
def get_identities() -> DjangoIdentities:
    """Names, apart from the ledger."""
    return DjangoIdentities()


@cache
def get_people() -> DjangoStore[PersonKind]:
    """The ledger of people in the database."""
    return DjangoStore(book=PEOPLE)


@cache
def get_people_identities() -> DjangoPeopleIdentities:
    """Who people are, apart from their ledger."""
    return DjangoPeopleIdentities()


def looked(request: HttpRequest, cases: Iterable[str], *, whose: Whose, where: str) -> None:
    """Put on record that this account is shown a name. Every page and paper with one calls this
    before it is made: what cannot be recorded is not shown."""
    get_identities().looked(
        cases, whose=whose, where=where, by=str(request.user.pk), now=clock.now()
    )


def zone() -> tzinfo:
    """The site's time zone."""
    return get_site().zone


def today() -> date:
    """The day in the site's calendar."""
    return clock.now().astimezone(zone()).date()


def check_laboratory() -> None:
    """Hold what the site declares of its laboratory against the tests and words that are read here.

    Raises:
        SiteError: the settings have faults, or a declaration cannot be followed; each is named.
    """
    if faults := faults_of(get_site().laboratory):
        raise SiteError([f"site.toml: laboratory: {fault}" for fault in faults])


def make_ready() -> None:
    """Read the site, read and prove its protocol: before the first page, not at the first patient.

    Raises:
        SiteError: the settings have faults.
        LadderError: the steps after a missed visit have faults.
        ProtocolFaults: the protocol cannot be read or is not proved; each fault is named.
    """
    check_laboratory()
    get_ladder()
    faults = check_protocol(get_protocol())
    if faults:
        raise ProtocolFaults(faults)


def forget() -> None:
    """Read site and protocol anew at the next use: for tests, and after the files were changed."""
    get_site.cache_clear()
    get_protocol.cache_clear()
    get_ladder.cache_clear()


@dataclass(frozen=True, slots=True)
class NavigationLink:
    """A link of the header as this account sees it."""

    label: str
    href: str
    here: bool
    seldom: bool = False


ON_A_LINE = 9
"""Links that stand side by side beside the name at 1280 px."""


@dataclass(frozen=True, slots=True)
class Frame:
    """What stands around every page."""

    site_name: str
    invented: bool
    emergency_phone: str
    home: str
    links: tuple[NavigationLink, ...]
    signed_in: bool

    @property
    def bar(self) -> tuple[NavigationLink, ...]:
        """The links that stand side by side: all where they fit on a line, else those of the day's work."""
        if len(self.links) <= ON_A_LINE:
            return self.links
        return tuple(link for link in self.links if not link.seldom)

    @property
    def more(self) -> tuple[NavigationLink, ...]:
        """The others."""
        return tuple(link for link in self.links if link not in self.bar)

    @property
    def here_in_more(self) -> bool:
        """Whether the page that is open is one of the others."""
        return any(link.here for link in self.more)


def visitors_frame() -> Frame:
    """The frame for somebody who is not signed in. Needs neither a request nor the database."""
    try:
        site: Site | None = get_site()
    except SiteError:
        site = None
    return Frame(
        site_name=site.name if site else "",
        invented=bool(site and site.invented),
        emergency_phone=site.emergency_phone if site else "",
        home=reverse("report:start"),
        links=(),
        signed_in=False,
    )


def frame(request: HttpRequest) -> dict[str, Any]:
    """Context processor: header and footer. Works also where the site's settings cannot be read, as
    error pages use it too."""
    empty = visitors_frame()
    user = getattr(request, "user", None)
    if user is None or not user.is_authenticated:
        return {"frame": empty}
    seen: list[NavigationLink] = []
    if not user.must_change_password:
        for link in links():
            if user.has_perm(link.capability):
                href = reverse(link.url_name)
                here = request.path.startswith(href)
                seen.append(NavigationLink(link.label, href, here, link.seldom))
    home = reverse("accounts:home")
    return {"frame": replace(empty, home=home, links=tuple(seen), signed_in=True)}
