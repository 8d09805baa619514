"""The safety officer's overview: counts alone."""

from __future__ import annotations

from functools import lru_cache

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_GET

from thimble.clinical.vocabulary import vocabulary
from thimble.ledger.entries import instant
from thimble.web import clock
from thimble.web.access import needs
from thimble.web.context import get_store, zone
from thimble.web.models import LedgerEntry
from thimble.web.safety.overview import Overview, Period, exposures, overview, period_at
from thimble.web.safety.small_cells import THRESHOLD


@needs("view_safety_overview")
@require_GET
def overview_page(request: HttpRequest) -> HttpResponse:
    """Exposures of twelve complete months, without identities."""
    period = period_at(clock.now(), zone())
    last = (
        LedgerEntry.objects.filter(recorded_at__lt=instant(period.end))
        .order_by("-number")
        .values_list("digest", flat=True)
        .first()
    )
    context = {"overview": _counted(period, last or ""), "threshold": THRESHOLD}
    return render(request, "safety/overview.html", context)


@lru_cache(maxsize=4)
def _counted(period: Period, last_digest: str) -> Overview:
    """Counted once: what was recorded before the end of a period never changes."""
    del last_digest  # tells one ledger, and one end of it, from another
    words = vocabulary()
    found = exposures(get_store().all_entries(), period, words, zone())
    return overview(found, period, words)
