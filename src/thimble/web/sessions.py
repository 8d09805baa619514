"""A session ends after half an hour without use, and after twelve hours in any case."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime, timedelta
from typing import Any
from urllib.parse import urlencode

from django.conf import settings
from django.contrib.auth import logout
from django.contrib.auth.signals import user_logged_in
from django.dispatch import receiver
from django.http import HttpRequest, HttpResponse, HttpResponseRedirect
from django.urls import reverse

from thimble.web import clock

BEGAN, SEEN = "began_at", "seen_at"


@receiver(user_logged_in, dispatch_uid="thimble-session-begins")
def _begin(request: HttpRequest, **_: Any) -> None:
    moment = clock.now().isoformat()
    request.session[BEGAN] = moment
    request.session[SEEN] = moment
    # Rows of sessions long over would pile up; a sign-in is rare enough to sweep them.
    request.session.clear_expired()


class SessionLimitsMiddleware:
    """Signs out whoever has been away too long, and says so."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        if not request.user.is_authenticated:
            return self.get_response(request)
        now = clock.now()
        began, seen = (_instant(request.session.get(name)) for name in (BEGAN, SEEN))
        idle = timedelta(minutes=settings.SESSION_IDLE_MINUTES)
        longest = timedelta(hours=settings.SESSION_HOURS)
        if began is None or seen is None or now - seen > idle or now - began > longest:
            return self._end(request)
        # Once a minute is enough, and spares a durable write for each page.
        if now - seen > timedelta(minutes=1):
            request.session[SEEN] = now.isoformat()
        return self.get_response(request)

    def _end(self, request: HttpRequest) -> HttpResponse:
        logout(request)
        back = request.get_full_path() if request.method == "GET" else ""
        query = {"ended": "1"} | ({"next": back} if back else {})
        address = f"{reverse('accounts:sign_in')}?{urlencode(query)}"
        if request.headers.get("HX-Request") == "true":
            return HttpResponse(status=204, headers={"HX-Redirect": address})
        return HttpResponseRedirect(address)


def _instant(text: str | None) -> datetime | None:
    return datetime.fromisoformat(text) if text else None
