"""Where things stand with the source patient, and who that is. Each look at the identity is logged."""

from __future__ import annotations

from dataclasses import asdict

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.views.decorators.cache import never_cache
from django.views.decorators.debug import sensitive_post_parameters
from django.views.decorators.http import require_GET, require_http_methods

from thimble.web import clock, log
from thimble.web.access import can, needs
from thimble.web.context import get_identities
from thimble.web.context import looked as record_look
from thimble.web.desk.handling import (
    canonical,
    go,
    read,
    since_of,
)
from thimble.web.source.forms import IdentityForm
from thimble.web.source.responding import show


@never_cache
@needs("view_case", "see_source")
@require_GET
def source(request: HttpRequest, ref: str) -> HttpResponse:
    """Where things stand with the source patient."""
    reading = read(canonical(ref))
    return show(request, reading, since=since_of(request))


@never_cache
@needs("view_case", "see_source", "see_source_identity")
@sensitive_post_parameters()
@require_http_methods(["GET", "POST"])
def identity(request: HttpRequest, ref: str) -> HttpResponse:
    """Who the source patient is. Each look is on record, by account and case, without the name."""
    reading = read(canonical(ref))
    identities = get_identities()
    known = identities.source(reading.case)
    if request.method == "POST":
        if not can(request, "record_facts"):
            raise Http404
        form = IdentityForm(request.POST)
        if form.is_valid():
            identities.save_source(
                reading.case, form.identity(), by=str(request.user.pk), now=clock.now()
            )
            log.event("source_identity_saved", case=reading.case, account=str(request.user.pk))
            messages.info(request, "Saved, apart from the record of the case.")
            return go(request, reverse("source:source", args=[reading.case]))
        status = 422
    else:
        form = IdentityForm(initial=asdict(known) if known is not None else None)
        if known is not None:
            record_look(request, [reading.case], whose="source", where="source")
        log.event("source_identity_viewed", case=reading.case, account=str(request.user.pk))
        status = 200
    context = {"form": form, "case": reading.case, "known": known is not None}
    return render(request, "source/identity.html", context, status=status)
