"""What the body of each kind of entry of a person's file must hold, and the ledger of people itself."""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import Any

from thimble.clinical.diseases import DISEASES
from thimble.clinical.series import PartialDate
from thimble.clinical.serology.results import COMPARATORS, Status, Word
from thimble.ledger import bodies as cases
from thimble.ledger import checks
from thimble.ledger.checks import MAY, SAY, Key, list_of, map_of, one_of, or_null
from thimble.ledger.entries import Kind as CaseKind
from thimble.ledger.store import Book
from thimble.people import choices
from thimble.people.certificates.limits import LIMITS
from thimble.people.certificates.stating import NUMBER, RESTRICTIONS, Statement
from thimble.people.entries import RESULTS, Kind

SAMPLE = re.compile(r"S-[2-9A-Z]{4}-[2-9A-Z]{4}", re.A)
"""The number of a sample."""

GTIN = re.compile(r"[0-9]{14}", re.A)
"""The product number of a package."""

IDENTITY_FIELDS = ("number", "family_name", "given_name", "birth_date", "email")
"""What is kept apart from the chain; an entry says at most which of them changed, never to what."""


def partial_day(path: str, value: object) -> list[str]:
    """`2019-03-14`, or as much of it as is known: `2019-03`, `2019`."""
    try:
        PartialDate.parse(value if isinstance(value, str) else "")
    except ValueError:
        return [
            f"{path} is a day such as 2019-03-14, or 2019-03 or 2019 where no more is known; "
            f"found {value!r}"
        ]
    return []


def _sample(path: str, value: object) -> list[str]:
    if not isinstance(value, str) or SAMPLE.fullmatch(value) is None:
        return [f"{path} is the number of a sample, such as S-K7QM-2F49; found {value!r}"]
    return []


def _gtin(path: str, value: object) -> list[str]:
    if not isinstance(value, str) or GTIN.fullmatch(value) is None:
        return [f"{path} is the number of a package (GTIN), of 14 digits; found {value!r}"]
    return []


def _categories(path: str, value: object) -> list[str]:
    if not isinstance(value, Mapping):
        return [f"{path} maps schemes to categories; found {value!r}"]
    faults: list[str] = []
    for scheme, category in value.items():
        if scheme not in choices.SCHEMES:
            faults.append(f"{path}: {scheme} is no scheme; there are {', '.join(choices.SCHEMES)}")
        else:
            faults += one_of(choices.SCHEMES[scheme][1])(f"{path}.{scheme}", category)
    return faults


def _number(path: str, value: object) -> list[str]:
    if not isinstance(value, str) or not NUMBER.fullmatch(value):
        return [f"{path} is the number of a certificate; found {value!r}"]
    return []


def _asked(path: str, value: object) -> list[str]:
    if not isinstance(value, Mapping):
        return [f"{path} maps diseases to yes, no or not_judged; found {value!r}"]
    told = one_of(("yes", "no", "not_judged"))
    return [
        fault
        for disease, met in value.items()
        for fault in (*one_of(tuple(DISEASES))(path, disease), *told(f"{path}.{disease}", met))
    ]


_DAY = Key(or_null(checks.day))
_WHEN = Key(or_null(partial_day))
_DISEASE = one_of(tuple(DISEASES))
_POSITIONS = Key(list_of(checks.whole(low=1), least=1))
_DOCUMENT = Key(checks.whole(low=1), required=False)
_IMPORT = Key(checks.id_, required=False)
# Where it stood in a list that was imported: the SHA-256 of the file, and the row. Nobody verified it.
_ROW = Key(
    map_of({"file": Key(checks.digest), "row": Key(checks.whole(low=1))}),
    required=False,
)
_LISTED = {"import": _IMPORT, "list": _ROW}
# The session at which it was done.
_SESSION = Key(checks.whole(low=1), required=False)
_IDENTITY = Key(list_of(one_of(IDENTITY_FIELDS)), required=False)
_PLACES = {"role": Key(MAY), "site": Key(MAY), "department": Key(MAY), "cohort": Key(MAY)}
_EMPLOYMENT = {
    "works_as": Key(one_of(tuple(choices.WORKS_AS))),
    **_PLACES,
    "starts_on": _DAY,
    "ends_on": _DAY,
    "exposure_prone": Key(one_of(tuple(choices.EXPOSURE_PRONE))),
    "categories": Key(_categories),
}
# By which message a result came (SHA-256 of its bytes as they came), under which numbers, and how far the
# laboratory stood by it.
_MESSAGE = Key(checks.digest, required=False)
_REPORT = Key(
    map_of(
        {
            "request": Key(MAY),
            "specimen": Key(MAY),
            "status": Key(one_of(tuple(Status))),
            "reported_at": Key(checks.instant),
        }
    ),
    required=False,
)
_RESULT = {
    "test": Key(one_of(tuple(choices.TESTS))),
    "word": Key(or_null(one_of(tuple(Word)))),
    "number": Key(or_null(checks.number)),
    "comparator": Key(one_of(COMPARATORS)),
    "unit": Key(MAY),
    "when": _WHEN,
    "laboratory": Key(MAY),
    "as_written": Key(MAY),
    # Each of `choices.SAMPLE_CHECKS`.
    "sample": Key(
        map_of({name: Key(one_of(tuple(choices.YES_NO))) for name in choices.SAMPLE_CHECKS})
    ),
    "document": _DOCUMENT,
    "message": _MESSAGE,
    "report": _REPORT,
    # Why it is on record although something seemed not right, or how somebody knew whose it is.
    "looked_at": Key(SAY, required=False),
}

