"""Forms of a person's own page."""

from __future__ import annotations

from django import forms

from thimble.people import choices
from thimble.web.people.forms import PlainText

SHOWN = ("card", "laboratory", "letter", "other")
"""What somebody may bring; a signed refusal is taken by the department."""


class BringForm(forms.Form):
    """A photo or scan of a paper, and what it is."""

    fault_title = "Not sent yet"

    shows = forms.ChoiceField(
        label="What is it?", choices=[(name, choices.DOCUMENTS[name]) for name in SHOWN]
    )
    text = PlainText(label="Anything to know about it", max_length=200, required=False)
    scan = forms.FileField(
        label="Photo or file",
        help_text="A sharp photo of the whole page (JPEG, PNG) or a PDF, at most 10 MB. Your name must "
        "be on it. Where and with what a photo was taken is removed before we keep it; a PDF is kept "
        "as it is.",
        error_messages={
            "required": "Choose a file.",
            "empty": "The file is empty: choose it again.",
        },
        widget=forms.FileInput(attrs={"accept": "image/jpeg,image/png,application/pdf"}),
    )
