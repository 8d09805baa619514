"""The one Django application of the project."""

from typing import Any

from django.apps import AppConfig
from django.db.models.signals import post_migrate


class WebConfig(AppConfig):
    """Tables, screens and templates of Thimble."""

    name = "thimble.web"
    label = "web"
    verbose_name = "Thimble"

    def ready(self) -> None:
        # Its receiver gives a session its beginning: it must listen before the first sign-in.
        from thimble.web import sessions  # noqa: F401

        post_migrate.connect(_keep_append_only, sender=self, dispatch_uid="thimble-append-only")


def _keep_append_only(using: str, **_: Any) -> None:
    """Put the triggers (back) after every migration: SQLite drops them when it rebuilds a table."""
    from django.db import connections

    from thimble.web import append_only

    append_only.install(connections[using])
