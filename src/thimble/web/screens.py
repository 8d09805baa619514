"""The screens found in this package: a folder with urls.py is a screen.

A screen's `urls.py` holds `app_name`, `PREFIX` (where its paths begin, "" for the root),
`urlpatterns`, and `NAVIGATION`: links for the header, each with the capability that it needs.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from functools import cache
from importlib import import_module
from types import ModuleType

from django.conf import settings


@dataclass(frozen=True, slots=True)
class Link:
    """A link of the header. `order` sorts; `capability` decides who sees it.

    `seldom` is one that the day's work does not need: where the bar would be too long it stands under
    More.
    """

    label: str
    url_name: str
    capability: str
    order: int = 50
    seldom: bool = False


@cache
def modules() -> tuple[ModuleType, ...]:
    """The `urls` module of every screen."""
    return tuple(import_module(f"thimble.web.{name}.urls") for name in settings.SCREENS)


@cache
def links() -> tuple[Link, ...]:
    """Every link of the header, in order."""
    found: Iterable[Link] = (
        link for module in modules() for link in getattr(module, "NAVIGATION", ())
    )
    return tuple(sorted(found, key=lambda link: (link.order, link.label)))
