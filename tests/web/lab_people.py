"""Messages of a laboratory about people of the register. Nobody in them exists."""

from __future__ import annotations

import re
from collections.abc import Mapping
from datetime import UTC, date, datetime
from typing import Any

from django.test import Client

from thimble.actions import giving
from thimble.actions import people as acts
from thimble.people.entries import Kind
from thimble.people.fold import Person
from thimble.people.identity import PersonIdentity
from thimble.web.clinic.labels import new_number
from thimble.web.context import get_people, get_people_identities

DRAWN = date(2026, 3, 2)
DRAWN_AT = datetime(2026, 3, 2, 0, 30, tzinfo=UTC)
"""In the small hours, before the listener of the tests (03:00 UTC) takes anything."""
MORNING = datetime(2026, 3, 2, 9, 0, tzinfo=UTC)
WRITER = {"by": "u-nurse", "role": "occupational_nurse"}
ADA = PersonIdentity("Q-88", "Muster", "Ada", date(1990, 5, 6))
DOSES = ("2025-01-06", "2025-02-10", "2025-12-15")
"""Of the adult vaccine: a whole series, its titre still to come."""

ANTI_HBS = "5193-8^anti-HBs^LN"
HBSAG = "5195-3^HBsAg^LN"
ANTI_HCV = "13955-0^anti-HCV^LN"
HIV = "56888-1^HIV antigen and antibody^LN"
MEASLES = "20479-2^Measles virus IgG^LN"
MEASLES_NUMBER = "7962-4^Measles virus IgG^LN"
IGRA = "71773-6^M tuberculosis stimulated gamma interferon^LN"
ALT = "1742-6^ALT^LN"


def number(value: str, test: str = ANTI_HBS, unit: str = "m[IU]/mL", status: str = "F") -> str:
    return f"NM|{test}||{value}|{unit}|||||{status}"


def word(value: str, test: str = HBSAG, status: str = "F") -> str:
    return f"ST|{test}||{value}||||||{status}"


def oru(
    *rows: str,
    label: str = "",
    placer: str = "",
    control: str = "A1",
    name: str = "Muster^Ada",
    born: str = "19900506",
    patient: str = "LAB-7^^^LAB^PI",
    collected: str = "20260302",
    at: str = "020000",
) -> bytes:
    """One order with these rows; `at` is the clock time (UTC) of the report, before 03:00."""
    segments = [
        "MSH|^~\\&|LIS|INVENTED LAB|THIMBLE|INVENTED HOSPITAL|20260302025900+0000||ORU^R01^ORU_R01|"
        f"{control}|P|2.5.1",
        f"PID|1||{patient}||{name}||{born}|F",
        f"OBR|1|{placer}|F-{label or placer or 9}|SER^Serology^L|||{collected}|||||||||||||||"
        f"20260302{at}+0000|||F",
        *(f"OBX|{place}|{row}" for place, row in enumerate(rows, 1)),
    ]
    if label:
        segments.append(f"SPM|1|{label}||119364003^Serum^SCT")
    return "\r".join(segments).encode() + b"\r"


def enrolled(identity: PersonIdentity = ADA, **work: Any) -> str:
    employment: Mapping[str, Any] = {
        "works_as": "staff", "role": "nurse", "site": "", "department": "", "cohort": "2026",
        "starts_on": "2026-04-01", "ends_on": None, "exposure_prone": "no", "categories": {},
    } | work  # fmt: skip
    return acts.enrol(
        get_people(), get_people_identities(), identity, employment, now=DRAWN_AT, **WRITER
    )


def dosed(person: str) -> None:
    body = {"product": "43", "diseases": ["hepatitis_b"], "lot": "", "where": ""}
    drafts = [(Kind.DOSE_RECORDED, {**body, "when": day}) for day in DOSES]
    acts.record_evidence(get_people(), person, drafts, today=DRAWN, now=DRAWN_AT, **WRITER)


def labelled(person: str) -> str:
    return new_number(person, None, by="u-nurse", now=DRAWN_AT)


def sampled(person: str, *, identified: str = "yes") -> str:
    """The label of a sample that was drawn at a session."""
    label = labelled(person)
    giving.take_sample(
        get_people(), person, label, identified=identified, today=DRAWN, now=DRAWN_AT, **WRITER
    )
    return label


def typed(person: str, when: str = "2026-03-02", **result: Any) -> None:
    body: dict[str, Any] = {
        "test": "anti_hbs", "word": None, "number": None, "comparator": "=", "unit": "", "when": when,
        "laboratory": "", "as_written": "",
        "sample": dict.fromkeys(("identified", "drawn_here", "direct"), "not_known"),
    } | result  # fmt: skip
    acts.record_evidence(
        get_people(), person, [(Kind.RESULT_RECORDED, body)], today=DRAWN, now=DRAWN_AT, **WRITER
    )


def held(person: str) -> Person:
    return acts.person_of(get_people(), person, MORNING)


def results(person: str) -> list[tuple[Any, ...]]:
    """What stands: test, word, sign, number, day."""
    keys = ("test", "word", "comparator", "number", "when")
    return [tuple(e.body[k] for k in keys) for e in held(person).of(Kind.RESULT_RECORDED)]


def compared(client: Client, address: str, fields: Mapping[str, str]) -> Any:
    """What comes of placing a message once the identities on the second step were found the same."""
    answer = client.post(address, fields)
    target = re.search(r'name="compared" value="([^"]+)"', answer.text)
    if answer.status_code != 200 or target is None:
        return answer
    return client.post(address, {**fields, "compared": target[1]})
