"""Bring a list of people in: send it, say what its columns are, look at every row, write, take back."""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping
from dataclasses import replace
from datetime import date, timedelta
from typing import Any

from django.conf import settings
from django.contrib import messages
from django.core.paginator import Paginator
from django.db import transaction
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from thimble.actions import Refused
from thimble.actions.people_import import apply_import, new_import_id, undo_import
from thimble.exchange.sheets import (
    LARGEST_FILE,
    Sheet,
    SheetFault,
    read_sheets,
)
from thimble.ledger.store import Overtaken
from thimble.people.choices import WORKS_AS
from thimble.people.fold import as_body
from thimble.people.identity import PersonIdentity
from thimble.people.importing import FIELDS, Fate, Preview, Register, preview
from thimble.web import clock, log
from thimble.web.access import account_of, needs
from thimble.web.context import get_people, get_people_identities, looked, zone
from thimble.web.limits import carries
from thimble.web.models import Account, PeopleImport
from thimble.web.people.forms import ORDERS, content_of
from thimble.web.people.register import ordered
from thimble.web.people.roster import roster
from thimble.web.people_import import page
from thimble.web.people_import.plan import Plan, first_plan, from_form
from thimble.web.tables import csv_file, xlsx_file
from thimble.web.vault import Damaged, NotKept, Vault, refuse_malware
from thimble.web.words import moment

ROWS = 50
"""Rows on a page."""
KEPT = timedelta(hours=24)
"""How long a file is kept that nobody wrote or dropped."""
GOES_ON = "The list of imports changed meanwhile, or the file was kept too long. Send it again."


@needs("view_people", "import_people")
@carries(LARGEST_FILE + 64 * 1024)
@require_http_methods(["GET", "POST"])
def start(request: HttpRequest) -> HttpResponse:
    """Send a file; and the imports there were."""
    _forget_old()
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


def _forget_old() -> None:
    """Delete the files that nobody came back to."""
    old = PeopleImport.objects.filter(state=PeopleImport.OPEN, at__lt=clock.now() - KEPT)
    for row in old:
        _drop(row.pk)


def _drop(import_id: str) -> bool:
    """Leave an import and delete its file; False where another browser has written or left it already."""
    with transaction.atomic():
        row = _held(import_id)
        if row is None:
            return False
        file = _closed(row, PeopleImport.DROPPED)
    Vault(settings.DATA).delete(file)
    return True


def _held(import_id: str) -> PeopleImport | None:
    """An import that is still open, kept so until the transaction ends."""
    waiting = PeopleImport.objects.filter(pk=import_id, state=PeopleImport.OPEN)
    return waiting.select_for_update().first()


def _closed(row: PeopleImport, state: str) -> str:
    """Close a row that is held; its file, to be deleted once that is on the disk."""
    file, row.file, row.state = row.file, "", state
    # What was decided names rows and references; only the counts are kept.
    row.plan = "{}"
    row.save()
    return file


def _plan(import_id: str, changed: Callable[[Plan], Plan]) -> None:
    """Change what was said of an import as it is now; one closed meanwhile is never opened again."""
    with transaction.atomic():
        row = _held(import_id)
        if row is None:
            raise Http404("this import was written or left already")
        row.plan = changed(Plan.from_json(row.plan)).to_json()
        row.save(update_fields=["plan"])


@needs("view_people", "import_people")
@require_GET
def look(request: HttpRequest, import_id: str) -> HttpResponse:
    """The columns, and the fate of every row. Nothing is written by looking."""
    sheets, plan = _open(import_id)
    sheet = sheets[plan.sheet]
    faults = plan.columns.faults()
    context: dict[str, Any] = {
        "id": import_id,
        "sheets": [(at, each.name, at == plan.sheet) for at, each in enumerate(sheets)],
        "sheet": sheet,
        "plan": plan,
        "columns": page.columns_of(sheet, plan),
        "fields": list(FIELDS.items()),
        "orders": [(id_, words, id_ == plan.columns.order) for id_, words in ORDERS.items()],
        "works_as": list(WORKS_AS.items()),
        "faults": faults,
        "ready": False,
    }
    if not faults:
        context |= _seen(request, sheet, plan)
    return render(request, "people_import/look.html", context)


def _seen(request: HttpRequest, sheet: Sheet, plan: Plan) -> dict[str, Any]:
    seen, identities = _preview(sheet, plan)
    counts = page.counts_of(seen)
    show = request.GET.get("show", "")
    if show not in {"all", *(id_ for id_, *_ in counts)}:
        show = counts[0][0] if counts else "all"
    shown = Paginator(page.shown_in(seen, show), ROWS).get_page(request.GET.get("page"))
    asked = {ref for row in shown for ref in (*row.candidates, row.person) if ref}
    looked(request, asked, whose="worker", where="import")
    to_write = seen.counts[Fate.NEW] + seen.counts[Fate.CHANGED]
    lines = [page.line(row, identities, plan.decisions) for row in shown]
    return {
        "counts": counts,
        "show": show,
        "meaning": page.FATES[Fate(show)][1] if show != "all" else "",
        "lines": lines,
        "deciding": any(line.fate == Fate.ASK for line in lines),
        "decided": any(line.decision for line in lines),
        "shown": shown,
        "total": len(seen.rows),
        "absent": len(seen.absent),
        "to_write": to_write,
        "asked": seen.counts[Fate.ASK],
        "digest": seen.digest,
        "ready": bool(to_write) and not seen.counts[Fate.ASK],
    }


@needs("view_people", "import_people")
@require_POST
def columns(request: HttpRequest, import_id: str) -> HttpResponse:
    """Say what the columns are."""
    sheets, _ = _open(import_id)
    _plan(import_id, lambda plan: from_form(request.POST.dict(), sheets, plan))
    return redirect("people_import:look", import_id)


