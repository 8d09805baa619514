"""The certificates of whoever looks at their own page: those that hold, to keep as a file."""

from __future__ import annotations

from django.http import Http404, HttpRequest, HttpResponse
from django.views.decorators.http import require_safe

from thimble.people.certificates.checking import Worth
from thimble.web import log
from thimble.web.certificates.house import decision_today, printed
from thimble.web.certificates.issuing import one_file
from thimble.web.certificates.papers import DjangoPapers
from thimble.web.context import today
from thimble.web.own_page.views import proved
from thimble.web.own_page.visitor import Visitor
from thimble.web.people.found import account_names


@proved
@require_safe
def pdf(request: HttpRequest, here: Visitor, number: str) -> HttpResponse:
    """The person's own paper, while it holds."""
    del request
    issued = {each.number: each for each in here.person.certificates}.get(number)
    paper = DjangoPapers().paper(number)
    if issued is None or paper is None:
        raise Http404("there is no such certificate of yours")
    if issued.worth(today(), decision_today(here.person.reference)) is not Worth.HOLDS:
        raise Http404("this certificate of yours does not hold today")
    log.event("own_certificate_saved", case=here.person.reference)
    return one_file([printed(issued, paper, account_names())], f"certificate-{number}")
