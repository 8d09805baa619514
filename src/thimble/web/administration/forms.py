"""Accounts: new, and changed."""

from __future__ import annotations

from typing import Any

from django import forms

from thimble.web.models import Account
from thimble.web.roles import LABELS, Role

_ROLES = [(role.value, LABELS[role]) for role in Role]


class NewAccountForm(forms.ModelForm):
    """A sign-in name, a display name and a role. The password is made by the system, once."""

    fault_title = "Not created"
    role = forms.ChoiceField(
        label="Role",
        choices=_ROLES,
        widget=forms.RadioSelect,
        error_messages={"required": "Choose a role."},
    )

    class Meta:
        model = Account
        fields = ["sign_in", "display_name", "role"]
        labels = {"sign_in": "Sign-in name", "display_name": "Name as shown to colleagues"}
        help_texts = {"sign_in": "Small letters, digits and hyphens, for example n-keller."}
        error_messages = {
            "sign_in": {
                "required": "Enter a sign-in name.",
                "unique": "This sign-in name is taken; choose another.",
                "invalid": "Use letters, digits and hyphens alone.",
            },
            "display_name": {"required": "Enter the name as shown to colleagues."},
        }

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["sign_in"].widget.attrs.update(autocomplete="off", autocapitalize="none")
        self.fields["display_name"].widget.attrs.update(autocomplete="off")

    def clean_sign_in(self) -> str:
        """Kept in small letters, as it is compared."""
        name = str(self.cleaned_data["sign_in"]).lower()
        if Account.objects.filter(sign_in=name).exists():
            raise forms.ValidationError("This sign-in name is taken; choose another.")
        return name


class ChangeAccountForm(forms.Form):
    """What an administrator may do to an account."""

    fault_title = "Not changed"
    act = forms.ChoiceField(
        choices=[("role", ""), ("close", ""), ("open", ""), ("password", "")],
        error_messages={
            "required": "Choose what to change.",
            "invalid_choice": "Choose what to change.",
        },
    )
    role = forms.ChoiceField(label="Role", choices=_ROLES, widget=forms.RadioSelect, required=False)

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["role"].hide_optional = True  # type: ignore[attr-defined]

    def clean(self) -> dict[str, Any]:
        """A change of role needs the role."""
        cleaned: dict[str, Any] = super().clean() or {}
        if cleaned.get("act") == "role" and not cleaned.get("role"):
            self.add_error("role", "Choose a role.")
        return cleaned
