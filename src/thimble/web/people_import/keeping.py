"""An import while somebody looks at it: its sealed file, what was said of it, and the end of both."""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Mapping
from datetime import date, timedelta

from django.conf import settings
from django.db import transaction
from django.http import Http404

from thimble.exchange.sheets import Sheet, SheetFault, read_sheets
from thimble.people.identity import PersonIdentity
from thimble.people.importing import Preview, Register, preview
from thimble.web import clock
from thimble.web.context import get_people_identities, get_site, zone
from thimble.web.models import PeopleImport
from thimble.web.people.roster import roster
from thimble.web.people_import.plan import Plan
from thimble.web.vault import Damaged, Vault

KEPT = timedelta(hours=24)
"""How long a file is kept that nobody wrote or dropped."""
GOES_ON = "The list of imports changed meanwhile, or the file was kept too long. Send it again."


def forget_old() -> None:
    """Delete the files that nobody came back to."""
    old = PeopleImport.objects.filter(state=PeopleImport.OPEN, at__lt=clock.now() - KEPT)
    for row in old:
        drop(row.pk)


def drop(import_id: str) -> bool:
    """Leave an import and delete its file; False where another browser has written or left it already."""
    with transaction.atomic():
        row = held(import_id)
        if row is None:
            return False
        file = closed(row, PeopleImport.DROPPED)
    Vault(settings.DATA).delete(file)
    return True


def held(import_id: str) -> PeopleImport | None:
    """An import that is still open, kept so until the transaction ends."""
    waiting = PeopleImport.objects.filter(pk=import_id, state=PeopleImport.OPEN)
    return waiting.select_for_update().first()


def closed(row: PeopleImport, state: str) -> str:
    """Close a row that is held; its file, to be deleted once that is on the disk."""
    file, row.file, row.state = row.file, "", state
    # What was decided names rows and references; only the counts are kept.
    row.plan = "{}"
    row.save()
    return file


def plan_anew(import_id: str, changed: Callable[[Plan], Plan]) -> None:
    """Change what was said of an import as it is now; one closed meanwhile is never opened again."""
    with transaction.atomic():
        row = held(import_id)
        if row is None:
            raise Http404("this import was written or left already")
        row.plan = changed(Plan.from_json(row.plan)).to_json()
        row.save(update_fields=["plan"])


def opened(import_id: str) -> tuple[list[Sheet], Plan, str]:
    """The file of an import that is being looked at, what was said of it, and its SHA-256."""
    row = PeopleImport.objects.filter(pk=import_id, state=PeopleImport.OPEN).first()
    if row is None:
        raise Http404("there is no such import to look at")
    try:
        content = Vault(settings.DATA).get(row.file)
        sheets = read_sheets(content)
    except (Damaged, SheetFault) as gone:
        raise Http404(GOES_ON) from gone
    return sheets, Plan.from_json(row.plan), hashlib.sha256(content).hexdigest()


def previewed(sheet: Sheet, plan: Plan) -> tuple[Preview, Mapping[str, PersonIdentity]]:
    now = clock.now()
    today: date = now.astimezone(zone()).date()
    identities = get_people_identities().all_identities()
    register = Register(roster().people(now), identities)
    seen = preview(
        sheet,
        plan.columns,
        register,
        plan.decisions,
        today,
        cells=plan.cells,
        local=get_site().laboratory,
    )
    return seen, identities
