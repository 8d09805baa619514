"""Which cases took something over from a person's file: what was written there is built upon."""

from __future__ import annotations

import re
from collections.abc import Mapping
from datetime import datetime

from thimble.ledger.entries import Kind
from thimble.web.models import LedgerEntry

_BEFORE = "Taken over from the register of people, file "
_FILE = re.compile(re.escape(_BEFORE) + r"(P-[0-9A-Z]{4}-[0-9A-Z]{4})")


def source_of(person: str) -> str:
    """What a case notes of where it took something over from."""
    return f"{_BEFORE}{person}"


def put_aside(person: str) -> str:
    """What a case notes where somebody looked at a person's file and wants no more of it."""
    return f"Looked at and set aside: the register of people, file {person}."


def taken_over() -> Mapping[str, Mapping[str, datetime]]:
    """For each person's file that cases took something over from: the cases, with when they last did."""
    found: dict[str, dict[str, datetime]] = {}
    kinds = (Kind.NOTED.value, Kind.DOSES_ON_RECORD.value)
    rows = LedgerEntry.objects.filter(kind__in=kinds, body__contains=_BEFORE).order_by("number")
    for case, body, at in rows.values_list("case", "body", "recorded_at"):
        for person in _FILE.findall(body):
            found.setdefault(person, {})[case] = datetime.fromisoformat(at)
    return found
