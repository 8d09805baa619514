"""The worklist and the shift handover."""

from __future__ import annotations

from functools import lru_cache

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.template.loader import get_template
from django.urls import reverse
from django.utils.safestring import SafeString, mark_safe
from django.views.decorators.http import require_GET, require_http_methods

from thimble.clinical.vocabulary import vocabulary
from thimble.web import clock
from thimble.web.access import can, needs
from thimble.web.context import get_identities, get_site, looked, zone
from thimble.web.models import LastLook
from thimble.web.stock.telling import shelf_alerts
from thimble.web.worklist import page
from thimble.web.worklist.board import standings
from thimble.web.worklist.cases import FILTERS, passes, seen_of
from thimble.web.worklist.handover import SHIFT
from thimble.web.worklist.handover import handover as handed_over
from thimble.web.worklist.search import LEAST, find

_PLACEHOLDER = "2222-2222"


@needs("view_worklist")
@require_http_methods(["GET", "POST"])
def worklist(request: HttpRequest) -> HttpResponse:
    """Everyone's next thing. A search is sent as a form, so that no name stands in an address."""
    now = clock.now()
    may_name = can(request, "see_worker_identity")
    with_source = can(request, "see_source")
    looks = dict(
        LastLook.objects.filter(account_id=request.user.pk).values_list("case", "position")
    )
    words = vocabulary()
    cases = seen_of(standings(now), looks, now, words)

    show = request.GET.get("show", "all")
    if show not in FILTERS or (show == "source" and not with_source):
        show = "all"
    typed = request.POST.get("q", "").strip()[:80] if request.method == "POST" else ""
    searched = request.method == "POST"
    sentence = ""
    names: dict[str, str] = {}
    if searched:
        references = [seen.reference for seen in cases]
        workers = get_identities().workers(references) if may_name else None
        found = find(typed, references, workers)
        sentence = found.sentence
        chosen = [seen for seen in cases if seen.reference in found.cases]
        names = {case: workers[case].name for case in found.cases if workers and case in workers}
    else:
        chosen = [seen for seen in cases if passes(seen, show)]
        if may_name and "names" in request.GET:
            workers = get_identities().workers([seen.reference for seen in chosen])
            names = {case: worker.name for case, worker in workers.items()}

    looked(
        request, (case for case, name in names.items() if name), whose="worker", where="worklist"
    )

    parts = page.parts(chosen, now, zone(), words, with_source=with_source, names=names)
    address = case_address()
    context = {
        "parts": [
            {
                "group": part.group,
                "title": part.title,
                "count": len(part.rows),
                "rows": [row_markup(row, *address) for row in part.rows],
            }
            for part in parts
        ],
        "filters": page.filters(cases, show if not searched else "", with_source=with_source),
        "show": show,
        "label": FILTERS[show],
        "searched": searched,
        "typed": typed,
        "sentence": sentence,
        "found": len(chosen),
        "open_count": sum(seen.standing.open for seen in cases),
        "may_name": may_name,
        "names_shown": bool(names) or "names" in request.GET,
        "least": LEAST,
        "stock_alerts": shelf_alerts(now) if can(request, "keep_stock") else (),
        "now": now,
    }
    return render(request, "worklist/worklist.html", context)


def row_markup(row: page.Row, before: str, after: str) -> SafeString:
    """A row as markup. Most rows read the same from one minute, and one reader, to the next, and
    are kept; a row with a name is made anew each time, so that no name stays in memory."""
    return _row(row, before, after) if row.name else _kept_row(row, before, after)


def _row(row: page.Row, before: str, after: str) -> SafeString:
    context = {"row": row, "before": before, "after": after}
    return mark_safe(get_template("worklist/_row.html").render(context))  # noqa: S308


_kept_row = lru_cache(maxsize=4096)(_row)


@needs("view_worklist")
@require_GET
def handover(request: HttpRequest) -> HttpResponse:
    """Every open case in few words, to print or to read aloud when the shift changes. No names."""
    now = clock.now()
    words = vocabulary()
    cases = seen_of(standings(now), {}, now, words)
    site = get_site()
    before, after = case_address()
    context = {
        "handover": handed_over(cases, now, zone(), words, with_source=can(request, "see_source")),
        "site": site,
        "now": now,
        "shift_hours": int(SHIFT.total_seconds() // 3600),
        "case_before": before,
        "case_after": after,
    }
    return render(request, "worklist/handover.html", context)


def case_address() -> tuple[str, str]:
    """What stands before and after a reference in the address of its case.

    One address made once, for a list of many.
    """
    before, _, after = reverse("desk:case", args=[_PLACEHOLDER]).partition(_PLACEHOLDER)
    return before, after
