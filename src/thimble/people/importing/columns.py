"""Which column of a file holds what: guessed from its headers in several languages, said by the user."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Mapping
from dataclasses import dataclass, field

from thimble.exchange.sheets import Sheet
from thimble.people.dates import Order

FIELDS: Mapping[str, str] = {
    "number": "Staff or student number",
    "family_name": "Family name",
    "given_name": "Given names",
    "full_name": "Whole name",
    "birth_date": "Birth date",
    "email": "E-mail",
    "works_as": "Works as",
    "role": "Role",
    "department": "Department",
    "site": "Site",
    "cohort": "Cohort",
    "starts_on": "First day",
    "ends_on": "Last day",
    "exposure_prone": "Exposure-prone procedures",
}
"""What a column can hold."""

_HEADERS: Mapping[str, str] = {
    "number": "number no nr numero matricule id personalnummer personalnr pers nr mitarbeiternummer "
    "matrikelnummer matrikelnr|staff number|staff no|staff id|student number|student no|student id|"
    "employee number|employee id|employee no|personnel number|personnel no|payroll number|numéro|"
    "no employé|numéro étudiant|número|matrícula|matricola|pers.-nr.",
    "family_name": "surname lastname nachname familienname nom apellido apellidos cognome "
    "|last name|family name|nom de famille",
    "given_name": "firstname vorname vornamen prénom prenom prénoms nombre nome forename forenames "
    "|first name|given name|given names",
    "full_name": "name fullname|full name|nom complet|nom et prénom|nom prénom|name vorname|vor und "
    "nachname|nombre completo|nome e cognome|nombre y apellidos|student|employee",
    "birth_date": "dob birthdate birthday born geburtsdatum geburtstag geb naissance nacimiento nascita "
    "|date of birth|birth date|geb datum|date de naissance|fecha de nacimiento|data di nascita|né le",
    "email": "email mail courriel correo|e-mail|e mail|email address|e-mail-adresse|adresse e-mail",
    "works_as": "category type status kategorie anstellung statut|employment type|worker type|"
    "type of employment|works as",
    "role": "role job title position function funktion beruf fonction poste cargo puesto ruolo profession "
    "occupation|job title|fachrichtung|programme|program|studiengang",
    "department": "department dept ward unit abteilung klinik station service département departamento "
    "servicio reparto division",
    "site": "site location campus standort lieu sede hospital building",
    "cohort": "cohort intake group class year kohorte jahrgang semester promotion cohorte curso gruppo",
    "starts_on": "start starts eintritt eintrittsdatum beginn début entrée inicio inizio|start date|"
    "first day|date d'entrée|date de début|fecha de inicio|data inizio|starts on",
    "ends_on": "end leaving austritt austrittsdatum ende fin sortie leaver|end date|leaving date|last day|"
    "date de sortie|date de fin|fecha de fin|data fine|ends on",
    "exposure_prone": "epp|exposure prone|exposure-prone|exposure prone procedures|"
    "exposure-prone procedures|performs epp",
}


def header_key(text: str) -> str:
    """A header without accents, case and marks."""
    plain = unicodedata.normalize("NFKD", text.casefold())
    plain = "".join(c for c in plain if not unicodedata.combining(c))
    return " ".join(re.findall(r"[a-z0-9]+", plain))


def _spellings() -> dict[str, str]:
    """Every known header by its key. Single words stand before the first phrase, phrases part at |."""
    known: dict[str, str] = {}
    for name, text in _HEADERS.items():
        first, *phrases = text.split("|")
        words = first.split()
        for spelling in (*words, *phrases):
            known.setdefault(header_key(spelling), name)
        known[header_key(FIELDS[name])] = name
    return known


KNOWN = _spellings()


@dataclass(frozen=True, slots=True)
class Columns:
    """What the user said of a file.

    `fields` maps columns (from 0) to fields; a field stands in one column. `works_as`, `cohort` hold for
    every row that says nothing itself; `order` is that of dates which could be read in two ways.
    """

    header: int
    fields: Mapping[int, str] = field(default_factory=dict)
    order: Order | None = None
    works_as: str = ""
    cohort: str = ""

    def faults(self) -> list[str]:
        """What is missing before rows can be read, in sentences."""
        said = list(self.fields.values())
        faults = [
            f"{FIELDS[name]} is named for more than one column; choose one."
            for name in FIELDS
            if said.count(name) > 1
        ]
        if not {"family_name", "full_name"} & set(said):
            faults.append("Say which column holds the name.")
        if {"family_name", "full_name"} <= set(said):
            faults.append("A name is in one column, or in two parts; not both.")
        if "works_as" not in said and not self.works_as:
            faults.append("Say what everybody in this file works as, or in which column it stands.")
        return faults


def find_header(sheet: Sheet) -> int:
    """The row that is most likely the header: of the first twenty, that with the most known names.

    Title rows, merged or not, hold one cell. Without any known header it is the first row with the most
    cells.
    """
    rows = list(sheet.rows)[:20]

    def score(number: int) -> tuple[int, int, int]:
        cells = sheet.rows[number]
        known = {KNOWN[key] for cell in cells if (key := header_key(cell.text)) in KNOWN}
        filled = sum(bool(cell.text) for cell in cells)
        return (len(known), filled, -number)

    return max(rows, key=score)


def guess_columns(sheet: Sheet, header: int) -> dict[int, str]:
    """A field for each column whose header is known; the first of several that say the same."""
    guessed: dict[int, str] = {}
    for column, cell in enumerate(sheet.rows.get(header, ())):
        found = KNOWN.get(header_key(cell.text))
        if found and found not in guessed.values():
            guessed[column] = found
    said = set(guessed.values())
    if "given_name" in said and "full_name" in said and "family_name" not in said:
        # "Name" beside "Vorname" is the family name.
        guessed = {c: "family_name" if f == "full_name" else f for c, f in guessed.items()}
    elif {"family_name", "full_name"} <= said:
        guessed = {c: f for c, f in guessed.items() if f != "full_name"}
    return guessed
