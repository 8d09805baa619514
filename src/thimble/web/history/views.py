"""The history of a case, whole or as it was known at a moment."""

from __future__ import annotations

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_GET

from thimble.ledger.exposed import saying
from thimble.web import clock
from thimble.web.access import needs
from thimble.web.context import get_protocol, get_site
from thimble.web.desk.handling import canonical, capabilities_of, names_of, read, rule_links
from thimble.web.desk.questions import BadAnswer, read_moment
from thimble.web.desk.reading import Reading
from thimble.web.history.page import HistoryPage, LookView
from thimble.web.models import Account, IdentityLook
from thimble.web.roles import LABELS


@never_cache
@needs("view_case")
@require_GET
def history(request: HttpRequest, ref: str) -> HttpResponse:
    """Every entry in plain words; with `day` and `clock`, as known at that moment."""
    reading = read(canonical(ref))
    site, now = get_site(), clock.now()
    day, at = request.GET.get("day", ""), request.GET.get("clock", "")
    as_of, fault = None, ""
    if at:
        try:
            as_of = read_moment(day, at, site.zone, now)
        except BadAnswer as bad:
            fault = str(bad)
        else:
            # The whole minute counts: "as known at 02:40" holds what was written in that minute.
            as_of = min(as_of.replace(second=59, microsecond=999_999), now)
            if as_of < reading.entries[0].recorded_at:
                fault = "Nothing was recorded by then. The first entry came later."
                as_of = None
    capabilities = capabilities_of(request)
    page = HistoryPage.of(
        reading.entries,
        protocol=get_protocol(),
        site=site,
        now=reading.plan.now,
        names=names_of(reading.entries),
        roles={role.value: label for role, label in LABELS.items()},
        capabilities=capabilities,
        newest_first=request.GET.get("order") != "oldest",
        as_of=as_of,
        day=day,
        clock=at,
        fault=fault,
        looks=_looks(reading) if "see_source_identity" in capabilities else None,
        link=rule_links(reading.case),
    )
    return render(request, "history/history.html", {"page": page}, status=422 if fault else 200)


def _looks(reading: Reading) -> list[LookView]:
    """Who was shown a name of this case, the newest first."""
    rows = list(IdentityLook.objects.filter(case=reading.case))
    names = dict(
        Account.objects.filter(pk__in={row.account for row in rows}).values_list(
            "pk", "display_name"
        )
    )
    return [
        LookView.of(
            row.account,
            row.whose,
            row.where,
            row.at,
            names=names,
            zone=get_site().zone,
            say=saying(reading.situation),
        )
        for row in rows
    ]
