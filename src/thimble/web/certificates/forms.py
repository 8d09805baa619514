"""Forms of certificates: what is certified, and why one is withdrawn or holds still."""

from __future__ import annotations

from typing import Any

from django import forms

from thimble.documents.clearance_certificate.data import on
from thimble.people import choices
from thimble.people.certificates.basis import Basis
from thimble.people.certificates.stating import CLEARED, NOT_STATED, RESTRICTIONS, Statement
from thimble.web.people.forms import PlainText

_PRONE = [
    (NOT_STATED, "Nothing is said of them"),
    (CLEARED, "Cleared"),
    *(
        (f"{CLEARED}:{scheme}:{category}", f"Cleared, {name} category {category}")
        for scheme, (name, categories) in choices.SCHEMES.items()
        for category in categories
    ),
]


class IssueForm(forms.Form):
    """What a certificate states. Only a physician chooses more than its last day."""

    fault_title = "Not issued yet"

    restriction = forms.ChoiceField(
        label="Restriction",
        choices=[(id_, words.capitalize()) for id_, words in RESTRICTIONS.items()],
        widget=forms.RadioSelect,
        error_messages={"required": "Choose one."},
    )
    exposure_prone = forms.ChoiceField(
        label="Exposure-prone procedures",
        choices=_PRONE,
        help_text="Printed only if you decide so. A category stands under its own scheme.",
    )
    valid_until = forms.DateField(
        label="Valid until",
        widget=forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d"),
        error_messages={
            "required": "Say until when it holds.",
            "invalid": "Give a day, such as 2026-04-01.",
        },
    )
    reason = PlainText(
        label="Why",
        max_length=500,
        required=False,
        help_text="Kept in the file and never printed.",
    )

    def __init__(self, data: Any, basis: Basis, *, decides: bool) -> None:
        initial = {"restriction": "none", "exposure_prone": NOT_STATED}
        super().__init__(data, initial=initial)
        until = self.fields["valid_until"]
        until.help_text = f"{on(basis.limit.until)} at most: {basis.limit.words}."
        if basis.standard:
            self.initial["valid_until"] = basis.limit.until
        else:
            # Whoever decides in spite of the tables chooses; nothing is chosen for them.
            del self.initial["restriction"]
        if basis.decided is not None and basis.decided.outcome != "fit":
            self.initial["restriction"] = basis.decided.restriction
        if not decides:
            for name in ("restriction", "exposure_prone", "reason"):
                del self.fields[name]
        elif not basis.standard:
            self.fields["reason"].required = True
            self.fields["reason"].error_messages["required"] = "Say why."

    def clean(self) -> dict[str, Any]:
        """The parts make a statement together."""
        cleaned: dict[str, Any] = super().clean() or {}
        try:
            self.statement()
        except ValueError as fault:
            raise forms.ValidationError(f"{str(fault).capitalize()}.") from fault
        return cleaned

    def statement(self) -> Statement:
        """What is stated. Where the form does not ask, the standard."""
        told = self.cleaned_data
        return Statement(told.get("restriction", "none"), told.get("exposure_prone", NOT_STATED))


class ReasonForm(forms.Form):
    """Why."""

    fault_title = "Not done yet"

    reason = PlainText(
        label="Why",
        max_length=500,
        help_text="Kept in the file and told to nobody else.",
        error_messages={"required": "Say why."},
    )
