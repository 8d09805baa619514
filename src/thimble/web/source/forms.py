"""Who the source patient is: kept apart, never in the ledger."""

from __future__ import annotations

from django import forms

from thimble.actions import SourceIdentity


class IdentityForm(forms.Form):
    """Enough to find the patient again, and no more."""

    fault_title = "Not saved yet"

    name = forms.CharField(label="Name", required=False, max_length=120)
    hospital_number = forms.CharField(label="Hospital number", required=False, max_length=40)
    date_of_birth = forms.DateField(
        label="Date of birth",
        required=False,
        widget=forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d"),
        error_messages={"invalid": "Enter the date, for example 1990-05-17."},
    )
    ward = forms.CharField(label="Ward", required=False, max_length=80)
    attending = forms.CharField(label="Treating team", required=False, max_length=120)

    def identity(self) -> SourceIdentity:
        """What was typed."""
        return SourceIdentity(**self.cleaned_data)
