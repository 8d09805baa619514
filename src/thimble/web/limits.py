"""How often the same address may do something, and how much a request may carry."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, TypeVar

from django.conf import settings
from django.core.cache import caches
from django.core.exceptions import RequestDataTooBig
from django.db import connection, transaction
from django.http import HttpRequest, HttpResponse
from django.http.response import HttpResponseBase

from thimble.web import clock
from thimble.web.client import address_key

View = TypeVar("View", bound=Callable[..., HttpResponseBase])


def over_limit(request: HttpRequest, *, event: str, most: int, seconds: int) -> bool:
    """Count one event of this address; whether it is one too many in the present window.

    The count is kept in the database, and one request at a time counts the same thing, so that
    requests sent at once are all counted.
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
        _alone(key)
        count: int = max(0, cache.get(key, 0) + one)
        # Not `incr`: it would cut the time that the count is kept for.
        cache.set(key, count, timeout=seconds)
    return count


def _alone(key: str) -> None:
    """Nobody else counts this until the transaction ends. SQLite lets one writer in at a time by itself."""
    if connection.vendor == "postgresql":
        with connection.cursor() as cursor:
            cursor.execute("SELECT pg_advisory_xact_lock(hashtextextended(%s, 0))", [key])


MOST = "thimble_most_bytes"
ALSO = "thimble_also_from"


def carries(
    most: int, *, also: Callable[[HttpRequest], bool] | None = None
) -> Callable[[View], View]:
    """Mark a view that takes files: a request to it carries at most so many bytes.

    Only an account sends that much; or a visitor of whom `also` is true.
    """

    def mark(view: View) -> View:
        setattr(view, MOST, most)
        setattr(view, ALSO, also)
        return view

    return mark


class BodyLimitMiddleware:
    """Refuses a large body by its declared length, before any of it is read.

    Django's own limit leaves out files: without this a form could fill the memory with them. Only a view
    marked by `carries` takes more than a form, and only from somebody who is signed in or whom the view
    knows. A body without a declared length is never read at all.
    """

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        return self.get_response(request)

    def process_view(
        self, request: HttpRequest, view: Callable[..., HttpResponse], _args: Any, _kwargs: Any
    ) -> None:
        """Comes before the check of the form's token, which is the first to read the body."""
        try:
            length = int(request.META.get("CONTENT_LENGTH") or 0)
        except ValueError:
            length = 0
        most: int = settings.DATA_UPLOAD_MAX_MEMORY_SIZE
        also: Callable[[HttpRequest], bool] | None = getattr(view, ALSO, None)
        if length > most and (
            request.user.is_authenticated or (also is not None and also(request))
        ):
            most = max(most, getattr(view, MOST, 0))
        if length > most:
            raise RequestDataTooBig(f"a request carries at most {most} bytes")
