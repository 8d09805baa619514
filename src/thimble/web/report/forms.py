"""The worker's report: under a minute, on a phone, with one hand."""

from __future__ import annotations

import secrets
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from datetime import time as wall_time
from typing import Any, Literal
from zoneinfo import ZoneInfo

from django import forms

from thimble.actions.identity import WorkerIdentity
from thimble.clinical.saying import day as day_in_words
from thimble.protocol.vocabulary import Value, Vocabulary
from thimble.web.moments import far_off
from thimble.web.report.ago import span
from thimble.web.report.choices import Choice

Precision = Literal["minute", "hour", "date", "unknown"]

_AGO: dict[str, tuple[str, timedelta, Precision]] = {
    "0": ("Just now", timedelta(0), "minute"),
    "15": ("15 min ago", timedelta(minutes=15), "minute"),
    "30": ("30 min ago", timedelta(minutes=30), "minute"),
    "60": ("1 h ago", timedelta(hours=1), "hour"),
    "120": ("2 h ago", timedelta(hours=2), "hour"),
}
_OTHER, _NOT_KNOWN = "other", "not_known"
_WAITED_MOST = 7 * 24 * 60 * 60
"""Seconds. A choice that old is not what somebody means who sends it now."""
_LONG_AGO = timedelta(days=30)
"""A time further back than this is asked about once: a slip in the year looks like any other day."""
NOT_SURE = "not_sure"
"""The worker does not know: the fact stays unasked, as somebody else may."""


def _without_control(text: str) -> str:
    """Text without the control characters that a paste or a broken keyboard brings along and that
    the ledger does not keep: no report may be lost for one."""
    return "".join(c for c in text if c >= " " or c in "\n\t\r").strip()


@dataclass(frozen=True, slots=True)
class When:
    """When it happened, and how exactly that is known."""

    at: datetime | None
    precision: Precision
    relative: bool = False
    """Told as so long ago, and counted back from when the report arrived."""


