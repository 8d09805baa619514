"""Typst to tagged PDF: archival (PDF/A-2b) and accessible (PDF/UA-1) at once.

Data reaches a template as one JSON text and is only ever shown, never read as markup, so nothing
that a person typed can change a page or stop it. The same data and instant give the same bytes.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from datetime import datetime
from enum import StrEnum
from functools import cache
from pathlib import Path
from typing import Any

import typst

from thimble.documents.legible import FONTS, legible_data

HERE = Path(__file__).parent


class Template(StrEnum):
    """The documents; each is the name of its folder."""

    WORKER_PLAN = "worker_plan"
    CLINICIAN_SUMMARY = "clinician_summary"
    SOURCE_REQUEST = "source_request"
    WARD_CARD = "ward_card"
    DOWNTIME_PACK = "downtime_pack"
    CLOSING_STATEMENT = "closing_statement"
    ALL_CLEAR = "all_clear"
    LETTER = "letters"
    MANY_LETTERS = "many_letters"
    CLEARANCE_CERTIFICATE = "clearance_certificate"
    LABELS = "labels"


def render(template: Template, data: Mapping[str, Any], *, at: datetime) -> bytes:
    """The document as PDF/A-2b, tagged, with only the vendored fonts, embedded.

    Args:
        template: which document.
        data: what its `data.py` returned: text, numbers, booleans, lists and mappings only.
        at: the instant written into the file as its date; aware. Nothing else reads a clock.

    Raises:
        ValueError: `at` has no zone.
        TypeError: `data` holds something that JSON cannot.
        typst.TypstError: the template itself is at fault.
    """
    if at.utcoffset() is None:
        raise ValueError(f"the date of a document needs a time zone; found {at.isoformat()}")
    try:
        return _compile(template, legible_data(data), at)
    except typst.TypstError as fault:
        if "could not be displayed" not in str(fault):
            raise
        # Letters and marks that only exist in different fonts cannot be set as one: show code points.
        return _compile(template, legible_data(data, plain=True), at)


def _compile(template: Template, data: Any, at: datetime) -> bytes:
    document = typst.compile(
        HERE / template.value / "template.typ",
        root=HERE,
        font_paths=_fonts(),
        ignore_system_fonts=True,
        sys_inputs={"data": json.dumps(data, ensure_ascii=False, sort_keys=True)},
        pdf_standards=["a-2b", "ua-1"],
        timestamp=int(at.timestamp()),
    )
    if not isinstance(document, bytes):
        raise TypeError("the compiler returned no document")
    return document


@cache
def _fonts() -> typst.Fonts:
    return typst.Fonts(
        include_system_fonts=False, include_embedded_fonts=False, font_paths=[str(FONTS)]
    )
