"""Which column of a file holds what: guessed from its headers in several languages, said by the user."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from thimble.exchange.sheets import Sheet
from thimble.exchange.sheets.model import column_name
from thimble.people.dates import Order
from thimble.people.importing.evidence_columns import (
    DAY,
    LONG,
    LONG_HEADERS,
    VALUE,
    guess_wide,
    labels,
)
from thimble.people.importing.headers import header_key

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
"""What a column of the person can hold. Columns of evidence: see `evidence_columns`."""

_HEADERS: Mapping[str, str] = {
    "number": "number no nr numero matricule id personalnummer personalnr pers nr mitarbeiternummer "
    "matrikelnummer matrikelnr|staff number|staff no|staff id|person id|"
    "student number|student no|student id|"
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


def label_of(name: str) -> str:
    """What a column holds, in words."""
    return FIELDS.get(name) or labels()[name]


@dataclass(frozen=True, slots=True)
class Columns:
    """What the user said of a file.

    `fields` maps columns (from 0) to what they hold: a field of the person, which stands in one column, or
    evidence (see `evidence_columns`). `works_as`, `cohort` hold for every row that says nothing itself;
    `order` is that of dates which could be read in two ways. With `only_evidence` a row enrols nobody and
    changes nobody: whom it is of must be in the register. `disease` is what refusals and contraindications
    are about that name none.
    """

    header: int
    fields: Mapping[int, str] = field(default_factory=dict)
    order: Order | None = None
    works_as: str = ""
    cohort: str = ""
    only_evidence: bool = False
    disease: str = ""

    @property
    def long(self) -> bool:
        """Whether each row is one piece of evidence."""
        return any(name in LONG for name in self.fields.values())

    @property
    def evidence(self) -> bool:
        """Whether any column holds evidence."""
        return any(name not in FIELDS for name in self.fields.values())

    @property
    def of_the_register(self) -> bool:
        """Whether rows are of people who are in the register already."""
        return self.long or (self.evidence and self.only_evidence)

    @property
    def results(self) -> tuple[tuple[int, int | None], ...]:
        """The columns of results, each with that of its day: the first day of a test goes with its first
        result, and so on; else the day of all results (None where there is none)."""
        shared = next((c for c, name in self._sorted() if name == DAY), None)
        days: dict[str, list[int]] = {}
        for column, name in self._sorted():
            if name.startswith(DAY):
                days.setdefault(name.removeprefix(DAY), []).append(column)
        pairs = []
        for column, name in self._sorted():
            if name.startswith(VALUE):
                own = days.get(name.split(":")[1])
                pairs.append((column, own.pop(0) if own else shared))
        return tuple(pairs)

    def _sorted(self) -> list[tuple[int, str]]:
        return sorted(self.fields.items())

    def faults(self) -> list[str]:
        """What is missing before rows can be read, in sentences."""
        said = list(self.fields.values())
        faults = [
            f"{label_of(name)} is named for more than one column; choose one."
            for name in (*FIELDS, *LONG, DAY)
            if said.count(name) > 1
        ]
        if {"family_name", "full_name"} <= set(said):
            faults.append("A name is in one column, or in two parts; not both.")
        if self.of_the_register:
            if "number" not in said:
                faults.append("Say which column holds the staff or student number.")
        else:
            if not {"family_name", "full_name"} & set(said):
                faults.append("Say which column holds the name.")
            if "works_as" not in said and not self.works_as:
                faults.append(
                    "Say what everybody in this file works as, or in which column it stands"
                    + (", or that everybody is in the register already." if self.evidence else ".")
                )
        return faults + (self._long_faults(said) if self.long else self._wide_faults())

    def _long_faults(self, said: list[str]) -> list[str]:
        faults = []
        if any(name not in LONG and name not in FIELDS for name in said):
            faults.append(
                "Evidence stands in a row for each piece, or in columns of one row a person; not both."
            )
        if "date" not in said:
            faults.append("Say which column holds the date.")
        if not {"code", "product", "test"} & set(said):
            faults.append("Say which column holds the product or the test.")
        if "code" in said and "kind" not in said:
            faults.append("Say which column holds the kind: a code alone does not say it.")
        if {"code", "test"} & set(said) and "value" not in said and "product" not in said:
            faults.append("Say which column holds the result.")
        return faults

    def _wide_faults(self) -> list[str]:
        faults = []
        for column, day in self.results:
            if day is None:
                name = label_of(self.fields[column]).split(":")[0]
                faults.append(
                    f"Say which column holds the day of {name}, or leave its result out: without a day "
                    "it cannot be judged."
                )
        paired = {day for _, day in self.results}
        for column, name in self._sorted():
            if name.startswith(DAY) and column not in paired:
                faults.append(
                    f"No column holds the result that belongs to column {column_name(column)}, "
                    f"{label_of(name)}."
                )
        return faults


def find_header(sheet: Sheet) -> int:
    """The row that is most likely the header: of the first twenty, that with the most known names.

    Title rows, merged or not, hold one cell. Without any known header it is the first row with the most
    cells.
    """
    rows = list(sheet.rows)[:20]

    def score(number: int) -> tuple[int, int, int]:
        filled = sum(bool(cell.text) for cell in sheet.rows[number])
        return (len(guess_columns(sheet, number)), filled, -number)

    return max(rows, key=score)


def guess_columns(sheet: Sheet, header: int) -> dict[int, str]:
    """What each column holds whose header is known; of several that say the same the first, unless each
    is a piece of evidence."""
    headers = [cell.text for cell in sheet.rows.get(header, ())]
    keys = [header_key(text) for text in headers]
    long = _is_long(keys)
    guessed: dict[int, str] = {}
    for column, (text, key) in enumerate(zip(headers, keys, strict=True)):
        found = KNOWN.get(key) or ""
        if long:
            found = LONG_HEADERS.get(key) or found
        elif not found:
            found = guess_wide(text)
        if found and (found not in guessed.values() or ":" in found):
            guessed[column] = found
    said = set(guessed.values())
    if "given_name" in said and "full_name" in said and "family_name" not in said:
        # "Name" beside "Vorname" is the family name.
        guessed = {c: "family_name" if f == "full_name" else f for c, f in guessed.items()}
    elif {"family_name", "full_name"} <= said:
        guessed = {c: f for c, f in guessed.items() if f != "full_name"}
    return guessed


def guess(sheet: Sheet, header: int) -> Columns:
    """A guess of everything that is said of a file. The user looks at it, and says what is so."""
    fields = guess_columns(sheet, header)
    said = set(fields.values())
    names = {header_key(cell.text) for cell in sheet.rows.get(header, ())}
    return Columns(
        header,
        fields,
        only_evidence=not said & {"family_name", "full_name"},
        disease="hepatitis_b" if names >= _OF_CLEARANCE else "",
    )


_OF_CLEARANCE = {"person id", "date", "kind", "code", "value", "unit"}
"""The file of evidence that `thimble clear` reads is about hepatitis B, and says so nowhere."""


def _is_long(keys: list[str]) -> bool:
    """A list with a row for each piece of evidence has a date, and a column that says of what."""
    found = {LONG_HEADERS[key] for key in keys if key in LONG_HEADERS}
    return "date" in found and bool({"kind", "code", "product", "test"} & found)
