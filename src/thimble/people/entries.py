"""What an entry of a person's file can say. Chained and verified as those of cases (`thimble.ledger`).

A file is known by its reference. Name, birth date, number and e-mail are kept apart from it
(`thimble.actions.people_identity`), so that they can be erased when their time is over and the chain stays
whole.
"""

from __future__ import annotations

from enum import StrEnum


class Kind(StrEnum):
    """The kinds of entries of a person's file. Their bodies are in `people/bodies.py`."""

    ENROLLED = "enrolled"
    CHANGED = "changed"
    MOVED = "moved"
    LEFT = "left"
    RETURNED = "returned"
    OFFERED = "offered"
    DOSE_RECORDED = "dose_recorded"
    RESULT_RECORDED = "result_recorded"
    PRELIMINARY_RECORDED = "preliminary_recorded"
    RESULT_LOOKED_AT = "result_looked_at"
    HISTORY_RECORDED = "history_recorded"
    DECLINED = "declined"
    CONTRAINDICATED = "contraindicated"
    COUNSELLED = "counselled"
    DOCUMENT_ATTACHED = "document_attached"
    DOCUMENT_LOOKED_AT = "document_looked_at"
    SAMPLE_TAKEN = "sample_taken"
    EVIDENCE_VERIFIED = "evidence_verified"
    CORRECTED = "corrected"
    IMPORT_UNDONE = "import_undone"
    NOTED = "noted"
    CERTIFIED = "certified"
    CERTIFICATE_WITHDRAWN = "certificate_withdrawn"
    CERTIFICATE_CONFIRMED = "certificate_confirmed"
    INVITED = "invited"
    FITNESS_DECIDED = "fitness_decided"
    IDENTITY_PURGED = "identity_purged"


THEMSELF = "person"
"""Who wrote an entry, and as what, where the person did so on their own page."""

EVIDENCE = frozenset(
    {
        Kind.DOSE_RECORDED,
        Kind.RESULT_RECORDED,
        Kind.HISTORY_RECORDED,
        Kind.DECLINED,
        Kind.CONTRAINDICATED,
        Kind.COUNSELLED,
    }
)
"""What can be verified, and what a correction may take out."""

RESULTS = frozenset({Kind.RESULT_RECORDED, Kind.PRELIMINARY_RECORDED})
"""Results of a test, final or not; only final ones are evidence."""

CERTIFICATES = frozenset({Kind.CERTIFIED, Kind.CERTIFICATE_WITHDRAWN, Kind.CERTIFICATE_CONFIRMED})
"""What is written about certificates of clearance."""