BODIES: Mapping[Kind, Mapping[str, Key]] = {
    Kind.ENROLLED: {**_EMPLOYMENT, "import": _IMPORT},
    # Only what changed; `identity` names fields that are kept apart.
    Kind.CHANGED: {
        **{name: Key(key.check, required=False) for name, key in _EMPLOYMENT.items()},
        "identity": _IDENTITY,
        "import": _IMPORT,
    },
    Kind.MOVED: {
        **{name: Key(key.check, required=False) for name, key in _PLACES.items()},
        "on": _DAY,
        "import": _IMPORT,
    },
    Kind.LEFT: {"on": Key(checks.day), "import": _IMPORT},
    Kind.RETURNED: {"on": Key(checks.day), "import": _IMPORT},
    Kind.OFFERED: {
        "disease": Key(_DISEASE),
        "on": Key(checks.day),
        "informed": Key(checks.boolean),
        "how": Key(one_of(tuple(choices.OFFERED_BY)), required=False),
        "letters": Key(checks.id_, required=False),
    },
    # `product` is a CVX code, or null for a product that nobody knows; then `diseases` say what for.
    Kind.DOSE_RECORDED: {
        "product": Key(or_null(checks.code)),
        "diseases": Key(list_of(_DISEASE, least=1)),
        "when": _WHEN,
        "lot": Key(MAY),
        # The number of its package, where it was scanned.
        "gtin": Key(_gtin, required=False),
        "where": Key(MAY),
        "document": _DOCUMENT,
        # Written where and when it was given, by whoever gave it.
        "given_here": Key(checks.boolean, required=False),
        "session": _SESSION,
        # What the person was asked before a live vaccine by whoever gave it, and what they said.
        "asked": Key(
            map_of({"about": Key(SAY), "answer": Key(one_of(tuple(choices.YES_NO)))}),
            required=False,
        ),
        # What spoke against it, and why it was given all the same.
        "despite": Key(list_of(SAY, least=1), required=False),
        "reason": Key(SAY, required=False),
        **_LISTED,
    },
    # A sample that was drawn here; its number is the one that the laboratory's request carries.
    Kind.SAMPLE_TAKEN: {
        "number": Key(_sample),
        "on": Key(checks.day),
        "identified": Key(one_of(tuple(choices.YES_NO))),
        "session": _SESSION,
    },
    Kind.RESULT_RECORDED: {**_RESULT, **_LISTED},
    # The laboratory's word so far: shown, and counted nowhere until it is final.
    Kind.PRELIMINARY_RECORDED: _RESULT,
    # Somebody saw what the laboratory's messages brought; `text` says what was done about it.
    Kind.RESULT_LOOKED_AT: {"entries": _POSITIONS, "text": Key(SAY)},
    Kind.HISTORY_RECORDED: {
        "disease": Key(_DISEASE),
        "basis": Key(one_of(tuple(choices.HISTORY))),
        "when": _WHEN,
        "text": Key(MAY),
        "document": _DOCUMENT,
    },
    Kind.DECLINED: {
        "what": Key(one_of(("vaccine", "test"))),
        "disease": Key(_DISEASE),
        "on": Key(checks.day),
        "informed": Key(checks.boolean),
        "signed": Key(one_of((*choices.SIGNED, choices.NOT_KNOWN))),
        "reason": Key(MAY),
        "document": _DOCUMENT,
        **_LISTED,
    },
    Kind.CONTRAINDICATED: {
        "disease": Key(_DISEASE),
        "on": _WHEN,
        "reason": Key(SAY),
        "until": _WHEN,
        "document": _DOCUMENT,
        **_LISTED,
    },
    # What somebody who did not respond to the vaccine was told, in words. `who` talked, "" for whoever
    # writes it down; `material` is what was handed out.
    Kind.COUNSELLED: {
        "disease": Key(_DISEASE),
        "on": Key(checks.day),
        "points": Key(list_of(SAY, least=1)),
        "who": Key(MAY),
        "material": Key(SAY),
        "text": Key(MAY),
        "document": _DOCUMENT,
    },
    # The file lies apart under `name`; `digest` (SHA-256 of its content) shows that it is the same.
    Kind.DOCUMENT_ATTACHED: {
        "name": Key(checks.digest),
        "digest": Key(checks.digest),
        "type": Key(one_of(tuple(choices.FILE_TYPES))),
        "size": Key(checks.whole(low=1)),
        "shows": Key(one_of(tuple(choices.DOCUMENTS))),
        "text": Key(MAY),
    },
    # Somebody of the department looked at a scan that the person brought; `text` says what became of it.
    Kind.DOCUMENT_LOOKED_AT: {"document": Key(checks.whole(low=1)), "text": Key(MAY)},
    Kind.EVIDENCE_VERIFIED: {
        "entries": _POSITIONS,
        "seen": Key(one_of(tuple(choices.SEEN))),
        "text": Key(MAY),
    },
    Kind.CORRECTED: {
        "corrects": Key(checks.whole(low=1)),
        "reason": Key(SAY),
        "body": Key(checks.whole_body, required=False),
        "withdrawn": Key(checks.boolean, required=False),
        # Where the laboratory itself took a result back or set it right.
        "message": _MESSAGE,
        "report": _REPORT,
    },
    # Everything that one import wrote in this file is taken back.
    Kind.IMPORT_UNDONE: {"import": Key(checks.id_), "entries": _POSITIONS},
    Kind.NOTED: {"text": Key(SAY)},
    # What was stated in terms of work; `payload` is the SHA-256 of what was signed with `key`. Name, birth
    # date and the signed text lie apart, so that they can be erased.
    Kind.CERTIFIED: {
        "number": Key(_number),
        "restriction": Key(one_of(tuple(RESTRICTIONS))),
        "exposure_prone": Key(SAY),
        "issued_on": Key(checks.day),
        "valid_until": Key(checks.day),
        "limited_by": Key(one_of(tuple(LIMITS))),
        "asked": Key(_asked),
        "confirmed": Key(checks.boolean),
        "rules": Key(SAY),
        "payload": Key(checks.digest),
        "key": Key(SAY),
        "reason": Key(MAY),
    },
    Kind.CERTIFICATE_WITHDRAWN: {"number": Key(_number), "reason": Key(SAY)},
    # Somebody looked at what is new in the file and found that the certificate holds still, if there is one
    # also in spite of a restriction in force that it does not state.
    Kind.CERTIFICATE_CONFIRMED: {
        "number": Key(_number),
        "reason": Key(SAY),
        "in_spite_of": Key(one_of(tuple(RESTRICTIONS)), required=False),
    },
    # A letter or mail went out; `letters` is the run that it was made in (see `web/cohort`), `offers` the
    # diseases against which it offers vaccine.
    Kind.INVITED: {
        "about": Key(one_of(tuple(choices.LETTERS))),
        "how": Key(one_of(tuple(choices.LETTER_BY))),
        "on": Key(checks.day),
        "letters": Key(checks.id_),
        "offers": Key(list_of(_DISEASE), required=False),
    },
    # A decision about fitness without an exposure, as it is written in a case.
    Kind.FITNESS_DECIDED: cases.BODIES[CaseKind.FITNESS_DECIDED],
    # Name, number, birth date, address, scans and papers are erased; `kept_until` was the last day.
    Kind.IDENTITY_PURGED: cases.BODIES[CaseKind.WORKER_IDENTITY_PURGED],
}
"""The keys of each kind's body. Every key is required unless marked otherwise."""


