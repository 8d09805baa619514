"""What templates need beyond Django's own. Loaded into every template."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from datetime import datetime
from functools import cache
from pathlib import Path
from typing import Any

from django import template
from django.contrib.staticfiles import finders
from django.forms import BoundField
from django.templatetags.static import static

from thimble.ledger.exposed import of_a_patient
from thimble.web import words
from thimble.web.exposed import patient_exposed

register = template.Library()


@cache
def _fingerprint(name: str) -> str:
    found = finders.find(name)
    if not isinstance(found, str):
        raise LookupError(f"there is no static file {name!r}")
    return hashlib.sha256(Path(found).read_bytes()).hexdigest()[:10]


@register.simple_tag
def asset(name: str, plain: bool = False) -> str:
    """The address of a static file, with a digest of its content so that it may be kept for long.

    `plain` leaves the digest out, for a file that the style sheet names too.
    """
    return static(name) if plain else f"{static(name)}?v={_fingerprint(name)}"


@register.inclusion_tag("parts/ring.html")
def ring(left: float, total: float, text: str, large: bool = False) -> dict[str, Any]:
    """A ring that empties as a window closes, with the words beside it.

    `left` and `total` are in the same unit. Nothing left draws a broken ring with a bar: the state
    shows by shape. The ring is for the eye only; the words say all of it.
    """
    share = 0.0 if total <= 0 else max(0.0, min(1.0, left / total))
    return {
        "left": f"{share * 100:.1f}",
        "closed": left <= 0,
        "words": text,
        "large": large,
    }


@register.simple_tag(takes_context=True)
def say(context: template.Context, sentence: str) -> str:
    """Fixed words with who is exposed in the case of this page: `{% say "worker" %}` is "patient" in a
    patient's own case. Never for what people typed."""
    request = getattr(context, "request", None)
    return of_a_patient(sentence) if patient_exposed(request) else sentence


@register.filter
def moment(at: datetime | None, now: datetime | None = None) -> str:
    """`02:40 · 35 min ago`, with the day where it is another one. In the site's zone."""
    from thimble.web.context import zone

    if at is None:
        return "time not known"
    return words.moment(at, now, zone())


@register.filter
def item(mapping: Mapping[str, Any], key: str) -> Any:
    """What a mapping holds under a key; "" where it holds nothing."""
    return mapping.get(key, "") if mapping else ""


@register.filter
def first_id(field: BoundField) -> str:
    """The id that a link to a field goes to: of a group, its first control."""
    if field.use_fieldset:
        for option in field.subwidgets:
            return str(option.id_for_label)
    return str(field.id_for_label)


@register.filter
def tel(number: str) -> str:
    """A telephone number as an address: digits, `+`, `*` and `#` alone.

    The (0) of +41 (0)44 is dialled only without the country's code, and an extension never.
    """
    number = number.partition("ext")[0]
    if number.lstrip().startswith("+"):
        number = number.replace("(0)", "")
    return "".join(character for character in number if character in "0123456789+*#")
