"""What the tests of people's files are made of. Everybody is invented."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import Any

from thimble.ledger.entries import Draft, Entry
from thimble.ledger.store import MemoryStore
from thimble.people.bodies import PEOPLE
from thimble.people.entries import Kind

NOW = datetime(2026, 3, 2, 9, 0, tzinfo=UTC)
ONE, OTHER = "P-K7QM-2F49", "P-AAAA-AAAA"

ENROLLED: dict[str, Any] = {
    "works_as": "student",
    "role": "medical student",
    "site": "Main house",
    "department": "Surgery",
    "cohort": "2026",
    "starts_on": "2026-04-01",
    "ends_on": None,
    "exposure_prone": "yes",
    "categories": {"uk": "3", "shea": "III"},
}
SAMPLE = {"identified": "yes", "drawn_here": "yes", "direct": "not_known"}
DOSE: dict[str, Any] = {
    "product": "43",
    "diseases": ["hepatitis_b"],
    "when": "2019-03",
    "lot": "",
    "where": "",
}
RESULT: dict[str, Any] = {
    "test": "anti_hbs",
    "word": None,
    "number": 145,
    "comparator": "=",
    "unit": "m[IU]/mL",
    "when": "2019-11-02",
    "laboratory": "",
    "as_written": "145 IU/l",
    "sample": SAMPLE,
}
DECLINED: dict[str, Any] = {
    "what": "vaccine",
    "disease": "hepatitis_b",
    "on": "2026-03-01",
    "informed": True,
    "signed": "on_paper",
    "reason": "",
}

GOOD: dict[Kind, dict[str, Any]] = {
    Kind.ENROLLED: ENROLLED,
    Kind.CHANGED: {"role": "resident", "identity": ["email"]},
    Kind.MOVED: {"department": "Medicine", "on": "2026-05-01"},
    Kind.LEFT: {"on": "2026-09-30"},
    Kind.RETURNED: {"on": "2026-10-01"},
    Kind.IDENTITY_PURGED: {
        "kept_until": "2055-06-30",
        "rule": "people.keep_after_leaving",
        "left_on": "2025-06-30",
    },
    Kind.INVITED: {
        "about": "missing",
        "how": "paper",
        "on": "2026-03-01",
        "letters": "l7k2m9",
    },
    Kind.OFFERED: {"disease": "hepatitis_b", "on": "2026-03-01", "informed": True},
    Kind.DOSE_RECORDED: DOSE,
    Kind.RESULT_RECORDED: RESULT,
    Kind.HISTORY_RECORDED: {
        "disease": "varicella",
        "basis": "clinician",
        "when": "1996",
        "text": "",
    },
    Kind.DECLINED: DECLINED,
    Kind.COUNSELLED: {
        "disease": "hepatitis_b",
        "on": "2026-03-01",
        "points": ["Hepatitis B can still be caught"],
        "who": "",
        "material": "leaflet and card",
        "text": "",
    },
    Kind.CONTRAINDICATED: {
        "disease": "hepatitis_b",
        "on": "2020",
        "reason": "severe allergy to an earlier dose",
        "until": None,
    },
    Kind.DOCUMENT_ATTACHED: {
        "name": "ab" * 16,
        "digest": "cd" * 32,
        "type": "application/pdf",
        "size": 1200,
        "shows": "card",
        "text": "",
    },
    Kind.EVIDENCE_VERIFIED: {"entries": [2], "seen": "original", "text": ""},
    Kind.CORRECTED: {"corrects": 2, "reason": "another year", "body": {**DOSE, "when": "2018-03"}},
    Kind.IMPORT_UNDONE: {"import": "i1", "entries": [1]},
    Kind.NOTED: {"text": "came by"},
    Kind.CERTIFIED: {
        "number": "C-K7QM-2F49",
        "restriction": "none",
        "exposure_prone": "not_stated",
        "issued_on": "2026-03-02",
        "valid_until": "2027-03-02",
        "limited_by": "longest",
        "asked": {"hepatitis_b": "yes"},
        "confirmed": True,
        "rules": "clearance_us 1 0",
        "payload": "0" * 64,
        "key": "kPrK_qmxVWaYVA9w",
        "reason": "",
    },
    Kind.CERTIFICATE_WITHDRAWN: {"number": "C-K7QM-2F49", "reason": "New name"},
    Kind.CERTIFICATE_CONFIRMED: {"number": "C-K7QM-2F49", "reason": "Still right"},
    Kind.SAMPLE_TAKEN: {"number": "S-K7QM-2F49", "on": "2026-03-02", "identified": "yes"},
    Kind.PRELIMINARY_RECORDED: {
        **RESULT,
        "message": "ab" * 32,
        "report": {
            "request": "R-1",
            "specimen": "S-K7QM-2F49",
            "status": "preliminary",
            "reported_at": "2026-03-02T08:00:00+00:00",
        },
    },
    Kind.RESULT_LOOKED_AT: {"entries": [3], "text": "Told the person; a second sample is drawn."},
    Kind.DOCUMENT_LOOKED_AT: {"document": 2, "text": "doses typed from it"},
    Kind.FITNESS_DECIDED: {
        "outcome": "fit_with_restriction",
        "restriction": "no_exposure_prone",
        "review_on": "2026-09-01",
        "rule_set": "uk_2023",
        "protocol": {"id": "fitness", "edition": "2026.1", "digest": "0" * 64},
        "proposed": {"outcome": "fit_with_restriction", "restriction": "no_exposure_prone"},
        "rules": ["HBV-04"],
        "fitness_facts": {"hbv_dna": 640.0},
        "days": {"hbv_sample": "2026-03-01"},
        "reason": "",
    },
}
"""A body that fits, for each kind."""


def write(
    store: MemoryStore[Kind],
    *drafts: tuple[Kind, dict[str, Any]],
    person: str = ONE,
    at: datetime = NOW,
) -> list[Entry[Kind]]:
    return store.append(
        person,
        [Draft(kind, at, body) for kind, body in drafts],
        expected_position=None,
        by="u1",
        role="occupational_nurse",
        now=at,
    )


def people() -> MemoryStore[Kind]:
    return MemoryStore(PEOPLE)
