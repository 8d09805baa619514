"""The person's own page, without sign-in: the secret, the birth date, the page."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date
from functools import wraps
from typing import Any, cast

from django import forms
from django.http import HttpRequest, HttpResponse, HttpResponseRedirect
from django.http.response import HttpResponseBase
from django.shortcuts import render
from django.urls import reverse
from django.views.decorators.debug import sensitive_post_parameters
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from thimble.people.dates import EitherDay, NotADate, read_date
from thimble.web import clock, log
from thimble.web.access import public
from thimble.web.certificates.holding import holding
from thimble.web.clinic.choosing import booked_when, mine
from thimble.web.clinic.store import get_clinic
from thimble.web.cohort.offering import offer_to_read, record_read
from thimble.web.context import get_site, zone
from thimble.web.fitness.joined import of_person
from thimble.web.limits import over_limit
from thimble.web.models import PersonLink
from thimble.web.own_page.forms import BringForm
from thimble.web.own_page.page import own_page
from thimble.web.own_page.visitor import Visitor, forget, prove, remember, visitor, whose
from thimble.web.people.forms import PlainText
from thimble.web.secret_links import link_of

OPENED_PER_WINDOW = 60
"""From one address; a lecture hall may share one."""

TRIES_PER_WINDOW = 5
"""Birth dates for one link from one address."""

WINDOW_SECONDS = 900

CLOSED = "This address opens nothing, or nothing any more. Ask occupational medicine for a new one."
WRONG = "This is not the birth date that is on file."


class BirthDateForm(forms.Form):
    """The proof that somebody is whom the link was made for."""

    fault_title = "Not opened yet"

    born = PlainText(
        label="Your birth date",
        max_length=40,
        help_text="For example 14 March 1999.",
        error_messages={"required": "Enter your birth date."},
    )

    def clean_born(self) -> date:
        """A whole day."""
        try:
            return date.fromisoformat(
                read_date(self.cleaned_data["born"], today=self.initial["today"])
            )
        except EitherDay as fault:
            raise forms.ValidationError(
                "That can be read in two ways: write the month as a word, such as 14 March 1999."
            ) from fault
        except NotADate as fault:
            raise forms.ValidationError(f"{fault}.") from fault
        except ValueError as fault:
            raise forms.ValidationError("Give day, month and year.") from fault


def sealed(answer: HttpResponseBase) -> HttpResponseBase:
    """Nobody keeps it, and no search machine lists it."""
    answer["Cache-Control"] = "no-store, private"
    answer["X-Robots-Tag"] = "noindex, nofollow, noarchive"
    return answer


def closed(request: HttpRequest) -> HttpResponse:
    """What every address that opens nothing answers, whatever the reason."""
    context = {**_frame(), "closed": CLOSED}
    return _nothing(render(request, "own_page/closed.html", context, status=404))


def _nothing(answer: HttpResponse) -> HttpResponse:
    answer["Referrer-Policy"] = "no-referrer"
    return cast(HttpResponse, sealed(answer))


def is_known(request: HttpRequest) -> bool:
    """Whether somebody is here who gave the birth date."""
    here = visitor(request)
    return here is not None and here.proved


def too_often(request: HttpRequest, event: str, most: int, *, link: int = 0) -> HttpResponse | None:
    """The refusal of an address that asks too often, of one link or of any; None while it may."""
    counted = f"{event}_{link}" if link else event
    if not over_limit(request, event=counted, most=most, seconds=WINDOW_SECONDS):
        return None
    log.event(f"{event}_limited")
    answer = render(request, "own_page/closed.html", {**_frame(), "wait": True}, status=429)
    answer["Retry-After"] = str(WINDOW_SECONDS)
    return _nothing(answer)


def proved(view: Callable[..., HttpResponseBase]) -> Callable[..., HttpResponseBase]:
    """Open a view to whoever opened a link and gave the birth date; it gets the visitor."""

    @wraps(view)
    def guarded(request: HttpRequest, *args: Any, **more: Any) -> HttpResponseBase:
        here = visitor(request)
        if here is None:
            return sealed(render(request, "own_page/away.html", _frame(), status=403))
        if not here.proved:
            return HttpResponseRedirect(reverse("own_page:birth_date"))
        return sealed(view(request, here, *args, **more))

    return public(guarded)


@public
@require_safe
def open_link(request: HttpRequest, secret: str) -> HttpResponseBase:
    """Remember which link was opened, and go on to an address without the secret.

    Nothing is told here, not even a name. Every other secret is answered alike.
    """
    if refusal := too_often(request, "own_page_opened", OPENED_PER_WINDOW):
        return refusal
    link = link_of(PersonLink, secret)
    if link is None or whose(link, clock.now()) is None:
        return closed(request)
    here = visitor(request)
    if here is None or here.link.pk != link.pk:
        remember(request, link, proved=False)
        log.event("own_page_opened", case=link.case)
    answer = sealed(HttpResponseRedirect(reverse("own_page:own")))
    answer["Referrer-Policy"] = "no-referrer"
    return answer


@public
@sensitive_post_parameters()
@require_http_methods(["GET", "POST"])
def birth_date(request: HttpRequest) -> HttpResponseBase:
    """Ask for the birth date. A wrong one gets no hint."""
    here = visitor(request)
    if here is None:
        return sealed(render(request, "own_page/away.html", _frame(), status=403))
    today = clock.now().astimezone(zone()).date()
    form = BirthDateForm(request.POST or None, initial={"today": today})
    if request.method == "POST" and form.is_valid():
        if refusal := too_often(
            request, "own_page_birth_date", TRIES_PER_WINDOW, link=here.link.pk
        ):
            return refusal
        if prove(request, here, form.cleaned_data["born"]):
            log.event("own_page_shown", case=here.person.reference)
            return sealed(HttpResponseRedirect(reverse("own_page:own")))
        log.event("own_page_wrong_birth_date", case=here.person.reference)
        form.add_error("born", WRONG)
    context = {**_frame(), "form": form}
    return sealed(
        render(request, "own_page/birth_date.html", context, status=422 if form.errors else 200)
    )


@proved
@require_safe
def own(request: HttpRequest, here: Visitor) -> HttpResponse:
    """What is still missing, and what happens next."""
    return show(request, here, BringForm())


def show(request: HttpRequest, here: Visitor, form: BringForm) -> HttpResponse:
    """The page, with a form that may have come back. That it told of an offer that a law asks for is put on
    record."""
    today = clock.now().astimezone(zone()).date()
    page = own_page(
        here.person, here.identity, get_site(), today, zone(),
        of_person(here.person.reference, clock.now()).holds,
    )  # fmt: skip
    offer = offer_to_read(here.person, here.identity.birth_date, today)
    if offer and request.method == "GET":
        record_read(here.person, today, clock.now())
    clinic, person = get_clinic(), here.person.reference
    context = {
        **_frame(),
        "page": page,
        "form": form,
        "certificates": holding(here.person),
        "offer": offer,
        "mine": mine(clinic.of_person(person), clock.now().astimezone(zone())),
        "called_off": [booked_when(b) for b in clinic.called_off_for(person, today)],
    }
    return render(request, "own_page/own.html", context, status=422 if form.errors else 200)


@public
@require_POST
def leave(request: HttpRequest) -> HttpResponseBase:
    """Close the page on this device; the link opens it again."""
    forget(request)
    return sealed(render(request, "own_page/away.html", {**_frame(), "left": True}))


def _frame() -> dict[str, Any]:
    return {"site": get_site()}
