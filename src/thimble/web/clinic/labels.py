"""Numbers of samples: each is printed for one person, and is the number of the laboratory's request."""

from __future__ import annotations

from collections.abc import Container
from datetime import datetime

from thimble.actions.reference import new_references, read_reference
from thimble.web.models import SampleNumber

PREFIX = "S-"


def new_number(person: str, session: int | None, *, by: str, now: datetime) -> str:
    """A number that no sample has, kept for a person's."""
    for each in new_references():
        row, made = SampleNumber.objects.get_or_create(
            number=PREFIX + each,
            defaults={"person": person, "session_id": session, "made_by": by, "made_at": now},
        )
        if made:
            return row.number
    raise AssertionError("references come without end")


def read_number(text: str) -> str | None:
    """A sample's number as scanned or typed; None where it is none."""
    bare = text.strip().upper()
    if not bare.startswith("S") or len(bare) < 9:
        return None
    try:
        return PREFIX + read_reference(bare[1:])
    except ValueError:
        return None


def owner_of(number: str) -> str | None:
    """The person a number was printed for."""
    row = SampleNumber.objects.filter(number=number).first()
    return row.person if row else None


def numbers_of(person: str) -> list[str]:
    """Every number that was printed for a person."""
    rows = SampleNumber.objects.filter(person=person)
    return list(rows.order_by("number").values_list("number", flat=True))


def number_for(
    person: str, session: int, used: Container[str] = (), *, by: str, now: datetime
) -> str:
    """The number of a person's sample at a session: one printed before that is not used, else a new one."""
    rows = SampleNumber.objects.filter(person=person, session=session).order_by("made_at")
    printed = (row.number for row in rows if row.number not in used)
    return next(printed, None) or new_number(person, session, by=by, now=now)