def faults_of(kind: Kind, body: Mapping[str, Any]) -> list[str]:
    """Everything that is wrong with a body, as sentences that begin with the kind; none if it fits."""
    faults = map_of(BODIES[kind])("", body) or _across(kind, body)
    return [f"{kind.value}: {fault}" for fault in faults]


def _across(kind: Kind, body: Mapping[str, Any]) -> list[str]:
    """What one key says about another."""
    if kind is Kind.ENROLLED:
        return _in_order(body.get("starts_on"), body.get("ends_on"))
    if kind in {Kind.CHANGED, Kind.MOVED} and not set(body) - {"import", "on"}:
        return ["it must say what changed; found nothing"]
    if kind in RESULTS and body["word"] is None and body["number"] is None:
        return ["a result has a word or a number; found neither"]
    if kind is Kind.CORRECTED and ("body" in body) == bool(body.get("withdrawn")):
        return ["a correction has a body, or withdrawn = true; one of the two"]
    if kind is Kind.CERTIFIED:
        return _stated(body)
    if kind is Kind.FITNESS_DECIDED:
        return cases.fitness_fits(body)
    return []


def _stated(body: Mapping[str, Any]) -> list[str]:
    try:
        Statement(body["restriction"], body["exposure_prone"])
    except ValueError as fault:
        return [str(fault)]
    if body["valid_until"] < body["issued_on"]:
        return [
            "a certificate holds at least on the day of its issue; found "
            f"{body['issued_on']} to {body['valid_until']}"
        ]
    return []


def _in_order(starts_on: str | None, ends_on: str | None) -> list[str]:
    if starts_on and ends_on and ends_on < starts_on:
        return [f"somebody leaves no earlier than they start; found {starts_on} to {ends_on}"]
    return []


PEOPLE: Book[Kind] = Book("people", "person", Kind, faults_of)
"""The ledger of people."""
