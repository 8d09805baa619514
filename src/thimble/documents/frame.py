"""What every sheet carries: whose it is, when it was printed, and what lets it be checked."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from thimble.clinical.saying import stamp
from thimble.clinical.site import Place, Site
from thimble.documents.words import hours_in_words
from thimble.ledger.situation import Situation
from thimble.protocol.finding import Reason
from thimble.protocol.protocol import Protocol

CAUTION = (
    "Decision support for trained staff; not a replacement for local policy or licensed judgement."
)
INVENTED = "Invented data"
DIGEST_SHOWN = 16
"""Characters of a digest that a sheet shows: enough to find it, short enough to read out."""


@dataclass(frozen=True, slots=True)
class ProtocolMark:
    """Which protocol, to the character."""

    id: str
    edition: str
    digest: str


@dataclass(frozen=True, slots=True)
class Anchor:
    """Where the ledger of the case stood; empty on a sheet that is about no case."""

    entry: str = ""
    digest: str = ""


@dataclass(frozen=True, slots=True)
class Frame:
    """Head and foot of a sheet, as shown."""

    title: str
    subtitle: str
    site: str
    site_short: str
    address: tuple[str, ...]
    invented: bool
    invented_mark: str
    printed: str
    case: str
    anchor: Anchor
    protocol: ProtocolMark
    caution: str = CAUTION


@dataclass(frozen=True, slots=True)
class Contact:
    """Somebody to ring, as shown."""

    who: str
    phone: str
    where: str = ""
    hours: str = ""


def frame(
    title: str,
    subtitle: str,
    site: Site,
    now: datetime,
    protocol: ProtocolMark,
    situation: Situation | None = None,
) -> Frame:
    """The frame of a sheet printed at `now` (aware), about `situation` where it is about a case."""
    return Frame(
        title=title,
        subtitle=subtitle,
        site=site.name,
        site_short=site.short_name,
        address=tuple(site.address_lines),
        invented=site.invented,
        invented_mark=INVENTED if site.invented else "",
        printed=stamp(now, site.zone),
        case=situation.case if situation else "",
        anchor=(
            Anchor(str(situation.last_number), situation.last_digest[:DIGEST_SHOWN])
            if situation
            else Anchor()
        ),
        protocol=protocol,
    )


def mark_of(protocol: Protocol) -> ProtocolMark:
    """The mark of the protocol in force."""
    return ProtocolMark(protocol.id, protocol.edition, protocol.digest[:DIGEST_SHOWN])


def phone(number: str) -> str:
    """A telephone number that no line end parts."""
    return number.replace(" ", "\u00a0")


def contact(place: Place) -> Contact:
    """A place of the site, as shown."""
    return Contact(place.name, phone(place.phone), place.where, hours_in_words(place.hours))


def contacts(site: Site) -> tuple[Contact, ...]:
    """Whom a worker or a ward rings: occupational medicine, then the emergency department."""
    return (contact(site.occupational_medicine), contact(site.emergency_department))


def all_contacts(site: Site) -> tuple[Contact, ...]:
    """Whom a clinician rings: the two places, the expert, the laboratory, the emergency number."""
    return (
        *contacts(site),
        Contact(site.expert_phone.name, phone(site.expert_phone.number)),
        Contact("Laboratory", phone(site.laboratory_phone)),
        Contact("Emergency", phone(site.emergency_phone)),
    )


def unconfirmed(reasons: Sequence[Reason]) -> bool:
    """Whether anything rests on a rule that nobody has read in its own document."""
    return any(not reason.confirmed for reason in reasons)
