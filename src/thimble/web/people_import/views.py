"""Bring a list of people in: send it, say what its columns are, look at every row, write, take back."""

from __future__ import annotations

import json
import re
from dataclasses import replace
from typing import Any

from django.conf import settings
from django.contrib import messages
from django.core.paginator import Paginator
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from thimble.actions import Refused
from thimble.actions.people_import import apply_import, new_import_id
from thimble.clinical.diseases import DISEASES
from thimble.exchange.sheets import (
    LARGEST_FILE,
    Sheet,
    SheetFault,
    read_sheets,
)
from thimble.exchange.sheets.model import DAY_ZERO
from thimble.ledger.store import Overtaken
from thimble.people.choices import WORKS_AS
from thimble.people.importing import Fate
from thimble.people.importing.on_file import ALSO, SAME
from thimble.web import clock, log
from thimble.web.access import account_of, needs
from thimble.web.context import get_people, get_people_identities, looked, zone
from thimble.web.limits import carries
from thimble.web.models import Account, PeopleImport
from thimble.web.people.forms import ORDERS, content_of
from thimble.web.people_import import keeping, page
from thimble.web.people_import.keeping import opened
from thimble.web.people_import.plan import Plan, first_plan, from_form
from thimble.web.tables import xlsx_file
from thimble.web.vault import NotKept, Vault, refuse_malware
from thimble.web.words import moment

ROWS = 50
"""Rows on a page."""
_ROW, _CELL = re.compile(r"row-([0-9]{1,7})"), re.compile(r"cell-([A-Z]{1,2}[0-9]{1,7})")


@needs("view_people", "import_people")
@carries(LARGEST_FILE + 64 * 1024)
@require_http_methods(["GET", "POST"])
def start(request: HttpRequest) -> HttpResponse:
    """Send a file; and the imports there were."""
    keeping.forget_old()
    fault = ""
    if request.method == "POST":
        upload = request.FILES.get("file")
        try:
            if upload is None:
                raise SheetFault("Choose a file.")
            content = content_of(upload)
            sheets = read_sheets(content)
            refuse_malware(content, settings.MALWARE_COMMAND)
        except (SheetFault, NotKept) as refused:
            fault = str(refused)
        else:
            made = PeopleImport(
                id=new_import_id(),
                by=account_of(request).pk,
                at=clock.now(),
                file=Vault(settings.DATA).put(content),
                size=len(content),
                plan=first_plan(sheets).to_json(),
            )
            made.save(force_insert=True)
            log.event("people_import_sent", case=made.pk, account=made.by)
            return redirect("people_import:look", made.pk)
    context = {"fault": fault, "imports": _past()}
    return render(request, "people_import/start.html", context, status=422 if fault else 200)


def _past() -> list[dict[str, Any]]:
    names = dict(Account.objects.values_list("pk", "display_name"))
    words = {"open": "being looked at", "applied": "written", "undone": "taken back"}
    return [
        {
            "id": row.pk,
            "when": moment(row.at, None, zone()),
            "by": names.get(row.by, row.by),
            "state": words[row.state],
            "told": ", ".join(f"{n} {what}" for what, n in json.loads(row.counts).items()),
            "open": row.state == PeopleImport.OPEN,
            "applied": row.state == PeopleImport.APPLIED,
        }
        for row in PeopleImport.objects.exclude(state=PeopleImport.DROPPED)[:30]
    ]


@needs("view_people", "import_people")
@require_GET
def look(request: HttpRequest, import_id: str) -> HttpResponse:
    """The columns, and the fate of every row. Nothing is written by looking."""
    sheets, plan, _ = opened(import_id)
    sheet = sheets[plan.sheet]
    faults = plan.columns.faults()
    context: dict[str, Any] = {
        "id": import_id,
        "sheets": [(at, each.name, at == plan.sheet) for at, each in enumerate(sheets)],
        "sheet": sheet,
        "plan": plan,
        "columns": page.columns_of(sheet, plan),
        "groups": page.GROUPS,
        "diseases": list(DISEASES.items()),
        "orders": [(id_, words, id_ == plan.columns.order) for id_, words in ORDERS.items()],
        "works_as": list(WORKS_AS.items()),
        "faults": faults,
        "ready": False,
    }
    if not faults:
        context |= _seen(request, sheet, plan)
    return render(request, "people_import/look.html", context)


