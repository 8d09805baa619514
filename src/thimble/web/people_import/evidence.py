"""The register with what the tables say of its evidence, as a file: health data, unlike the plain one."""

from __future__ import annotations

from django.http import HttpRequest, HttpResponse
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_GET

from thimble.clinical.diseases import DISEASES
from thimble.clinical.saying import calendar_day, inside
from thimble.clinical.screening import Screening
from thimble.people.hepatitis_b_many import HepatitisBSaid, hepatitis_b_of
from thimble.people.identity import PersonIdentity
from thimble.people.judged import judged
from thimble.people.screened import screened
from thimble.web import clock
from thimble.web.access import needs
from thimble.web.context import get_people_identities, get_site, looked, zone
from thimble.web.people.register import ordered
from thimble.web.people.roster import roster
from thimble.web.tables import csv_file, xlsx_file

WHO = ("Number", "Family name", "Given names", "Department", "First day")
NOTHING = "No answer"
HEPATITIS_B = "hepatitis_b"


@never_cache
@needs("view_people", "import_people")
@require_GET
def evidence_csv(request: HttpRequest) -> HttpResponse:
    """Everybody who is here or expected, a state and a next step for each disease that is asked for."""
    return csv_file("evidence", *_table(request))


@never_cache
@needs("view_people", "import_people")
@require_GET
def evidence_xlsx(request: HttpRequest) -> HttpResponse:
    """The same as a workbook."""
    return xlsx_file("evidence", *_table(request))


def _table(request: HttpRequest) -> tuple[list[str], list[list[str]]]:
    site, now = get_site(), clock.now()
    on = now.astimezone(zone()).date()
    identities = get_people_identities().all_identities()
    here = [p for p in roster().people(now) if p.employment.here_on(on)]
    people = ordered(here, identities)
    looked(request, [p.reference for p in people], whose="worker", where="evidence export")
    births = {ref: who.birth_date for ref, who in identities.items()}
    series = hepatitis_b_of(people, births, on, site.protocol)
    header = [*WHO]
    for disease in site.evidence_asked:
        header += [DISEASES[disease], f"{DISEASES[disease]}: next"]
    rows = []
    for person in people:
        who = identities.get(person.reference, PersonIdentity())
        start = person.employment.starts_on
        row = [who.number, who.family_name, who.given_name, person.employment.department]
        row.append("" if start is None else start.isoformat())
        found = judged(person, who.birth_date, on, site.protocol, site.evidence_asked)
        for disease in site.evidence_asked:
            if disease == HEPATITIS_B:
                row += _hepatitis_b(series.get(person.reference))
            elif disease in found:
                row += [found[disease].words, found[disease].next_said(on)]
            else:
                row += [NOTHING, ""]
        clearance = screened(person, on, site.fitness_rule_set)
        row += ["", ""] if clearance is None else [clearance.words, _tests(clearance)]
        rows.append(row)
    return [*header, *(f"Exposure-prone procedures: {each}" for each in ("proposal", "next"))], rows


def _tests(clearance: Screening) -> str:
    """What is missing before exposure-prone procedures; "" where nothing is."""
    lacking = (each for each in clearance.infections if each.says in ("missing", "refused"))
    return "; ".join(f"{DISEASES[each.infection]}: {inside(each.step)}" for each in lacking)


def _hepatitis_b(said: HepatitisBSaid | None) -> list[str]:
    if said is None:
        return [NOTHING, ""]
    due = "" if said.due is None else f", from {calendar_day(said.due)}"
    return [said.words, f"{said.step_words}{due}"]
