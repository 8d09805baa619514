"""Immunoglobulin that a case gave, in the file of its worker too.

Its antibody is measured like a response to vaccine: whoever reads a titre in the file must see it there.
"""

from __future__ import annotations

from collections.abc import Callable
from contextlib import suppress
from datetime import datetime
from typing import Any

from thimble.actions import Refused
from thimble.actions import people as acts
from thimble.clinical.series.schedule import products
from thimble.ledger.entries import Entry
from thimble.people.entries import Kind
from thimble.people.hepatitis_b import DISEASE
from thimble.web.context import get_people, get_protocol, zone
from thimble.web.on_record.finding import on_record

WHERE = "After an exposure"


def carried(
    case: str,
    action: str,
    write: Callable[[], list[Entry]],
    *,
    batch: str,
    now: datetime,
    happened_at: datetime | None,
    by: str,
    role: str,
) -> Callable[[], list[Entry]]:
    """The write of a dose; of immunoglobulin against hepatitis B in the worker's file as well, if that is
    theirs for certain. What the file refuses, such as a dose that is there already, holds up nothing."""
    if action not in get_protocol().named_actions.get("hepatitis_b_immunoglobulin", ()):
        return write

    def both() -> list[Entry]:
        written = write()
        found = on_record(case)
        if found is not None and not found.doubt:
            at = (happened_at or now).astimezone(zone()).date()
            body: dict[str, Any] = {
                "product": next(p.cvx for p in products().values() if not p.vaccine),
                "diseases": [DISEASE],
                "when": at.isoformat(),
                "lot": batch,
                "where": WHERE,
            }
            today = now.astimezone(zone()).date()
            with suppress(Refused):
                acts.record_evidence(
                    get_people(), found.person.reference, [(Kind.DOSE_RECORDED, body)],
                    today=today, now=now, by=by, role=role,
                )  # fmt: skip
        return written

    return both
