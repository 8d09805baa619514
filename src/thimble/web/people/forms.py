"""Forms of the register: who somebody is and how they work; one piece of evidence; a scan."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date
from typing import Any

from django import forms
from django.core.files.uploadedfile import UploadedFile

from thimble.clinical.diseases import DISEASES
from thimble.clinical.saying import sentence, unit
from thimble.clinical.series.counselling import counselling
from thimble.clinical.serology.analytes import Analyte, measures
from thimble.clinical.serology.results import COMPARATORS, Word
from thimble.people import choices
from thimble.people.dates import NotADate, read_date
from thimble.people.entries import Kind
from thimble.people.hepatitis_b import DISEASE as HEPATITIS_B
from thimble.people.identity import PersonIdentity
from thimble.people.names import name_key
from thimble.web.people.words import UNITS

_COPIES = "{copies}/mL"

ORDERS: Mapping[str, str] = {
    "day_first": "Day first: 14/3/2019",
    "month_first": "Month first: 3/14/2019",
}


def clean_text(text: str) -> str:
    """Text as the ledger keeps it: without control characters and spaces around it."""
    return "".join(c for c in text if c >= " ").strip()


class PlainText(forms.CharField):
    """One line of text, without control characters."""

    def clean(self, value: Any) -> str:
        return clean_text(str(super().clean(clean_text(str(value or "")))))


def _radio(label: str, options: Mapping[str, str], **more: Any) -> forms.ChoiceField:
    field = forms.ChoiceField(
        label=label, choices=list(options.items()), widget=forms.RadioSelect, **more
    )
    field.inline = True  # type: ignore[attr-defined]
    field.error_messages["required"] = "Choose one."
    return field


def _day(label: str, **more: Any) -> forms.DateField:
    field = forms.DateField(
        label=label,
        required=False,
        widget=forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d"),
        **more,
    )
    field.error_messages["invalid"] = "Give a day, such as 2026-04-01."
    return field


class PersonForm(forms.Form):
    """Who somebody is, and how, where and when they work."""

    fault_title = "Not saved yet"

    family_name = PlainText(
        label="Family name",
        max_length=120,
        error_messages={"required": "Enter the family name."},
    )
    given_name = PlainText(label="Given names", max_length=120, required=False)
    birth_date = _day("Birth date", help_text="Tells namesakes apart; some rules depend on age.")
    number = PlainText(
        label="Staff or student number",
        max_length=40,
        required=False,
        help_text="As it is printed.",
    )
    email = forms.EmailField(
        label="E-mail",
        max_length=200,
        required=False,
        error_messages={"invalid": "This is no e-mail address."},
    )
    works_as = _radio("Works as", choices.WORKS_AS)
    role = PlainText(label="Role", max_length=120, required=False, help_text="Resident, porter …")
    department = PlainText(label="Department", max_length=120, required=False)
    site = PlainText(label="Site", max_length=120, required=False)
    cohort = PlainText(
        label="Cohort", max_length=120, required=False, help_text="Who arrives together."
    )
    starts_on = _day("First day")
    ends_on = _day("Last day")
    exposure_prone = _radio("Exposure-prone procedures", choices.EXPOSURE_PRONE)

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        for scheme, (name, categories) in choices.SCHEMES.items():
            options = [("", "Not said"), *((c, f"Category {c}") for c in categories)]
            self.fields[f"category_{scheme}"] = forms.ChoiceField(
                label=f"Category, {name}", choices=options, required=False
            )
        for field in self.fields.values():
            field.widget.attrs["autocomplete"] = "off"

    def clean_birth_date(self) -> date | None:
        """A birth date lies behind."""
        born: date | None = self.cleaned_data["birth_date"]
        today: date = self.initial["today"]
        if born is not None and not 1900 <= born.year <= today.year - 10:
            raise forms.ValidationError("Look at the year: nobody of that age works here.")
        return born

    def clean(self) -> dict[str, Any]:
        """The last day is not before the first."""
        cleaned: dict[str, Any] = super().clean() or {}
        start, end = cleaned.get("starts_on"), cleaned.get("ends_on")
        if start and end and end < start:
            self.add_error("ends_on", "The last day cannot lie before the first.")
        return cleaned

    def identity(self) -> PersonIdentity:
        """Who it is."""
        c = self.cleaned_data
        return PersonIdentity(
            c["number"], c["family_name"], c["given_name"], c["birth_date"], c["email"]
        )

    def employment(self) -> dict[str, Any]:
        """The body of an `enrolled` entry."""
        c = self.cleaned_data
        names = ("works_as", "role", "site", "department", "cohort", "exposure_prone")
        return {
            **{name: c[name] for name in names},
            "starts_on": c["starts_on"] and c["starts_on"].isoformat(),
            "ends_on": c["ends_on"] and c["ends_on"].isoformat(),
            "categories": {
                scheme: c[f"category_{scheme}"]
                for scheme in choices.SCHEMES
                if c[f"category_{scheme}"]
            },
        }


KINDS: Mapping[str, tuple[Kind, str, str]] = {
    "result": (
        Kind.RESULT_RECORDED,
        "Add a result",
        "A titre, a test for infection or tuberculosis.",
    ),
    "history": (Kind.HISTORY_RECORDED, "Add a past disease", "What it rests on matters."),
    "declined": (
        Kind.DECLINED,
        "Record a refusal",
        "The offer stands: it can be taken up any day.",
    ),
    "contraindicated": (
        Kind.CONTRAINDICATED,
        "Record a contraindication",
        "Found by a clinician; it names what must not be given and why.",
    ),
    "counselled": (
        Kind.COUNSELLED,
        "Record counselling of a non-responder",
        "What it means that hepatitis B vaccine did not work. It is asked for until it is done.",
    ),
    "offered": (Kind.OFFERED, "Record an offer", "That a vaccine was offered, and when."),
}
"""Forms of evidence: the address of each, its kind, heading and what it is for."""


class EvidenceForm(forms.Form):
    """One piece of evidence of one kind."""

    fault_title = "Not written down yet"

    def __init__(self, name: str, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.name = name
        self.kind = KINDS[name][0]
        getattr(self, f"_{name}")()

    def _result(self) -> None:
        tests = {test: f"{label}" for test, (_, label) in choices.TESTS.items()}
        self.fields["test"] = forms.ChoiceField(label="Test", choices=list(tests.items()))
        self._when("Blood taken or test read")
        words = {"": "None", **{word.value: word.value.capitalize() for word in Word}}
        self.fields["word"] = _radio("Result in words", words, required=False)
        self.fields["word"].help_text = "Of questions: negative where nothing was found."
        self.fields["comparator"] = forms.ChoiceField(
            label="Sign", choices=[(c, c) for c in COMPARATORS], initial="="
        )
        self.fields["number"] = forms.FloatField(
            label="Number",
            required=False,
            min_value=0,
            error_messages={"invalid": "Give a number, such as 145 or 9.5."},
        )
        units = [(each, unit(each) or "none") for each in UNITS]
        self.fields["unit"] = forms.ChoiceField(label="Unit", choices=units, required=False)
        self.fields["as_written"] = self._text("As it is written on the slip", required=False)
        self.fields["laboratory"] = self._text("Laboratory", required=False)
        for check, meaning in choices.SAMPLE_CHECKS.items():
            self.fields[check] = _radio(meaning, choices.YES_NO, initial="not_known")

    def _history(self) -> None:
        self._disease()
        self.fields["basis"] = _radio("It rests on", choices.HISTORY)
        self._when("When")
        self.fields["text"] = self._text("Remark", required=False)

    def _declined(self) -> None:
        what = {"vaccine": "The vaccine", "test": "The test"}
        self.fields["what"] = _radio("What was declined?", what)
        self._disease()
        self._exact("on", "Day")
        self.fields["informed"] = _radio(
            "Benefits and drawbacks of both choices were explained", {"yes": "Yes", "no": "No"}
        )
        self.fields["signed"] = _radio("Signature", choices.SIGNED)
        self.fields["signature"] = self._text(
            "Full name, typed by the person who declines",
            required=False,
            help_text="Only where it is signed here. It must be the name in the register; it is not "
            "kept again.",
        )
        self.fields["reason"] = self._text("Reason, if the person gives one", required=False)

    def _contraindicated(self) -> None:
        self._disease()
        self._when("Found on")
        self.fields["reason"] = self._text("What must not be given, and why")
        self.fields["until"] = self._text("Until, if it passes", required=False)

    def _offered(self) -> None:
        self._disease()
        self._exact("on", "Day")
        self.fields["informed"] = _radio(
            "Benefits and drawbacks of both choices were explained", {"yes": "Yes", "no": "No"}
        )

    def _counselled(self) -> None:
        self._exact("on", "Day")
        asks = counselling(str(self.initial["protocol"]))
        points = asks.points if asks is not None else ()
        self.fields["points"] = forms.MultipleChoiceField(
            label="What was said",
            choices=[(each.words, each.words) for each in points],
            widget=forms.CheckboxSelectMultiple,
            error_messages={"required": "Tick what was said."},
        )
        self.fields["material"] = self._text(
            "What was handed out",
            help_text="A leaflet, a card for the emergency department …; “nothing” where it was so.",
        )
        self.fields["material"].error_messages["required"] = (
            "Say what was handed out, or “nothing”."
        )
        self.fields["who"] = self._text(
            "Who talked with them", required=False, help_text="Empty: you, who write it down."
        )
        self.fields["text"] = self._text("Remark", required=False)

    def _disease(self) -> None:
        self.fields["disease"] = forms.ChoiceField(label="Disease", choices=list(DISEASES.items()))

    def _text(self, label: str, **more: Any) -> PlainText:
        return PlainText(label=label, max_length=500, **more)

    def _exact(self, name: str, label: str) -> None:
        field = _day(label)
        field.required = True
        field.error_messages["required"] = "Give the day."
        self.fields[name] = field

    def _when(self, label: str) -> None:
        self.fields["when"] = self._text(
            label,
            required=False,
            help_text="14.3.2019, or 3.2019 or 2019 where no more is known. Empty: not known.",
        )
        self.fields["order"] = _radio("If it can be read in two ways", ORDERS, required=False)

    def clean(self) -> dict[str, Any]:
        """Dates as the ledger has them; a signature by the name in the register."""
        cleaned: dict[str, Any] = super().clean() or {}
        for name in ("when", "until"):
            if cleaned.get(name):
                try:
                    cleaned[name] = read_date(
                        cleaned[name],
                        today=self.initial["today"],
                        order=cleaned.get("order") or None,
                        ahead=name == "until",
                    )
                except NotADate as fault:
                    self.add_error(name, sentence(str(fault)))
        if self.name == "declined" and cleaned.get("signed") == "here":
            self._signature(cleaned.get("signature", ""))
        if self.name == "result" and not self.errors:
            if not cleaned["word"] and cleaned["number"] is None:
                self.add_error("number", "Give a number, or the result in words.")
            else:
                self._measured(cleaned)
        return cleaned

    def _measured(self, cleaned: Mapping[str, Any]) -> None:
        """A number says something only in a unit of its test, within what can be."""
        number, said = cleaned["number"], cleaned["unit"]
        if number is None:
            return
        measure = measures()[Analyte(cleaned["test"])] if cleaned["test"] in set(Analyte) else None
        if measure is not None and not measure.units:
            if not cleaned["word"]:
                self.add_error(
                    "word", "Choose the word that the laboratory wrote beside the number."
                )
        elif not said:
            self.add_error("unit", "Choose the unit of the number.")
        elif measure is None or (measure.kind == "load" and said == _COPIES):
            return  # an older laboratory's copies: a number that no threshold is asked about
        elif said not in measure.units:
            self.add_error("unit", f"{measure.name} comes in {unit(measure.unit)}.")
        elif not measure.can_be(number, said):
            most = f"{measure.high / measure.units[said]:,.0f} {unit(said)}"
            self.add_error("number", f"It can be at most {most}: look at the point and the unit.")

    def _signature(self, typed: str) -> None:
        who: PersonIdentity = self.initial["identity"]
        if not typed or name_key(typed) != name_key(who.family_name, who.given_name):
            self.add_error(
                "signature", "This is not the name in the register; the person types it in full."
            )

    def body(self) -> dict[str, Any]:
        """The entry's body."""
        c = self.cleaned_data
        if self.name == "result":
            keys = ("test", "comparator", "laboratory", "as_written")
            unit = c["unit"] if c["number"] is not None else ""
            return {
                **{key: c[key] for key in keys},
                "word": c["word"] or None,
                "number": c["number"],
                "unit": unit,
                "when": c["when"] or None,
                "sample": {check: c[check] for check in choices.SAMPLE_CHECKS},
            }
        if self.name == "history":
            return {
                "disease": c["disease"],
                "basis": c["basis"],
                "when": c["when"] or None,
                "text": c["text"],
            }
        if self.name == "counselled":
            return {
                **{key: c[key] for key in ("points", "material", "who", "text")},
                "disease": HEPATITIS_B,
                "on": c["on"].isoformat(),
            }
        if self.name == "contraindicated":
            return {
                "disease": c["disease"],
                "on": c["when"] or None,
                "reason": c["reason"],
                "until": c["until"] or None,
            }
        offered = {
            "disease": c["disease"],
            "on": c["on"].isoformat(),
            "informed": c["informed"] == "yes",
        }
        if self.name == "offered":
            return offered
        return {**offered, "what": c["what"], "signed": c["signed"], "reason": c["reason"]}


class ScanForm(forms.Form):
    """A scan: a file and what it shows."""

    fault_title = "Not attached yet"

    shows = forms.ChoiceField(label="It shows", choices=list(choices.DOCUMENTS.items()))
    text = PlainText(label="Remark", max_length=200, required=False)
    scan = forms.FileField(
        label="File",
        help_text="PDF, JPEG or PNG, at most 10 MB. Place, time and camera are removed from a photo, not "
        "from a PDF.",
        error_messages={"required": "Choose a file.", "empty": "The file is empty."},
        widget=forms.FileInput(attrs={"accept": ".pdf,.jpg,.jpeg,.png"}),
    )


def content_of(upload: UploadedFile) -> bytes:
    """The whole of an uploaded file, which lies in memory."""
    return b"".join(upload.chunks())
