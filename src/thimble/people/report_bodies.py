"""Results of a message as the bodies of entries."""

from __future__ import annotations

from typing import Any

from thimble.clinical.serology import Status
from thimble.exchange.matching import Reported, Reports


def body_of(
    reports: Reports, reported: Reported, status: Status, day: str, message: str, looked_at: str
) -> dict[str, Any]:
    """A result drawn on a day. What nobody checked of the sample is not known."""
    quantity = reported.quantity
    body: dict[str, Any] = {
        "test": reported.test,
        "word": None if reported.word is None else reported.word.value,
        "number": None if quantity is None else quantity.number,
        "comparator": "=" if quantity is None else quantity.comparator,
        "unit": "" if quantity is None else quantity.unit,
        "when": day,
        "laboratory": reports.laboratory,
        "as_written": reported.as_sent,
        "sample": {
            "identified": reports.whose.identified,
            "drawn_here": "not_known" if reports.whose.drawn_on is None else "yes",
            "direct": "yes",
        },
        "message": message,
        "report": report_of(reported, status),
    }
    return body | ({"looked_at": looked_at} if looked_at else {})


def report_of(reported: Reported, status: Status) -> dict[str, str]:
    """Under which numbers it came, and how far the laboratory stands by it."""
    return {
        "request": reported.request,
        "specimen": reported.specimen,
        "status": status.value,
        "reported_at": reported.reported_at.isoformat(),
    }
