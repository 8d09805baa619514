"""Where a request comes from, as far as it can be trusted."""

from __future__ import annotations

import hashlib
import hmac

from django.conf import settings
from django.http import HttpRequest


def address(request: HttpRequest) -> str:
    """The client's address: that which the outermost trusted proxy saw, else the connection's own.

    A client can write any X-Forwarded-For; only the last THIMBLE_PROXIES entries are ours.
    """
    proxies: int = settings.PROXIES
    if proxies:
        chain = [part.strip() for part in request.headers.get("X-Forwarded-For", "").split(",")]
        if len(chain) >= proxies and chain[-proxies]:
            return chain[-proxies]
    return str(request.META.get("REMOTE_ADDR", ""))


def address_key(request: HttpRequest) -> str:
    """A keyed digest of the address, for counting without keeping the address."""
    key = settings.SECRET_KEY.encode()
    return hmac.new(key, address(request).encode(), hashlib.sha256).hexdigest()[:32]