class ReportForm(forms.Form):
    """One report. `now` and `zone` come in; nothing here reads the clock."""

    fault_title = "Not sent yet"

    when = forms.ChoiceField(
        label="When did it happen?",
        choices=[
            *((code, label) for code, (label, _, _) in _AGO.items()),
            (_OTHER, "Another time"),
            (_NOT_KNOWN, "Not known"),
        ],
        widget=forms.RadioSelect,
        error_messages={"required": "Choose when it happened; “Not known” is an answer too."},
    )
    day = forms.DateField(
        label="Day",
        required=False,
        widget=forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d"),
        error_messages={"invalid": "Enter the day, for example 2026-03-02."},
    )
    clock = forms.TimeField(
        label="Time",
        required=False,
        widget=forms.TimeInput(attrs={"type": "time"}, format="%H:%M"),
        error_messages={"invalid": "Enter the time, for example 14:30."},
    )
    repeated = forms.ChoiceField(
        label="The clocks went back that night, and this time came twice. Which was it?",
        required=False,
        choices=[("0", "The first: before the clocks went back"), ("1", "The second: after")],
        widget=forms.RadioSelect,
    )
    fluid = forms.ChoiceField(
        label="What was it?",
        help_text="If you could see blood in it, choose “visible blood”, whatever the fluid.",
        error_messages={"required": "Choose the fluid; “I am not sure” is an answer too."},
    )
    contact_lens = forms.ChoiceField(
        label="Were you wearing contact lenses?", required=False, widget=forms.RadioSelect
    )
    place = forms.CharField(
        label="Where in the hospital?",
        help_text="Ward, room or unit.",
        required=False,
        max_length=120,
    )
    name = forms.CharField(
        label="Your name",
        required=False,
        max_length=120,
        widget=forms.TextInput(attrs={"autocomplete": "name"}),
    )
    phone = forms.CharField(
        label="Your phone",
        required=False,
        max_length=40,
        widget=forms.TextInput(attrs={"autocomplete": "tel", "type": "tel", "inputmode": "tel"}),
    )
    account = forms.CharField(
        label="Anything that helps",
        help_text="What you were doing, what the device was. Leave out the patient's name.",
        required=False,
        max_length=2000,
        widget=forms.Textarea(attrs={"rows": 3}),
    )
    once = forms.CharField(required=False, max_length=64, widget=forms.HiddenInput)
    sure = forms.CharField(required=False, max_length=32, widget=forms.HiddenInput)
    """The day and time that the form has asked about because they lie long ago. Sent again
    unchanged, they are meant."""
    waited = forms.CharField(required=False, widget=forms.HiddenInput)
    """Seconds from the choice of "so long ago" to the sending, as the form's script measured them;
    empty without script. A phone may wait long for its connection."""

    def __init__(
        self,
        *args: Any,
        choice: Choice,
        vocabulary: Vocabulary,
        now: datetime,
        zone: ZoneInfo,
        **kwargs: Any,
    ) -> None:
        super().__init__(*args, **kwargs)
        self.choice = choice
        self.now = now
        self.zone = zone
        self.vocabulary = vocabulary
        fluid, lens = vocabulary["fluid"], vocabulary["contact_lens"]
        self.fields["fluid"].choices = [  # type: ignore[attr-defined]
            ("", "Choose"),
            *((code, fluid.label(code)) for code in ("blood", "bloody_fluid")),
            (NOT_SURE, "I am not sure"),
            (
                "Another fluid",
                [
                    (code, fluid.label(code))
                    for code in fluid.values
                    if code not in ("blood", "bloody_fluid", "unknown")
                ],
            ),
        ]
        if choice.facts.get("splash_site") == "eye":
            self.fields["contact_lens"].choices = [  # type: ignore[attr-defined]
                (code, lens.label(code)) for code in lens.values
            ]
        else:
            del self.fields["contact_lens"]
        for name in ("day", "clock", "repeated"):
            self.fields[name].hide_optional = True  # type: ignore[attr-defined]
        today = now.astimezone(zone).date().isoformat()
        self.fields["day"].widget.attrs["max"] = today
        for name in ("when", "contact_lens", "repeated"):
            if name in self.fields:
                self.fields[name].inline = True  # type: ignore[attr-defined]
        self.initial.setdefault("once", secrets.token_urlsafe(24))
        self._ambiguous = False

    @property
    def asks_which(self) -> bool:
        """Whether the time typed came twice that night, so that the form has to ask which."""
        return self._ambiguous or bool(self.data.get("repeated"))

    def clean_once(self) -> str:
        """A form without its token (typed by hand, or an old page) still counts as one report."""
        return self.cleaned_data["once"] or secrets.token_urlsafe(24)

    def clean(self) -> dict[str, Any]:
        """Join day and time to one instant in the site's zone."""
        cleaned: dict[str, Any] = super().clean() or {}
        for name in ("place", "name", "phone", "account"):
            cleaned[name] = _without_control(cleaned.get(name, ""))
        when = cleaned.get("when")
        typed = cleaned.get("day") or cleaned.get("clock")
        if when in _AGO:
            if typed:
                self.add_error(
                    "when",
                    f"You chose “{_AGO[when][0]}” and also typed a day or time. Choose “Another "
                    "time”, or clear what you typed.",
                )
            ago, precision = _AGO[when][1], _AGO[when][2]
            waited = self._waited(cleaned.get("waited", ""))
            if waited is None:
                self.add_error(
                    "when",
                    "How long ago this was chosen could not be read. Choose “Another time” and "
                    "enter the day and the time.",
                )
            else:
                cleaned["at"] = When(self.now - ago - waited, precision, relative=True)
        elif when == _NOT_KNOWN:
            cleaned["at"] = When(None, "unknown")
        elif when == _OTHER:
            self._clean_other(cleaned)
        return cleaned

    @staticmethod
    def _waited(typed: str) -> timedelta | None:
        """How long the report waited to be sent; None where that is no number of seconds, or so
        many that the choice cannot be meant any more."""
        text = typed.strip()
        if not text:
            return timedelta(0)
        if not (text.isascii() and text.isdigit() and len(text) <= 6):
            return None
        seconds = int(text)
        return timedelta(seconds=seconds) if seconds <= _WAITED_MOST else None

    def _clean_other(self, cleaned: dict[str, Any]) -> None:
        if "day" in self.errors or "clock" in self.errors:
            return
        day, clock = cleaned.get("day"), cleaned.get("clock")
        if day is None:
            self.add_error("day", "Enter the day on which it happened.")
            return
        if far_off(day, self.now):
            self.add_error("day", "Look at the year again.")
            return
        if clock is None:
            # The start of the day: it never claims that more time is left than there is.
            at = datetime.combine(day, wall_time(0), tzinfo=self.zone)
            if at > self.now:
                self.add_error("day", "That day has not come yet. Look at the day again.")
                return
            days = self.now.astimezone(self.zone).date() - day
            if days > _LONG_AGO and self._asks_whether_meant(cleaned, day, None):
                return
            cleaned["at"] = When(at.astimezone(UTC), "date")
            return
        first = datetime.combine(day, clock, tzinfo=self.zone)
        second = first.replace(fold=1)
        if first.astimezone(UTC).astimezone(self.zone).replace(tzinfo=None) != first.replace(
            tzinfo=None
        ):
            self.add_error(
                "clock",
                f"There was no {clock:%H:%M} on that day: the clocks went forward. Enter the time "
                "that the clock showed.",
            )
            return
        at = first
        if first.utcoffset() != second.utcoffset():
            self._ambiguous = True
            which = cleaned.get("repeated")
            if not which:
                self.add_error("repeated", "Choose the first or the second.")
                return
            at = second if which == "1" else first
        if at.astimezone(UTC) > self.now:
            self.add_error(
                "clock",
                f"{clock:%H:%M} on that day has not come yet. If it was before midnight, choose "
                "the day before.",
            )
            return
        long_ago = self.now - at.astimezone(UTC) > _LONG_AGO
        if long_ago and self._asks_whether_meant(cleaned, day, clock):
            return
        cleaned["at"] = When(at.astimezone(UTC), "minute")

    def _asks_whether_meant(
        self, cleaned: dict[str, Any], day: date, clock: wall_time | None
    ) -> bool:
        """Ask once about a time long ago; False where it came back unchanged, and so is meant."""
        typed = f"{day.isoformat()} {clock:%H:%M}" if clock else day.isoformat()
        if cleaned.get("sure") == typed:
            return False
        # The page that comes back carries the question's own time, whatever came with this one.
        data: Any = self.data.copy()  # type: ignore[attr-defined]
        data["sure"] = typed
        self.data = data
        at = datetime.combine(day, clock or wall_time(0), tzinfo=self.zone)
        said = day_in_words(at, self.zone) + (f", {clock:%H:%M}" if clock else "")
        ago = span(day, self.now.astimezone(self.zone).date())
        self.add_error(
            "day",
            f"That is {ago} ago: {said}. If that is right, send it again; if not, correct it.",
        )
        return True

    def facts(self) -> dict[str, Value]:
        """What this report states; what the worker is not sure of is left unasked."""
        stated: dict[str, Value] = dict(self.choice.facts)
        if self.cleaned_data["fluid"] != NOT_SURE:
            stated["fluid"] = self.cleaned_data["fluid"]
        if lens := self.cleaned_data.get("contact_lens"):
            stated["contact_lens"] = lens
        return stated

    def worker(self) -> WorkerIdentity | None:
        """Who reports, if they said."""
        name, phone = self.cleaned_data["name"], self.cleaned_data["phone"]
        return WorkerIdentity(name=name, phone=phone) if name or phone else None
