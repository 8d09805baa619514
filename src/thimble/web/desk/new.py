"""The form of a report taken at the desk."""

from __future__ import annotations

import secrets
from datetime import date, datetime, time
from typing import Any, Literal
from zoneinfo import ZoneInfo

from django import forms

from thimble.actions import WorkerIdentity
from thimble.protocol.vocabulary import Value, Vocabulary
from thimble.web.desk.questions import BadAnswer, read_moment
from thimble.web.moments import far_off

NOT_SAID = "not_said"


class NewCaseForm(forms.Form):
    """What is needed to open a case; all else is asked on its page, in the order that matters."""

    fault_title = "Not opened yet"

    route = forms.ChoiceField(
        label="How did the fluid reach the worker?",
        widget=forms.RadioSelect,
        error_messages={"required": "Choose how it reached the worker; “Not known yet” will do."},
    )
    precision = forms.ChoiceField(
        label="When did it happen?",
        widget=forms.RadioSelect,
        choices=[
            ("minute", "At the day and time below"),
            ("hour", "At about the time below"),
            ("date", "On the day below, hour not known"),
            ("unknown", "Not known yet"),
        ],
        error_messages={"required": "Choose how well the time is known; “Not known yet” will do."},
    )
    day = forms.CharField(
        label="Day", required=False, widget=forms.DateInput(attrs={"type": "date"})
    )
    clock = forms.CharField(
        label="Time", required=False, widget=forms.TimeInput(attrs={"type": "time"})
    )
    name = forms.CharField(label="Name of the worker", required=False, max_length=120)
    phone = forms.CharField(
        label="Phone of the worker",
        required=False,
        max_length=40,
        widget=forms.TextInput(attrs={"type": "tel", "inputmode": "tel"}),
    )
    born = forms.DateField(
        label="Date of birth",
        required=False,
        widget=forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d"),
        error_messages={"invalid": "Enter the date, for example 1990-05-17."},
    )
    staff_number = forms.CharField(label="Staff number", required=False, max_length=40)
    occupation = forms.CharField(label="Occupation", required=False, max_length=80)
    department = forms.CharField(label="Department", required=False, max_length=80)
    place = forms.CharField(
        label="Where in the hospital?",
        help_text="Ward, room or unit.",
        required=False,
        max_length=120,
    )
    task = forms.CharField(label="What was being done?", required=False, max_length=120)
    account = forms.CharField(
        label="What happened, in the worker's words",
        help_text="Leave out every name, the patient's above all.",
        required=False,
        max_length=2000,
        widget=forms.Textarea(attrs={"rows": 3}),
    )
    once = forms.CharField(required=False, max_length=64, widget=forms.HiddenInput)

    def __init__(
        self, *args: Any, vocabulary: Vocabulary, now: datetime, zone: ZoneInfo, **kwargs: Any
    ) -> None:
        super().__init__(*args, **kwargs)
        self.now, self.zone = now, zone
        self.at: datetime | None = None
        route = vocabulary["route"]
        self.fields["route"].choices = [  # type: ignore[attr-defined]
            *((value, route.label(value)) for value in route.values),
            (NOT_SAID, "Not known yet"),
        ]
        self.initial.setdefault("once", secrets.token_urlsafe(24))
        self.initial.setdefault("day", now.astimezone(zone).date().isoformat())
        self.fields["day"].widget.attrs["max"] = now.astimezone(zone).date().isoformat()

    @property
    def how_well(self) -> Literal["minute", "hour", "date", "unknown"]:
        """How well the time is known."""
        chosen: Literal["minute", "hour", "date", "unknown"] = self.cleaned_data["precision"]
        return chosen

    def clean(self) -> dict[str, Any]:
        """Join day and time to one instant in the site's zone."""
        cleaned: dict[str, Any] = super().clean() or {}
        precision = cleaned.get("precision")
        clock = (cleaned.get("clock") or "").strip()
        if precision in ("minute", "hour"):
            try:
                self.at = read_moment(cleaned.get("day", ""), clock, self.zone, self.now)
            except BadAnswer as fault:
                about_day = str(fault).startswith(("Enter the day", "Look at the year"))
                self.add_error("day" if about_day else "clock", str(fault))
        elif precision == "date":
            try:
                day = date.fromisoformat((cleaned.get("day") or "").strip())
            except ValueError:
                self.add_error("day", "Enter the day, for example 2026-03-02.")
                return cleaned
            if far_off(day, self.now):
                self.add_error("day", "Look at the year again.")
                return cleaned
            start = datetime.combine(day, time(0), tzinfo=self.zone)
            if start > self.now:
                self.add_error("day", "That day has not come yet. Look at the day again.")
            self.at = start
        if precision in ("date", "unknown") and clock:
            self.add_error("clock", "You typed a time and chose that it is not known. Change one.")
        return cleaned

    def facts(self) -> dict[str, Value]:
        """What the form states; what is not known yet stays unasked."""
        route = self.cleaned_data["route"]
        return {} if route == NOT_SAID else {"route": route}

    def worker(self) -> WorkerIdentity | None:
        """Who was exposed, if anything was said of them."""
        data = self.cleaned_data
        identity = WorkerIdentity(
            name=data["name"],
            staff_number=data["staff_number"],
            phone=data["phone"],
            date_of_birth=data["born"],
            occupation=data["occupation"],
            department=data["department"],
        )
        return None if identity == WorkerIdentity(name="") else identity
