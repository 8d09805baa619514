"""The exposed worker's pages. Nobody can read anybody's data here: a reference lives only in the
session that made it."""

from __future__ import annotations

from django.conf import settings
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import NoReverseMatch, resolve, reverse
from django.views.decorators.debug import sensitive_post_parameters
from django.views.decorators.http import require_http_methods, require_safe

from thimble.actions import Refused
from thimble.actions.report import report
from thimble.clinical.vocabulary import vocabulary
from thimble.ledger.fold import fold
from thimble.web import clock, log
from thimble.web.access import public
from thimble.web.context import get_identities, get_protocol, get_site, get_store
from thimble.web.limits import over_limit
from thimble.web.qr import qr
from thimble.web.report.choices import BY_SLUG, CHOICES, Choice
from thimble.web.report.forms import ReportForm
from thimble.web.report.page import Go, NowPage, ReportedPage, Told

_SESSION_KEY = "reported"


@public
@require_safe
def start(request: HttpRequest) -> HttpResponse:
    """What happened?"""
    site = get_site()
    context = {"choices": CHOICES, "go": Go.of(site, clock.now()), "site": site}
    return render(request, "report/start.html", context)


@public
@sensitive_post_parameters()
@require_http_methods(["GET", "POST"])
def now_page(request: HttpRequest, slug: str) -> HttpResponse:
    """First aid at once; below it where to go, and the report."""
    choice = BY_SLUG.get(slug)
    if choice is None:
        raise Http404
    if request.method == "GET":
        return _show(request, choice, _form(choice))
    form = _form(choice, request)
    if over_limit(
        request,
        event="report",
        most=settings.REPORTS_PER_WINDOW,
        seconds=settings.REPORT_WINDOW_SECONDS,
    ):
        log.event("report_limited")
        notice = (
            "Not sent: too many reports came from this place in the last minutes. Everything you "
            "typed is still here. Go now; report by phone or at the desk, or send again later."
        )
        return _show(request, choice, form, notice=notice, status=429)
    if not form.is_valid():
        return _show(request, choice, form, status=422)
    try:
        return _send(request, form)
    except Refused as refused:
        # The form has asked for all that the ledger asks; should one say less than the other, what
        # was typed must not be lost.
        for fault in refused.faults:
            form.add_error(None, fault)
        return _show(request, choice, form, status=422)


def shown_again(request: HttpRequest) -> HttpResponse | None:
    """A report whose page lay open too long, with all that was typed, ready to be sent once more.

    None where the request is no report.
    """
    if request.method != "POST" or not request.path.startswith("/now/"):
        return None
    try:
        choice = BY_SLUG.get(resolve(request.path).kwargs.get("slug", ""))
    except Http404:
        return None
    if choice is None:
        return None
    notice = (
        "Not sent yet: this page lay open too long. Everything you typed is still here. Send it "
        "once more."
    )
    return _show(request, choice, _form(choice, request), notice=notice, status=403)


@public
@require_safe
def reported(request: HttpRequest) -> HttpResponse:
    """The reference to show at the desk: only for the session that sent the report.

    What was reported stands here once, right after it was sent, so that a wrong year is seen. Whoever
    opens the page later, on a phone that others use too, finds the reference alone.
    """
    sent = request.session.get(_SESSION_KEY)
    if not sent:
        return redirect("report:start")
    told = None
    if request.method == "GET" and sent.pop("fresh", False):
        request.session[_SESSION_KEY] = sent
        told = _told(sent["case"])
    page = ReportedPage(
        reference=sent["case"],
        qr=qr(_desk_address(sent["case"])),
        go=Go.of(get_site(), clock.now()),
        again=sent["again"],
        changed=sent["changed"],
        told=told,
    )
    return render(request, "report/reported.html", {"page": page})


@public
@require_safe
def alive(_request: HttpRequest) -> HttpResponse:
    """Whether the server answers: a page that lost its connection asks here before it sends."""
    return HttpResponse("yes", content_type="text/plain")


def _form(choice: Choice, request: HttpRequest | None = None) -> ReportForm:
    return ReportForm(
        request.POST if request is not None else None,
        choice=choice,
        vocabulary=vocabulary(),
        now=clock.now(),
        zone=get_site().zone,
    )


def _show(
    request: HttpRequest,
    choice: Choice,
    form: ReportForm,
    *,
    notice: str = "",
    status: int = 200,
) -> HttpResponse:
    page = NowPage.of(choice, site=get_site(), protocol=get_protocol(), now=clock.now())
    context = {"page": page, "form": form, "notice": notice}
    return render(request, "report/now.html", context, status=status)


def _send(request: HttpRequest, form: ReportForm) -> HttpResponse:
    store = get_store()
    when = form.cleaned_data["at"]
    with store.transaction():
        result = report(
            store,
            facts=form.facts(),
            occurred_at=when.at,
            occurred_at_precision=when.precision,
            relative=when.relative,
            vocabulary=vocabulary(),
            now=clock.now(),
            place=form.cleaned_data["place"],
            account=form.cleaned_data["account"],
            token=form.cleaned_data["once"],
            identities=get_identities(),
            worker=form.worker(),
        )
    log.event("reported", case=result.case, entries=len(result.entries))
    request.session[_SESSION_KEY] = {
        "case": result.case,
        "again": result.again,
        "changed": result.again and bool(result.entries),
        "fresh": True,
    }
    return redirect("report:reported")


def _told(case: str) -> Told:
    """What the ledger holds now, and not what the form said: a report sent again may keep its time."""
    entries, words = get_store().entries(case), vocabulary()
    # A clock that stepped back must not hide what is recorded already.
    now = max(clock.now(), entries[-1].recorded_at)
    situation = fold(entries, now, words)
    return Told.of(situation, vocabulary=words, site=get_site(), now=now)


def _desk_address(case: str) -> str:
    """Where staff open this case, after signing in. The address tells nothing but the reference."""
    try:
        path = reverse("desk:case", args=[case])
    except NoReverseMatch:
        path = f"/desk/{case}"
    return get_site().base_url + path
