"""Take an import back, as far as nobody wrote since."""

from __future__ import annotations

import json
from typing import Any

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_http_methods

from thimble.actions import Refused
from thimble.actions.people_import import undo_import
from thimble.ledger.store import Overtaken
from thimble.web import clock, log
from thimble.web.access import account_of, needs
from thimble.web.context import get_people, get_people_identities, looked
from thimble.web.models import PeopleImport
from thimble.web.on_record.taken import taken_over


@needs("view_people", "import_people")
@require_http_methods(["GET", "POST"])
def undo(request: HttpRequest, import_id: str) -> HttpResponse:
    """Take an import back, as far as nobody wrote since."""
    row = PeopleImport.objects.filter(pk=import_id, state=PeopleImport.APPLIED).first()
    if row is None:
        raise Http404("there is no such import to take back")
    account = account_of(request)
    context: dict[str, Any] = {"id": import_id, "told": json.loads(row.counts)}
    if request.method == "GET":
        return render(request, "people_import/undo.html", context)
    try:
        with get_people().alone():
            result = undo_import(
                get_people(),
                get_people_identities(),
                import_id,
                taken_over=taken_over(),
                now=clock.now(),
                by=account.pk,
                role=account.role,
            )
            if not result.stays and not result.used:
                row.state = PeopleImport.UNDONE
                row.save()
    except (Refused, Overtaken) as stopped:
        messages.error(request, f"Nothing was taken back: {stopped}.")
        return redirect("people_import:start")
    log.event("people_import_undone", case=import_id, account=account.pk)
    named = [*result.stays, *result.used]
    looked(request, named, whose="worker", where="import undo")
    identities = get_people_identities().some_identities(named)
    context |= {
        "done": True,
        "restored": len(result.restored),
        "gone": len(result.gone),
        "stays": [
            (ref, identities[ref].name if ref in identities else ref, count)
            for ref, count in result.stays.items()
        ],
        "used": [
            (ref, identities[ref].name if ref in identities else ref, cases)
            for ref, cases in result.used.items()
        ],
    }
    return render(request, "people_import/undo.html", context)
