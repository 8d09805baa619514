"""The form of a session."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from typing import Any, cast

from django import forms

from thimble.clinical.stocked import StockPlace
from thimble.people.sessions import PURPOSES, Session
from thimble.web.moments import far_off
from thimble.web.people.forms import PlainText


def _hour(label: str) -> forms.TimeField:
    return forms.TimeField(
        label=label,
        widget=forms.TimeInput(attrs={"type": "time"}, format="%H:%M"),
        error_messages={"required": "Give the hour.", "invalid": "Give an hour, such as 09:00."},
    )


def _date(label: str, **more: Any) -> forms.DateField:
    field = forms.DateField(
        label=label, widget=forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d"), **more
    )
    field.error_messages |= {
        "required": "Give the day.",
        "invalid": "Give a day, such as 2026-04-01.",
    }
    return field


class SessionForm(forms.Form):
    """When and where a session is, what for, and for how many."""

    fault_title = "Not made yet"

    purpose = forms.ChoiceField(label="What it is for", choices=list(PURPOSES.items()))
    day = _date("Day")
    opens = _hour("From")
    closes = _hour("To")
    place = PlainText(
        label="Place", max_length=120, error_messages={"required": "Say where people come."}
    )
    slot_minutes = forms.IntegerField(
        label="Minutes for each time",
        required=False,
        min_value=1,
        max_value=240,
        help_text="Empty: people come when they like between the hours.",
        error_messages={"invalid": "Give a number of minutes, such as 10."},
    )
    capacity = forms.IntegerField(
        label="How many people",
        min_value=1,
        max_value=500,
        help_text="At each time; in all where there are none.",
        error_messages={"required": "Say for how many.", "invalid": "Give a number, such as 1."},
    )
    stock_place = forms.ChoiceField(
        label="Vaccines are taken from",
        required=False,
        help_text="Each dose written down at the session takes one off this shelf.",
    )
    until = _date(
        "Each week until", required=False, help_text="Empty: once. Closed days are left out."
    )

    def __init__(self, *args: Any, shelves: Sequence[StockPlace] = (), **more: Any) -> None:
        """`shelves` are those that vaccines are counted on; without any nothing is asked."""
        super().__init__(*args, **more)
        if not shelves:
            del self.fields["stock_place"]
            return
        asked = cast("forms.ChoiceField", self.fields["stock_place"])
        asked.choices = [*((each.id, each.name) for each in shelves), ("", "No shelf counted here")]

    def clean(self) -> dict[str, Any]:
        """Years are near."""
        cleaned: dict[str, Any] = super().clean() or {}
        now: datetime = self.initial["now"]
        for name in ("day", "until"):
            if cleaned.get(name) and far_off(cleaned[name], now):
                self.add_error(name, "Look at the year.")
        return cleaned

    def session(self) -> Session:
        """The first session."""
        c = self.cleaned_data
        return Session(
            0, c["day"], c["opens"], c["closes"], c["place"], c["purpose"], c["capacity"],
            c["slot_minutes"] or 0, stock_place=c.get("stock_place", ""),
        )  # fmt: skip
