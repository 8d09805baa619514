"""How often the same address may do something, counted in the shared cache."""

from __future__ import annotations

from django.core.cache import caches
from django.http import HttpRequest

from thimble.web import clock
from thimble.web.client import address_key


def over_limit(request: HttpRequest, *, event: str, most: int, seconds: int) -> bool:
    """Count one event of this address; whether it is one too many in the present window.

    The count is approximate under races (it may let one more through), never below the truth by
    more than the number of worker processes: enough against a flood.
    """
    window = int(clock.now().timestamp()) // seconds
    key = f"{event}:{window}:{address_key(request)}"
    cache = caches["limits"]
    if cache.add(key, 1, timeout=seconds):
        return most < 1
    try:
        return cache.incr(key) > most
    except ValueError:  # expired between the two calls
        return False