def _seen(request: HttpRequest, sheet: Sheet, plan: Plan) -> dict[str, Any]:
    seen, identities = keeping.previewed(sheet, plan)
    counts = page.counts_of(seen)
    show = request.GET.get("show", "")
    if show not in {"all", *(id_ for id_, *_ in counts)}:
        show = counts[0][0] if counts else "all"
    shown = Paginator(page.shown_in(seen, show), ROWS).get_page(request.GET.get("page"))
    asked = {ref for row in shown for ref in (*row.candidates, row.person) if ref}
    looked(request, asked, whose="worker", where="import")
    to_write = sum(row.writes for row in seen.rows)
    lines = [page.line(row, identities, plan) for row in shown]
    return {
        "counts": counts,
        "show": show,
        "meaning": page.FATES[Fate(show)][1] if show != "all" else "",
        "lines": lines,
        "deciding": any(line.asks for line in lines),
        "decided": any(line.decision or line.decided for line in lines),
        "shown": shown,
        "total": len(seen.rows),
        "absent": len(seen.absent),
        "cautions": seen.cautions,
        "to_write": to_write,
        "asked": seen.counts[Fate.ASK],
        "many_questions": sum(len(line.questions) for line in lines) > 1,
        # A bare number of a workbook that counts from 1904 would be another day in a new one.
        "refused": seen.counts[Fate.REFUSED] and sheet.day_zero == DAY_ZERO,
        "pieces": sum(len(row.pieces) for row in seen.rows),
        "by_number_alone": plan.columns.of_the_register
        and not set(plan.columns.fields.values()) & {"birth_date", "family_name", "full_name"},
        "digest": seen.digest,
        "ready": bool(to_write) and not seen.counts[Fate.ASK],
    }


@needs("view_people", "import_people")
@require_POST
def columns(request: HttpRequest, import_id: str) -> HttpResponse:
    """Say what the columns are."""
    sheets, _, _ = opened(import_id)
    keeping.plan_anew(import_id, lambda plan: from_form(request.POST.dict(), sheets, plan))
    return redirect("people_import:look", import_id)


@needs("view_people", "import_people")
@require_POST
def decide(request: HttpRequest, import_id: str) -> HttpResponse:
    """Say of rows whether they are somebody in the register, somebody else, or to be left out; of cells
    whether their evidence is on file already."""
    said: dict[int, str] = {}
    cells: dict[str, str] = {}
    for name, value in request.POST.items():
        if row := _ROW.fullmatch(name):
            said[int(row[1])] = str(value)[:40]
        elif cell := _CELL.fullmatch(name):
            cells[cell[1]] = str(value)[:10]
    if (every := request.POST.get("every", "")) in (ALSO, SAME):
        # One answer for all that the page asks about and that has none of its own.
        asked = (f"cell-{cell}" for cell in request.POST.getlist("asked"))
        cells = {c[1]: every for name in asked if (c := _CELL.fullmatch(name))} | cells

    def decided(plan: Plan) -> Plan:
        decisions = {row: what for row, what in ({**plan.decisions, **said}).items() if what}
        of_cells = {cell: what for cell, what in ({**plan.cells, **cells}).items() if what}
        return replace(plan, decisions=decisions, cells=of_cells)

    keeping.plan_anew(import_id, decided)
    return redirect("people_import:look", import_id)


@needs("view_people", "import_people")
@require_POST
def write(request: HttpRequest, import_id: str) -> HttpResponse:
    """Write what was shown, all of it or nothing."""
    sheets, plan, digest = opened(import_id)
    account = account_of(request)
    try:
        # Whoever writes in the register meanwhile waits, or was seen.
        with get_people().alone():
            row = keeping.held(import_id)
            if row is None:
                raise Http404("this import was written already")
            seen, _ = keeping.previewed(sheets[plan.sheet], plan)
            if seen.digest != request.POST.get("digest"):
                raise Refused("The register has moved on since you looked; look again, then write")
            apply_import(
                get_people(),
                get_people_identities(),
                seen,
                import_id,
                file=digest,
                now=clock.now(),
                by=account.pk,
                role=account.role,
            )
            row.counts = json.dumps(page.kept_counts(seen))
            file = keeping.closed(row, PeopleImport.APPLIED)
    except (Refused, Overtaken) as stopped:
        told = stopped.faults if isinstance(stopped, Refused) else (str(stopped),)
        messages.error(request, f"Nothing was written. {'. '.join(told)}.")
        return redirect("people_import:look", import_id)
    Vault(settings.DATA).delete(file)
    log.event("people_import_written", case=import_id, account=account.pk)
    messages.success(request, f"Written: {page.written(seen)}. The file was deleted.")
    return redirect("people_import:start")


@never_cache
@needs("view_people", "import_people")
@require_GET
def refused(request: HttpRequest, import_id: str) -> HttpResponse:
    """The refused rows as they came, each with why: to be corrected and sent again."""
    sheets, plan, _ = opened(import_id)
    sheet = sheets[plan.sheet]
    if plan.columns.faults():
        raise Http404("nothing is refused before it is said what the columns hold")
    seen, _ = keeping.previewed(sheet, plan)
    log.event("people_import_refused_kept", case=import_id, account=account_of(request).pk)
    return xlsx_file("refused", *page.refused_rows(sheet, plan, seen))


@needs("view_people", "import_people")
@require_POST
def drop(request: HttpRequest, import_id: str) -> HttpResponse:
    """Leave an import; its file is deleted."""
    if not keeping.drop(import_id):
        raise Http404("there is no such import to leave")
    messages.success(request, "Nothing was written, and the file was deleted.")
    return redirect("people_import:start")
