"""What a person brings on their own page: a photo of a card, sealed and unverified until somebody looks."""

from __future__ import annotations

from django.conf import settings
from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.http.response import HttpResponseBase
from django.shortcuts import redirect
from django.views.decorators.http import require_GET, require_POST

from thimble.actions import Refused
from thimble.actions import brought as acts
from thimble.ledger.store import Overtaken
from thimble.web import clock, log
from thimble.web.context import get_people
from thimble.web.limits import carries
from thimble.web.own_page.forms import BringForm
from thimble.web.own_page.views import is_known, proved, show, too_often
from thimble.web.own_page.visitor import Visitor
from thimble.web.people.forms import content_of
from thimble.web.people.scans import FORM_AND_SCAN, sealed, served
from thimble.web.vault import Damaged, NotKept, Vault

BROUGHT_PER_WINDOW = 20
"""Files from one address."""

MEANWHILE = "Something in your file changed meanwhile. Look at the page, then try once more."


@carries(FORM_AND_SCAN, also=is_known)
@proved
@require_POST
def bring(request: HttpRequest, here: Visitor) -> HttpResponseBase:
    """Take a file: told by its content, looked at for malware, sealed, entered as the person's own."""
    if refusal := too_often(request, "own_page_brought", BROUGHT_PER_WINDOW):
        return refusal
    form = BringForm(request.POST, request.FILES)
    if not form.is_valid():
        return show(request, here, form)
    vault, kept = Vault(settings.DATA), ""
    told = form.cleaned_data
    try:
        body = sealed(vault, content_of(told["scan"]), told["shows"], told["text"])
        kept = body["name"]
        entry = acts.bring(get_people(), here.person.reference, body, now=clock.now())
    except NotKept as refused:
        form.add_error("scan", str(refused))
    except (Refused, Overtaken) as refused:
        vault.delete(kept)
        form.add_error("scan", _sentence(refused))
    except BaseException:
        vault.delete(kept)
        raise
    else:
        log.event("own_page_brought", case=here.person.reference, entry=entry.position)
        messages.success(
            request, "Sent. Occupational medicine looks at it; nothing more to do here."
        )
        return redirect("own_page:own")
    return show(request, here, form)


@proved
@require_GET
def scan(_request: HttpRequest, here: Visitor, entry: int) -> HttpResponse:
    """A file as the person brought it; none that the department attached."""
    found = {d.entry: d for d in here.person.documents if d.brought}.get(entry)
    if found is None:
        raise Http404("there is no such file")
    try:
        return served(found)
    except Damaged as damaged:
        log.event("scan_damaged", case=here.person.reference, entry=entry)
        raise Http404(str(damaged)) from damaged


@proved
@require_POST
def withdraw(request: HttpRequest, here: Visitor, entry: int) -> HttpResponse:
    """Take a file back that nobody has looked at; its content is deleted, the entry stays."""
    try:
        gone = acts.take_back(get_people(), here.person.reference, entry, now=clock.now())
    except (Refused, Overtaken) as refused:
        messages.error(request, f"Not withdrawn. {_sentence(refused)}")
    else:
        Vault(settings.DATA).delete(gone.name)
        log.event("own_page_withdrawn", case=here.person.reference, entry=entry)
        messages.success(request, "Withdrawn and deleted.")
    return redirect("own_page:own")


def _sentence(refused: Refused | Overtaken) -> str:
    if isinstance(refused, Overtaken):
        return MEANWHILE
    return " ".join(f"{fault.rstrip('.')}." for fault in refused.faults)
