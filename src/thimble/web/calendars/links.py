"""Secret addresses of calendars. The secret is shown once and never kept: only its digest is."""

from __future__ import annotations

import hashlib
import hmac
import secrets
from datetime import datetime

from django.db import transaction

from thimble.web.models import CalendarLink

SECRET_BYTES = 32
"""So many that nobody guesses one; a plain digest of it therefore tells nothing."""

_LONGEST = 64


def standing_link(case: str) -> CalendarLink | None:
    """The link of a case that is in use."""
    return CalendarLink.objects.filter(case=case, ended_at__isnull=True).first()


def make_link(case: str, *, by: str, now: datetime) -> str:
    """A new secret for a case, in place of any before it. This is the only time that it is known."""
    secret = secrets.token_urlsafe(SECRET_BYTES)
    with transaction.atomic():
        end_link(case, by=by, now=now)
        CalendarLink.objects.create(case=case, digest=_digest(secret), made_at=now, made_by=by)
    return secret


def end_link(case: str, *, by: str, now: datetime) -> bool:
    """Revoke the link of a case; whether there was one."""
    standing = CalendarLink.objects.filter(case=case, ended_at__isnull=True)
    return bool(standing.update(ended_at=now, ended_by=by))


def case_of(secret: str) -> str | None:
    """The case whose calendar this secret opens; None for any other text and for one revoked.

    It is looked up by its digest, so how long that takes tells nothing of the secret; the last
    comparison takes the same time wherever two digests part.
    """
    if not secret.isascii() or len(secret) > _LONGEST:
        return None
    digest = _digest(secret)
    link = CalendarLink.objects.filter(digest=digest, ended_at__isnull=True).first()
    if link is None or not hmac.compare_digest(link.digest, digest):
        return None
    return link.case


def _digest(secret: str) -> str:
    return hashlib.sha256(secret.encode("ascii")).hexdigest()
