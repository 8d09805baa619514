"""How often the same address may do something, and how much a request may carry."""

from __future__ import annotations

from collections.abc import Callable

from django.conf import settings
from django.core.cache import caches
from django.core.exceptions import RequestDataTooBig
from django.db import transaction
from django.http import HttpRequest, HttpResponse

from thimble.web import clock
from thimble.web.client import address_key


def over_limit(request: HttpRequest, *, event: str, most: int, seconds: int) -> bool:
    """Count one event of this address; whether it is one too many in the present window.

    The count is kept in the database, in one transaction: SQLite lets one writer in at a time, so
    that requests sent at once are all counted.
    """
    return _add(request, event, seconds, 1) > most


def give_back(request: HttpRequest, *, event: str, seconds: int) -> None:
    """Take one event back out of the present window: what was counted before it was known to be
    harmless, as a sign-in before the password is looked at."""
    _add(request, event, seconds, -1)


def _add(request: HttpRequest, event: str, seconds: int, one: int) -> int:
    window = int(clock.now().timestamp()) // seconds
    key = f"{event}:{window}:{address_key(request)}"
    cache = caches["limits"]
    with transaction.atomic():
        count: int = max(0, cache.get(key, 0) + one)
        # Not `incr`: it would cut the time that the count is kept for.
        cache.set(key, count, timeout=seconds)
    return count


class BodyLimitMiddleware:
    """Refuses a large body by its declared length, before any of it is read.

    Django's own limit leaves out files, which nothing here takes: without this a form could fill
    the disk with them. A body without a declared length is never read at all.
    """

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        try:
            length = int(request.META.get("CONTENT_LENGTH") or 0)
        except ValueError:
            length = 0
        most: int = settings.DATA_UPLOAD_MAX_MEMORY_SIZE
        if length > most:
            raise RequestDataTooBig(f"a request carries at most {most} bytes")
        return self.get_response(request)
