"""The recall list, part by part."""

from __future__ import annotations

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_GET

from thimble.web import clock
from thimble.web.access import can, needs
from thimble.web.context import (
    get_identities,
    get_ladder,
    get_protocol,
    get_site,
    get_store,
    looked,
)
from thimble.web.visits.recall import lines, page


@never_cache
@needs("view_worklist")
@require_GET
def recall(request: HttpRequest) -> HttpResponse:
    """Whom to expect, whom to call: overdue first. All parts from their start, or one part in pages."""
    now, site = clock.now(), get_site()
    lines.refresh(get_store(), get_protocol(), site, get_ladder(), now)
    counts = lines.counts()
    only = request.GET.get("part", "")
    start = int(text) if (text := request.GET.get("from", "")).isdecimal() and len(text) < 9 else 0
    shown = {
        part: lines.listed(part, start if only else 0, page.MOST_ROWS, zone=site.zone, now=now)
        for part in counts
        if only in ("", part)
    }
    people: dict[str, tuple[str, str]] = {}
    if can(request, "see_worker_identity") and "names" in request.GET:
        cases = [row.case for rows in shown.values() for row in rows]
        workers = get_identities().workers(cases)
        people = {ref: (worker.name, worker.phone) for ref, worker in workers.items()}
        looked(
            request,
            [ref for ref, (name, _) in people.items() if name],
            whose="worker",
            where="recall",
        )
    return render(
        request, "visits/recall.html",
        {
            "parts": page.recall(
                shown, counts, now, site.zone, people, start=start if only else 0
            ),
            "only": only,
            "named_address": _other_way(request, named=bool(people)),
            "count": sum(counts.values()),
            "named": bool(people),
            "may_name": can(request, "see_worker_identity"),
        },
    )  # fmt: skip


def _other_way(request: HttpRequest, *, named: bool) -> str:
    """The address of the same rows with names where they have none, and without where they have."""
    query = request.GET.copy()
    query.pop("names", None)
    if not named:
        query["names"] = "1"
    return f"?{query.urlencode()}" if query else reverse("visits:recall")
