"""Scans: looked at, sealed, and given out so that they can run nothing."""

from __future__ import annotations

import hashlib
from typing import Any

from django.conf import settings
from django.http import HttpResponse

from thimble.exchange.pictures import Unreadable, without_metadata
from thimble.people.fold import Document
from thimble.web.vault import LARGEST_SCAN, Damaged, NotKept, Vault, refuse_malware, type_of

FORM_AND_SCAN = LARGEST_SCAN + 256 * 1024
"""Bytes that a form with one scan carries at most."""

_ENDINGS = {"application/pdf": "pdf", "image/jpeg": "jpg", "image/png": "png"}


def sealed(vault: Vault, content: bytes, shows: str, text: str) -> dict[str, Any]:
    """Look at a scan, take out what a camera wrote beside the picture, seal it, and give the body of its
    entry. A PDF is kept as it is.

    Raises:
        NotKept: it is no scan, too large or damaged, or the program that looks for malware refuses it.
    """
    kind = type_of(content)
    refuse_malware(content, settings.MALWARE_COMMAND)
    try:
        kept = without_metadata(content, kind)
    except Unreadable as damaged:
        raise NotKept(str(damaged)) from damaged
    return {
        "name": vault.put(kept),
        "digest": hashlib.sha256(kept).hexdigest(),
        "type": kind,
        "size": len(kept),
        "shows": shows,
        "text": text,
    }


def served(document: Document) -> HttpResponse:
    """A scan as it was attached. It is shown in no frame, runs nothing and is kept by no cache.

    Raises:
        Damaged: it is missing, or is not what was attached.
    """
    content = Vault(settings.DATA).get(document.name)
    if hashlib.sha256(content).hexdigest() != document.digest:
        raise Damaged("the scan is not the one that was attached")
    response = HttpResponse(content, content_type=document.type)
    # A picture may be looked at in its page; anything else is handed to the reader's own program.
    place = "inline" if document.type != "application/pdf" else "attachment"
    name = f"scan-{document.entry}.{_ENDINGS[document.type]}"
    response.headers["Content-Disposition"] = f'{place}; filename="{name}"'
    response.headers["Content-Security-Policy"] = "default-src 'none'; sandbox"
    response.headers["X-Content-Type-Options"] = "nosniff"
    return response
