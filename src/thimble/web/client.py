"""Where a request comes from, as far as it can be trusted."""

from __future__ import annotations

import hashlib
import hmac
from collections.abc import Mapping
from ipaddress import IPv6Address, IPv6Network, ip_address
from typing import Any

from django.conf import settings
from django.http import HttpRequest


def address(request: HttpRequest) -> str:
    """The client's address: that which the outermost trusted proxy saw, else the connection's own.

    A client can write any X-Forwarded-For; only the last THIMBLE_PROXIES entries are ours. Of an
    IPv6 address the network counts (its first 64 bits): a single machine has as many addresses in
    it as it likes.
    """
    proxies: int = settings.PROXIES
    if proxies:
        chain = [part.strip() for part in request.headers.get("X-Forwarded-For", "").split(",")]
        if len(chain) >= proxies and (seen := _counted(chain[-proxies])):
            return seen
    return _counted(str(request.META.get("REMOTE_ADDR", "")))


def _counted(text: str) -> str:
    """An address as it is counted, without port or zone; "" where it is none."""
    host = text
    if text.startswith("["):
        host = text[1:].partition("]")[0]
    elif text.count(":") == 1:
        host = text.partition(":")[0]
    try:
        found = ip_address(host.partition("%")[0])
    except ValueError:
        return ""
    if isinstance(found, IPv6Address):
        if found.ipv4_mapped is not None:
            return str(found.ipv4_mapped)
        return str(IPv6Network((found, 64), strict=False).network_address)
    return str(found)


def address_key(request: HttpRequest) -> str:
    """A keyed digest of the address, for counting without keeping the address."""
    return _digest(address(request))


def name_key(request: HttpRequest, credentials: Mapping[str, Any] | None = None) -> str:
    """A keyed digest of the sign-in name, for counting wrong passwords.

    Somebody in a hurry types the password where the name belongs; neither is kept.
    """
    said = credentials if credentials is not None else request.POST
    return _digest(str(said.get("username") or "").strip().lower())


def _digest(text: str) -> str:
    key = settings.SECRET_KEY.encode()
    return hmac.new(key, text.encode(errors="replace"), hashlib.sha256).hexdigest()[:32]