@needs("view_people", "import_people")
@require_POST
def decide(request: HttpRequest, import_id: str) -> HttpResponse:
    """Say of rows whether they are somebody in the register, somebody else, or to be left out."""
    said: dict[int, str] = {}
    for name, value in request.POST.items():
        number = name.removeprefix("row-")
        if name.startswith("row-") and number.isdecimal() and len(number) < 8:
            said[int(number)] = str(value)[:40]

    def decided(plan: Plan) -> Plan:
        decisions = {row: what for row, what in ({**plan.decisions, **said}).items() if what}
        return replace(plan, decisions=decisions)

    _plan(import_id, decided)
    return redirect("people_import:look", import_id)


@needs("view_people", "import_people")
@require_POST
def write(request: HttpRequest, import_id: str) -> HttpResponse:
    """Write what was shown, all of it or nothing."""
    sheets, plan = _open(import_id)
    account = account_of(request)
    try:
        # Whoever writes in the register meanwhile waits, or was seen.
        with get_people().alone():
            row = _held(import_id)
            if row is None:
                raise Http404("this import was written already")
            seen, _ = _preview(sheets[plan.sheet], plan)
            if seen.digest != request.POST.get("digest"):
                raise Refused("The register has moved on since you looked; look again, then write")
            apply_import(
                get_people(),
                get_people_identities(),
                seen,
                import_id,
                now=clock.now(),
                by=account.pk,
                role=account.role,
            )
            row.counts = json.dumps(
                {
                    word: seen.counts[fate]
                    for fate, (word, _) in page.FATES.items()
                    if seen.counts[fate]
                }
            )
            file = _closed(row, PeopleImport.APPLIED)
    except (Refused, Overtaken) as stopped:
        told = stopped.faults if isinstance(stopped, Refused) else (str(stopped),)
        messages.error(request, f"Nothing was written. {'. '.join(told)}.")
        return redirect("people_import:look", import_id)
    Vault(settings.DATA).delete(file)
    log.event("people_import_written", case=import_id, account=account.pk)
    done = seen.counts[Fate.NEW], seen.counts[Fate.CHANGED]
    messages.success(
        request, f"Written: {done[0]} enrolled, {done[1]} changed. The file was deleted."
    )
    return redirect("people_import:start")


@needs("view_people", "import_people")
@require_POST
def drop(request: HttpRequest, import_id: str) -> HttpResponse:
    """Leave an import; its file is deleted."""
    if not _drop(import_id):
        raise Http404("there is no such import to leave")
    messages.success(request, "Nothing was written, and the file was deleted.")
    return redirect("people_import:start")


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
                now=clock.now(),
                by=account.pk,
                role=account.role,
            )
            if not result.stays:
                row.state = PeopleImport.UNDONE
                row.save()
    except (Refused, Overtaken) as stopped:
        messages.error(request, f"Nothing was taken back: {stopped}.")
        return redirect("people_import:start")
    log.event("people_import_undone", case=import_id, account=account.pk)
    looked(request, result.stays, whose="worker", where="import undo")
    identities = get_people_identities().some_identities(result.stays)
    context |= {
        "done": True,
        "restored": len(result.restored),
        "gone": len(result.gone),
        "stays": [
            (ref, identities[ref].name if ref in identities else ref, count)
            for ref, count in result.stays.items()
        ],
    }
    return render(request, "people_import/undo.html", context)


@needs("view_people", "import_people")
@require_GET
def export_csv(request: HttpRequest) -> HttpResponse:
    """The register as CSV, that no spreadsheet runs anything of."""
    return csv_file("people", *_register_rows(request))


@needs("view_people", "import_people")
@require_GET
def export_xlsx(request: HttpRequest) -> HttpResponse:
    """The register as a workbook; every cell is text."""
    return xlsx_file("people", *_register_rows(request))


def _register_rows(request: HttpRequest) -> tuple[list[str], list[list[str]]]:
    identities = get_people_identities().all_identities()
    people = ordered(roster().people(clock.now()), identities)
    looked(request, [p.reference for p in people], whose="worker", where="people export")
    rows = []
    for person in people:
        who = identities.get(person.reference, PersonIdentity())
        held: dict[str, Any] = as_body(person) | {
            "number": who.number,
            "family_name": who.family_name,
            "given_name": who.given_name,
            "birth_date": who.birth_date.isoformat() if who.birth_date else "",
            "email": who.email,
        }
        held["exposure_prone"] = held["exposure_prone"].replace("_", " ")
        rows.append([str(held[name] or "") for name, _ in page.EXPORTED])
    return [label for _, label in page.EXPORTED], rows


# --- what the views above share -------------------------------------------------------------------


def _open(import_id: str) -> tuple[list[Sheet], Plan]:
    """The file of an import that is being looked at, and what was said of it."""
    row = PeopleImport.objects.filter(pk=import_id, state=PeopleImport.OPEN).first()
    if row is None:
        raise Http404("there is no such import to look at")
    try:
        sheets = read_sheets(Vault(settings.DATA).get(row.file))
    except (Damaged, SheetFault) as gone:
        raise Http404(GOES_ON) from gone
    return sheets, Plan.from_json(row.plan)


def _preview(sheet: Sheet, plan: Plan) -> tuple[Preview, Mapping[str, PersonIdentity]]:
    now = clock.now()
    today: date = now.astimezone(zone()).date()
    identities = get_people_identities().all_identities()
    register = Register(roster().people(now), identities)
    return preview(sheet, plan.columns, register, plan.decisions, today), identities
