"""The settings of a site from its TOML file."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Mapping
from functools import cache
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import holidays

from thimble.clinical.diseases import ASKED, DISEASES
from thimble.clinical.durations import Duration, parse
from thimble.clinical.fitness.vocabulary import vocabulary as fitness_vocabulary
from thimble.clinical.labels import read_labels
from thimble.clinical.laboratory import read_local
from thimble.clinical.library import shipped
from thimble.clinical.people_rules import read_people_rules
from thimble.clinical.settings import Settings
from thimble.clinical.site.messages import read_messages
from thimble.clinical.site.model import Site
from thimble.clinical.site.places import read_closed_days, read_expert, read_place
from thimble.clinical.source_rules import read_source_rules
from thimble.clinical.stocked import read_stocked

_LONGEST_HOLD = {"days": 1826, "weeks": 260, "months": 60, "years": 5}
"""The most of each unit that a certificate of clearance may be made to hold."""
_WEB_ADDRESS = re.compile(
    r"https?://[A-Za-z0-9.\-]*[A-Za-z0-9](?::[0-9]{1,5})?(?:/[A-Za-z0-9._~\-]+)*", re.A
)


class SiteError(ValueError):
    """Faults of a site's settings. `faults` holds one sentence each."""

    def __init__(self, faults: list[str]) -> None:
        self.faults = tuple(faults)
        super().__init__("\n".join(faults))


def load_site(path: Path) -> Site:
    """The site that a TOML file describes.

    Raises:
        SiteError: the file cannot be read or has faults; every one is listed.
    """
    try:
        text = path.read_text(encoding="utf-8")
    except OSError as error:
        raise SiteError([f"{path} cannot be read: {error.strerror}"]) from error
    except UnicodeDecodeError as error:
        raise SiteError([f"{path} is not UTF-8 text"]) from error
    try:
        settings = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise SiteError([f"{path} is not TOML: {error}"]) from error
    return parse_site(settings, where=path.name)


def parse_site(settings: Mapping[str, Any], where: str = "site") -> Site:
    """The site that `settings` describe.

    Args:
        settings: keys as the fields of `Site`; `zone` as a name such as `Europe/Zurich`;
            `closed_days` as tables of `date` and `reason`; `occupational_medicine` as a table of
            `name`, `where`, `phone` and `hours`, which maps days to lists of `08:00-16:30`;
            `emergency_department` likewise without hours, as it is always open; `expert_phone` as a
            table of `name` and `number`; `stock_places` and `stock_products` as lists of tables
            (see `clinical.stocked`), both of which may be left out.
        where: the file's name, for messages.

    Raises:
        SiteError: one sentence for each fault: key, what was found, what is allowed.
    """
    read = Settings(settings, where)
    site = _site(read)
    read.refuse_the_rest()
    if read.faults:
        raise SiteError(read.faults)
    return site


def _site(read: Settings) -> Site:
    return Site(
        name=read.text("name"),
        short_name=read.text("short_name"),
        address_lines=read.texts("address_lines"),
        base_url=_base_url(read),
        zone=_zone(read),
        holidays_country=(country := _country(read)),
        holidays_subdivision=_subdivision(read, country),
        closed_days=read_closed_days(read),
        protocol=(protocol := read.one_of("protocol", shipped())),
        invented=read.flag("invented"),
        occupational_medicine=read_place(read, "occupational_medicine", always=False),
        emergency_department=read_place(read, "emergency_department", always=True),
        expert_phone=read_expert(read),
        laboratory_phone=read.phone("laboratory_phone"),
        emergency_phone=read.phone("emergency_phone"),
        consent_wording=read.text("consent_wording", may_be_empty=True),
        first_aid_notes=read.texts("first_aid_notes", may_be_empty=True),
        evidence_asked=_evidence_asked(read),
        fitness_rule_set=_fitness_rule_set(read),
        certificates_hold=_certificates_hold(read),
        messages=read_messages(read),
        stocked=read_stocked(read),
        source_patient=read_source_rules(read),
        people=read_people_rules(read, protocol),
        laboratory=read_local(read),
        labels=read_labels(read),
    )


def _zone(read: Settings) -> ZoneInfo:
    found = read.take("zone")
    stand_in = ZoneInfo("UTC")
    if found is None:
        return stand_in
    try:
        return ZoneInfo(found)
    # ZoneInfo answers odd names with various errors; each means that there is no such zone.
    except (ValueError, KeyError, OSError, TypeError, AttributeError):
        read.fault("zone", f"is the name of a time zone, such as Europe/Zurich; found {found!r}")
        return stand_in


def _country(read: Settings) -> str:
    country = read.text("holidays_country")
    if country and country not in _parts_of_countries():
        read.fault(
            "holidays_country",
            f"is a country's two-letter code (ISO 3166-1), such as CH; found {country!r}",
        )
        return ""
    return country


def _subdivision(read: Settings, country: str) -> str:
    subdivision = read.text("holidays_subdivision", may_be_empty=True)
    # Without a country there is nothing to check it against, and its fault is told already.
    if country and subdivision and subdivision not in _parts_of_countries()[country]:
        allowed = ", ".join(_parts_of_countries()[country]) or "none; leave it empty"
        read.fault(
            "holidays_subdivision",
            f"is a part of {country}; allowed: {allowed}; found {subdivision!r}",
        )
    return subdivision


@cache
def _parts_of_countries() -> Mapping[str, list[str]]:
    return holidays.list_supported_countries(include_aliases=False)


def _base_url(read: Settings) -> str:
    found = read.text("base_url")
    if not found:
        return ""
    if _WEB_ADDRESS.fullmatch(found) is None:
        read.fault(
            "base_url",
            "is a web address without a slash at its end, such as https://thimble.example; "
            f"found {found!r}",
        )
    return found


def _evidence_asked(read: Settings) -> tuple[str, ...]:
    found = read.texts("evidence_asked", may_be_empty=True)
    for disease in found:
        if disease not in DISEASES:
            read.fault(
                "evidence_asked",
                f"names diseases; allowed: {', '.join(DISEASES)}; found {disease!r}",
            )
            return ()
    return tuple(dict.fromkeys(found)) or ASKED


def _fitness_rule_set(read: Settings) -> str:
    if not read.has("fitness_rule_set"):
        read.allow("fitness_rule_set")
        return ""
    return read.one_of("fitness_rule_set", fitness_vocabulary()["rule_set"].values)


def _certificates_hold(read: Settings) -> Duration | None:
    if not read.has("certificates_hold"):
        read.allow("certificates_hold")
        return None
    found = read.text("certificates_hold")
    try:
        told = parse(found)
    except ValueError:
        told = Duration(0, "days")
    if not 1 <= told.count <= _LONGEST_HOLD.get(told.unit, 0):
        read.fault(
            "certificates_hold",
            f"is days, weeks, months or years up to P5Y, such as P1Y; found {found!r}",
        )
        return None
    return told
