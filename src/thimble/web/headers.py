"""Headers that no other middleware sets."""

from __future__ import annotations

from collections.abc import Callable

from django.http import HttpRequest, HttpResponse


class HeadersMiddleware:
    """Pages are never kept by a browser or proxy (a shared ward PC has a back button), and the
    browser lends no camera, location or the like."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        response = self.get_response(request)
        response.headers.setdefault("Cache-Control", "no-store, private")
        response.headers.setdefault(
            "Permissions-Policy",
            "camera=(), geolocation=(), microphone=(), payment=(), usb=(), interest-cohort=()",
        )
        response.headers.setdefault("Cross-Origin-Resource-Policy", "same-origin")
        response.headers.setdefault("X-Robots-Tag", "noindex, nofollow")
        return response
