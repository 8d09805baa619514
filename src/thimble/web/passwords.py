"""The one password that everybody knows, and where it is refused."""

from __future__ import annotations

from typing import Any

from django.core.exceptions import ValidationError

from thimble.clinical.site import SiteError
from thimble.web.context import get_site

PUBLISHED = "thimble-demo"
"""The password of the invented hospital's accounts: it stands in the documentation."""


class NotThePublishedOne:
    """Nobody chooses the published password: a validator for `AUTH_PASSWORD_VALIDATORS`."""

    def validate(self, password: str, user: Any = None) -> None:  # noqa: ARG002
        """Raises ValidationError where it is chosen."""
        if password.strip().lower() == PUBLISHED:
            raise ValidationError("This password stands in the documentation; choose another.")

    def get_help_text(self) -> str:
        return "Not the password of the invented hospital."


def opens_nothing_here(password: str) -> bool:
    """Whether this is the published password at a site whose data are not invented.

    A real site that grew out of the invented hospital's folder must not keep its open doors.
    """
    if password != PUBLISHED:
        return False
    try:
        return not get_site().invented
    except SiteError:
        return True
