"""Secret addresses. The secret is shown once and never kept: only its digest is."""

from __future__ import annotations

import hashlib
import hmac
import secrets
from collections.abc import Iterable
from datetime import datetime
from typing import Any, TypeVar

from django.db import transaction

from thimble.web.models import CalendarLink, FitnessLink, PersonLink

Link = TypeVar("Link", CalendarLink, FitnessLink, PersonLink)

SECRET_BYTES = 32
"""So many that nobody guesses one; a plain digest of it therefore tells nothing."""

_LONGEST = 64


def standing_link(kind: type[Link], case: str) -> Link | None:
    """The link of a case that is in use; of several the last."""
    return kind._default_manager.filter(case=case, ended_at__isnull=True).first()


def standing_link_of_any(kind: type[Link], cases: Iterable[str]) -> Link | None:
    """The link in use of whichever of these cases has one; of several, that of the first."""
    found = (standing_link(kind, case) for case in cases)
    return next((link for link in found if link is not None), None)


def make_link(kind: type[Link], case: str, *, by: str, now: datetime, **more: Any) -> str:
    """A new secret for a case, in place of any before it. This is the only time that it is known.

    `more` are the fields that this kind has beside those of every link.
    """
    with transaction.atomic():
        end_link(kind, case, by=by, now=now)
        return add_link(kind, case, by=by, now=now, **more)


def add_link(kind: type[Link], case: str, *, by: str, now: datetime, **more: Any) -> str:
    """As `make_link`, beside those that stand: for a kind of which a case may have several."""
    secret = secrets.token_urlsafe(SECRET_BYTES)
    kind._default_manager.create(case=case, digest=_digest(secret), made_at=now, made_by=by, **more)
    return secret


def end_link(kind: type[Link], case: str, *, by: str, now: datetime) -> bool:
    """Revoke every link of a case; whether there was one."""
    standing = kind._default_manager.filter(case=case, ended_at__isnull=True)
    return bool(standing.update(ended_at=now, ended_by=by))


def end_one(kind: type[Link], secret: str, *, by: str, now: datetime) -> None:
    """Revoke the link of this secret alone."""
    standing = kind._default_manager.filter(digest=_digest(secret), ended_at__isnull=True)
    standing.update(ended_at=now, ended_by=by)


def link_of(kind: type[Link], secret: str) -> Link | None:
    """The link that this secret opens; None for any other text and for one revoked.

    It is looked up by its digest, so how long that takes tells nothing of the secret; the last
    comparison takes the same time wherever two digests part.
    """
    if not secret.isascii() or len(secret) > _LONGEST:
        return None
    digest = _digest(secret)
    link = kind._default_manager.filter(digest=digest, ended_at__isnull=True).first()
    if link is None or not hmac.compare_digest(link.digest, digest):
        return None
    return link


def _digest(secret: str) -> str:
    return hashlib.sha256(secret.encode("ascii")).hexdigest()
