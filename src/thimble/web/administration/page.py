"""What the administrator's pages say."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime, tzinfo

from thimble.clinical.fitness import vocabulary as fitness_vocabulary
from thimble.clinical.people_rules import retention_law
from thimble.clinical.saying import minute
from thimble.clinical.site import DAYS, Place, Site
from thimble.clinical.stocked import Stocked
from thimble.people.certificates.limits import rules
from thimble.protocol import STANDINGS
from thimble.web.roles import LABELS, Role


@dataclass(frozen=True, slots=True)
class SitePage:
    """The settings of the site in words, section by section."""

    sections: tuple[tuple[str, tuple[tuple[str, str], ...]], ...]

    @classmethod
    def of(cls, site: Site) -> SitePage:
        """Everything that site.toml says."""
        return cls(
            (
                (
                    "The hospital",
                    (
                        ("Name", site.name),
                        ("Short name", site.short_name),
                        ("Address", ", ".join(site.address_lines)),
                        ("Web address", site.base_url),
                        ("Time zone", site.zone.key),
                        ("Protocol", site.protocol),
                        ("Fitness decided by", _rule_set(site.fitness_rule_set)),
                        (
                            "Certificates hold",
                            (site.certificates_hold or rules().longest).words + " at most",
                        ),
                        ("Data", "Invented" if site.invented else "Real"),
                    ),
                ),
                ("Occupational medicine", tuple(_place(site.occupational_medicine))),
                ("Emergency department", tuple(_place(site.emergency_department))),
                (
                    "Telephone",
                    (
                        ("Emergency", site.emergency_phone),
                        ("Expert advice", f"{site.expert_phone.name}, {site.expert_phone.number}"),
                        ("Laboratory", site.laboratory_phone),
                    ),
                ),
                (
                    "Closed days",
                    tuple((f"{c.day:%d %b %Y}", c.reason) for c in site.closed_days)
                    or (("Own closed days", "None; public holidays count by themselves"),),
                ),
                (
                    "Calendars and mail to workers",
                    (
                        ("Called", site.messages.appointment),
                        ("Place told", site.messages.place or "None"),
                        ("Sent from", site.messages.sender or "No mail is sent"),
                        ("Reminder", f"{site.messages.days_ahead} days before"),
                    ),
                ),
                ("Names of those who left", tuple(_leavers(site))),
                ("Stock", tuple(_stock(site.stocked))),
                (
                    "Wording",
                    (
                        ("Consent", site.consent_wording or "Left to be written in by hand"),
                        ("First aid notes", " ".join(site.first_aid_notes) or "None"),
                    ),
                ),
            )
        )


def _rule_set(id_: str) -> str:
    return fitness_vocabulary()["rule_set"].label(id_) if id_ else "Asked each time"


def _leavers(site: Site) -> Iterable[tuple[str, str]]:
    rules, law = site.people, retention_law(site.protocol)
    after = rules.after_leaving
    yield "Kept", f"{after.words} after leaving" if after else "For good: site.toml sets no time"
    exposed = rules.after_exposure or (law.after_exposure if law else None)
    if after and exposed:
        yield "After an exposure", f"{exposed.words}, if that is later"
    if law:
        yield (
            f"The law, {law.jurisdiction}",
            f"{law.words} ({law.source}; {STANDINGS[law.standing]})",
        )
    if rules.shorter_because:
        yield "A shorter time because", rules.shorter_because
    yield "On hold", ", ".join(rules.hold) or "None"


def _stock(stocked: Stocked) -> Iterable[tuple[str, str]]:
    if not stocked.places:
        yield "Places", "None: no stock is counted here"
        return
    yield "Places", ", ".join(place.name for place in stocked.places)
    for kept in stocked.products:
        days = f", {kept.days} days of a course" if kept.days else ""
        vaccine = f", vaccine CVX {' '.join(kept.cvx)}" if kept.cvx else ""
        yield (
            kept.name,
            f"counted by the {kept.unit}{days}{vaccine}; told {kept.expiry_lead} days before it expires",
        )


def _place(place: Place) -> Iterable[tuple[str, str]]:
    yield "Name", place.name
    yield "Way there", place.where
    yield "Phone", place.phone
    if place.hours.always:
        yield "Hours", "Always open"
        return
    for name, sessions in zip(DAYS, place.hours.week, strict=True):
        yield (
            name.capitalize(),
            ", ".join(str(s).replace("-", " to ") for s in sessions) or "Closed",
        )


@dataclass(frozen=True, slots=True)
class Check:
    """One check that was run: what, whether it holds, and every fault."""

    title: str
    says: str
    faults: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class EventLine:
    """What was done to an account: whose it is, what, who did it, when."""

    account: str
    whose: str
    what: str
    by: str
    at: str

    @classmethod
    def of(
        cls,
        account: str,
        what: str,
        role: str,
        by: str,
        at: datetime,
        *,
        names: Mapping[str, str],
        zone: tzinfo,
    ) -> EventLine:
        """An event in words; `names` are the accounts' display names, `by` is "" for the command
        line."""
        label = LABELS[Role(role)] if role in set(Role) else role
        words = {
            "created": f"Created as: {label}",
            "role": f"Role set to: {label}",
            "password": "New one-time password",
            "closed": "Closed",
            "opened": "Opened again",
        }
        return cls(
            account,
            names.get(account, account),
            words.get(what, what),
            names.get(by, by) if by else "the command line",
            minute(at, zone),
        )
