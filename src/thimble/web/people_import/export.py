"""The register as a file, that can be changed and imported again."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from django.http import HttpRequest, HttpResponse
from django.views.decorators.http import require_GET

from thimble.people.fold import as_body
from thimble.people.identity import PersonIdentity
from thimble.people.importing import FIELDS
from thimble.web import clock
from thimble.web.access import needs
from thimble.web.context import get_people_identities, looked
from thimble.web.people.register import ordered
from thimble.web.people.roster import roster
from thimble.web.tables import csv_file, xlsx_file

EXPORTED: Sequence[tuple[str, str]] = tuple(
    (name, label) for name, label in FIELDS.items() if name != "full_name"
)
"""The columns of an export: those that an import understands by themselves."""


@needs("view_people", "import_people")
@require_GET
def export_csv(request: HttpRequest) -> HttpResponse:
    """The register as CSV, that no spreadsheet runs anything of."""
    return csv_file("people", *_register_rows(request))


@needs("view_people", "import_people")
@require_GET
def export_xlsx(request: HttpRequest) -> HttpResponse:
    """The register as a workbook; every cell is text."""
    return xlsx_file("people", *_register_rows(request))


def _register_rows(request: HttpRequest) -> tuple[list[str], list[list[str]]]:
    identities = get_people_identities().all_identities()
    people = ordered(roster().people(clock.now()), identities)
    looked(request, [p.reference for p in people], whose="worker", where="people export")
    rows = []
    for person in people:
        who = identities.get(person.reference, PersonIdentity())
        held: dict[str, Any] = as_body(person) | {
            "number": who.number,
            "family_name": who.family_name,
            "given_name": who.given_name,
            "birth_date": who.birth_date.isoformat() if who.birth_date else "",
            "email": who.email,
        }
        held["exposure_prone"] = held["exposure_prone"].replace("_", " ")
        rows.append([str(held[name] or "") for name, _ in EXPORTED])
    return [label for _, label in EXPORTED], rows
