"""What if a dose were given on some day: shown, never written."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any

from django import forms
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_http_methods

from thimble.actions import people as acts
from thimble.clinical.diseases import DISEASES
from thimble.clinical.readiness import Readiness
from thimble.clinical.saying import calendar_day, inside
from thimble.people.products import find_product, is_vaccine, products
from thimble.people.readiness.supposing import Supposed, suppose
from thimble.web import clock
from thimble.web.access import needs
from thimble.web.cohort.standings import asked_of
from thimble.web.context import get_people, get_people_identities, get_site, looked, zone
from thimble.web.fitness.joined import of_person

FARTHEST = timedelta(days=3660)
"""A day further ahead than ten years is a slip of the pen."""


class DoseForm(forms.Form):
    """A product and a day."""

    product = forms.CharField(
        label="Vaccine",
        max_length=120,
        help_text="Name, short words or CVX number",
        widget=forms.TextInput(
            attrs={"list": "products", "autocomplete": "off", "spellcheck": "false"}
        ),
        error_messages={"required": "Say which vaccine."},
    )
    day = forms.DateField(
        label="Given on",
        widget=forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d"),
        error_messages={
            "required": "Say on which day.",
            "invalid": "Enter the day, for example 2027-03-14.",
        },
    )

    def __init__(self, *args: Any, today: date, born: date | None, **more: Any) -> None:
        super().__init__(*args, **more)
        self._today, self._born = today, born

    def clean_product(self) -> Any:
        """The one product that is meant."""
        found = [p for p in find_product(self.cleaned_data["product"]) if is_vaccine(p.cvx)]
        if len(found) == 1:
            return found[0]
        if not found:
            raise forms.ValidationError("There is no such vaccine.")
        several = "; ".join(f"{p.cvx} {p.name}" for p in found[:5])
        raise forms.ValidationError(f"Which one? {several}.")

    def clean_day(self) -> date:
        """A day of the person's life, not absurdly far ahead."""
        day: date = self.cleaned_data["day"]
        if self._born is not None and day < self._born:
            raise forms.ValidationError("That day lies before the person's birth.")
        if day > self._today + FARTHEST:
            raise forms.ValidationError("That day lies more than ten years ahead.")
        return day


@dataclass(frozen=True, slots=True)
class Answer:
    """What the page says of the dose. `states` are diseases with their words before and after."""

    dose: str
    verdict: str
    states: tuple[tuple[str, str, str], ...]
    before: str
    after: str
    lacks: tuple[str, ...]
    open: tuple[str, ...]
    elsewhere: bool


def answer_of(found: Supposed, name: str, day: date) -> Answer:
    """The answer in words."""
    states = found.states()
    lacks = {lack: None for _, two in states for lack in two.lacks}
    return Answer(
        dose=f"{name} on {calendar_day(day)}",
        verdict=found.verdict,
        states=tuple(
            (DISEASES[one.disease], inside(one.words), inside(two.words)) for one, two in states
        ),
        before=_whole(found.before),
        after=_whole(found.after),
        lacks=tuple(lack.said(found.on) for lack in lacks),
        open=found.after.open,
        elsewhere=not states,
    )


def _whole(whole: Readiness) -> str:
    said = whole.said()
    return said if whole.ready_on is not None or not whole.open else f"{said} {whole.open[0]}"


@needs("view_people", "edit_people")
@require_http_methods(["GET", "POST"])
def what_if(request: HttpRequest, person: str) -> HttpResponse:
    """What a dose on some day would do: what counts, what comes next, ready by when."""
    try:
        found = acts.person_of(get_people(), person, clock.now())
    except acts.NoSuchPerson as missing:
        raise Http404(str(missing)) from missing
    looked(request, [person], whose="worker", where="person what if")
    identity = get_people_identities().identity(person)
    born = identity.birth_date if identity else None
    today = clock.now().astimezone(zone()).date()
    form = DoseForm(request.POST or None, today=today, born=born, initial={"day": today})
    answer = None
    if request.method == "POST" and form.is_valid():
        product, day = form.cleaned_data["product"], form.cleaned_data["day"]
        decision = of_person(person, clock.now()).holds
        supposed = suppose(found, born, today, asked_of(get_site()), product, day, decision)
        answer = answer_of(supposed, product.name, day)
    context = {
        "form": form,
        "answer": answer,
        "products": [f"{p.cvx} · {p.name}" for p in products().values() if is_vaccine(p.cvx)],
        "reference": person,
        "name": identity.name if identity else "",
    }
    return render(request, "cohort/what_if.html", context, status=422 if form.errors else 200)
