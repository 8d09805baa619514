"""Sign-in and password forms in our words."""

from __future__ import annotations

from typing import Any

from django import forms
from django.contrib.auth.forms import AuthenticationForm, PasswordChangeForm

from thimble.web.passwords import opens_nothing_here


class SignInForm(AuthenticationForm):
    """Name and password."""

    fault_title = "Not signed in"
    error_messages = {
        "invalid_login": (
            "Name and password do not go together. After five tries in a row from one place the "
            "name is locked there for 15 minutes."
        ),
        "inactive": "This account is closed.",
    }

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["username"].label = "Sign-in name"
        self.fields["username"].error_messages["required"] = "Enter your sign-in name."
        self.fields["password"].error_messages["required"] = "Enter your password."

    def clean(self) -> dict[str, Any]:
        """Beside name and password: the demo's password opens nothing at a real site."""
        if opens_nothing_here(str(self.cleaned_data.get("password", ""))):
            raise self.get_invalid_login_error()
        return dict(super().clean())

    def clean_username(self) -> str:
        """Names are kept in small letters; a phone's keyboard starts with a large one."""
        return str(self.cleaned_data["username"]).strip().lower()


class OwnPasswordForm(PasswordChangeForm):
    """A new password, typed twice."""

    fault_title = "Not changed"
    error_messages = {
        "password_incorrect": "That is not your present password.",
        "password_mismatch": "The two new passwords differ.",
    }

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        labels = {
            "old_password": ("Present password", "Enter your present password."),
            "new_password1": ("New password", "Enter a new password."),
            "new_password2": ("New password once more", "Enter the new password once more."),
        }
        for name, (label, missing) in labels.items():
            self.fields[name].label = label
            self.fields[name].error_messages["required"] = missing
        advice = "Four unrelated words are easy to keep in mind and hard to guess."
        self.fields["new_password1"].help_text = f"At least 12 characters. {advice}"
        self.fields["new_password2"].help_text = ""
        self.fields["old_password"].widget = forms.PasswordInput(
            attrs={"autocomplete": "current-password"}
        )
