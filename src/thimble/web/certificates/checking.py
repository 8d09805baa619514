"""The page on which a school or hospital checks a certificate, without sign-in; and the public keys."""

from __future__ import annotations

import json
from typing import Any

from django import forms
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.debug import sensitive_post_parameters
from django.views.decorators.http import require_http_methods, require_safe

from thimble.actions.reference import CODE_LENGTH, LENGTH, read_reference
from thimble.people.certificates.checking import Worth
from thimble.people.certificates.signing import key_set
from thimble.web import clock, log
from thimble.web.access import public
from thimble.web.certificates.house import decision_today, keys
from thimble.web.certificates.papers import DjangoPapers, whose
from thimble.web.certificates.worth import Checking, Told
from thimble.web.context import get_people, get_site, today
from thimble.web.limits import over_limit
from thimble.web.people.forms import PlainText

CHECKS_PER_WINDOW = 120
"""From one address; a school may check a whole year's at once. Nothing is counted for a number: whoever
knows one could keep others from checking it. Its code is too long to be found (docs/certificates.md)."""

WRONG_PER_WINDOW = 20
"""Of these, such as are not the house's."""

WINDOW_SECONDS = 600

LONGEST_SQUARE = 2000
NUMBER, CODE = "C-K7QM-2F49", "K7QM-2F49-R3XC"
"""As they are printed; of no certificate."""


class CheckForm(forms.Form):
    """Number and code as typed from the paper."""

    fault_title = "Not checked yet"

    number = PlainText(
        label="Number",
        max_length=40,
        help_text=f"On the paper, such as {NUMBER}.",
        error_messages={"required": "Type the number from the paper."},
    )
    code = PlainText(
        label="Code",
        max_length=40,
        help_text=f"Below the number, such as {CODE}.",
        error_messages={"required": "Type the code from the paper."},
    )

    def __init__(self, *args: Any, **more: Any) -> None:
        super().__init__(*args, **more)
        for field in self.fields.values():
            field.widget.attrs |= {"autocomplete": "off", "autocapitalize": "characters"}

    def clean_number(self) -> str:
        """As written."""
        number = "".join(c for c in self.cleaned_data["number"].upper() if c.isalnum())
        # Only with its letter has it nine characters.
        plain = number[1:] if len(number) == LENGTH + 1 and number.startswith("C") else number
        return f"C-{_typed(plain, LENGTH, 'number', NUMBER)}"

    def clean_code(self) -> str:
        """As written."""
        return _typed(self.cleaned_data["code"], CODE_LENGTH, "code", CODE)


def _typed(text: str, length: int, what: str, example: str) -> str:
    """What was typed as it is written; the last character finds a typing mistake."""
    try:
        return read_reference("".join(c for c in text if c.isalnum()), length)
    except ValueError as fault:
        department = get_site().occupational_medicine
        ring = ", ".join(part for part in (department.name, department.phone) if part)
        said = (
            f"Look at the {what} again: it is printed like {example}. If it is typed exactly as it is "
            f"printed, do not rely on the paper, and ring {ring}."
        )
        raise forms.ValidationError(said) from fault


@public
@sensitive_post_parameters()
@require_http_methods(["GET", "HEAD", "POST"])
def check(request: HttpRequest, number: str = "") -> HttpResponse:
    """Ask for number and code, or answer what a square code or these two say.

    What stands after `#` in the square code's address is sent as a form, so that no log and no history of
    addresses holds it. Opening the page tells nothing, not even whether there is such a number.
    """
    if request.method != "POST":
        return _page(request, CheckForm(initial={"number": number}))
    if _too_often(request, "certificate_checked", CHECKS_PER_WINDOW):
        return _refused(request)
    square = request.POST.get("square", "")[:LONGEST_SQUARE]
    form = CheckForm(request.POST)
    if not square and not form.is_valid():
        return _page(request, form, status=422)
    checking = Checking(
        get_people(), DjangoPapers(), whose, keys().all(), get_site(), decision_today
    )
    if square:
        told = checking.by_square(square, today())
    else:
        typed = form.cleaned_data
        told = checking.by_hand(typed["number"], typed["code"], today())
    if told.worth is Worth.NOT_OURS and _too_often(request, "certificate_wrong", WRONG_PER_WINDOW):
        return _refused(request)
    log.event(f"certificate_{told.worth.value}")
    return _told(request, told)


@public
@require_safe
def public_keys(request: HttpRequest) -> HttpResponse:
    """The public keys as a JWK Set (RFC 7517): with them anybody verifies without this house's help."""
    del request
    text = json.dumps(key_set(keys().published()), indent=2)
    return HttpResponse(text + "\n", content_type="application/jwk-set+json")


def _page(request: HttpRequest, form: CheckForm, *, status: int = 200) -> HttpResponse:
    context = {"site": get_site(), "form": form}
    return _sealed(render(request, "certificates/check.html", context, status=status))


def _told(request: HttpRequest, told: Told) -> HttpResponse:
    context = {"site": get_site(), "told": told, "now": clock.now()}
    return _sealed(render(request, "certificates/told.html", context))


def _refused(request: HttpRequest) -> HttpResponse:
    log.event("certificate_check_limited")
    answer = render(request, "certificates/too_often.html", {"site": get_site()}, status=429)
    answer["Retry-After"] = str(WINDOW_SECONDS)
    return _sealed(answer)


def _too_often(request: HttpRequest, event: str, most: int) -> bool:
    return over_limit(request, event=event, most=most, seconds=WINDOW_SECONDS)


def _sealed(answer: HttpResponse) -> HttpResponse:
    """Nobody keeps it, and no search machine lists it.

    The referrer stays within the site: a form without any is refused as one of unknown origin.
    """
    answer["Cache-Control"] = "no-store, private"
    answer["X-Robots-Tag"] = "noindex, nofollow, noarchive"
    return answer
