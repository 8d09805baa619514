"""Error pages that say what to do next.

They read nothing of the request's body: that it cannot be read may be the very error.
"""

from __future__ import annotations

from dataclasses import dataclass

from django.core.exceptions import RequestDataTooBig
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.template.loader import render_to_string

from thimble.clinical.site import SiteError
from thimble.clinical.where_to_go import where_to_go
from thimble.web import clock, log
from thimble.web.context import get_site, visitors_frame


@dataclass(frozen=True, slots=True)
class Help:
    """Where somebody goes who needs care while this page fails."""

    place: str
    where: str
    phone: str
    emergency_phone: str


def help_now() -> Help | None:
    """Where to go now, or None where the site's settings cannot be read."""
    try:
        site = get_site()
    except SiteError:
        return None
    place = where_to_go(site, clock.now()).place
    return Help(place.name, place.where, place.phone, site.emergency_phone)


def page(
    request: HttpRequest, status: int, title: str, *sentences: str, heading: str = ""
) -> HttpResponse:
    """An error page: what happened, what to do, and where to go with a fresh exposure."""
    context = {
        "title": title,
        "heading": heading or title,
        "sentences": sentences,
        "help": help_now(),
        "status": status,
    }
    try:
        return render(request, "error.html", context, status=status)
    except Exception:
        # The header asks the database who is signed in; the database may be what failed.
        text = render_to_string("error.html", context | {"frame": visitors_frame()})
        return HttpResponse(text, status=status)


def bad_request(request: HttpRequest, exception: Exception) -> HttpResponse:
    """400; 413 for more than a page takes."""
    if isinstance(exception, RequestDataTooBig):
        return page(
            request,
            413,
            "That is more than this page takes",
            "A file has at most 10 MB, a form much less. Nothing of it was kept. Go back; scan or "
            "photograph it at a lower resolution, then send it again.",
        )
    return page(
        request,
        400,
        "That could not be read",
        "The request was not in a form that this page understands. Go back and try once more.",
    )


def forbidden(request: HttpRequest, exception: Exception) -> HttpResponse:  # noqa: ARG001
    """403. Does not say whether what was asked for exists."""
    return page(
        request,
        403,
        "Your role does not open this page",
        "If your work needs it, ask whoever manages the accounts to change your role.",
    )


def not_found(request: HttpRequest, exception: Exception) -> HttpResponse:  # noqa: ARG001
    """404."""
    return page(
        request,
        404,
        "There is no such page",
        "The address may be mistyped, or the page has moved. Start again from the first page.",
    )


def server_error(request: HttpRequest) -> HttpResponse:
    """500. Nothing here may need the database."""
    return page(
        request,
        500,
        "Something went wrong here",
        "What was saved before is safe. Go back and try once more.",
        "If it fails again, work from the printed downtime pack and tell whoever looks after this "
        "system.",
    )


def form_expired(request: HttpRequest, reason: str = "") -> HttpResponse:  # noqa: ARG001
    """A form came without its proof of origin: usually it lay open too long.

    A report is shown again with all that was typed; sending it once more works.
    """
    log.event("form_expired")
    from thimble.web.report.views import shown_again

    again = shown_again(request)
    if again is not None:
        return again
    return page(
        request,
        403,
        "This page lay open too long",
        "For safety it was not sent. Go back, load the page anew and send it again. If that "
        "happens each time, this browser refuses cookies; allow them for this site.",
    )
