"""An address as a picture that a phone reads."""

from __future__ import annotations

import segno
from django.utils.safestring import SafeString, mark_safe


def qr(text: str) -> SafeString:
    """A QR code as markup. Dark on light whatever the theme: scanners need it."""
    code = segno.make(text, error="m", micro=False)
    # Attributes only, no style.
    svg = code.svg_inline(
        border=2, dark="#000", light="#fff", svgclass=None, lineclass=None, scale=6, omitsize=True
    )
    return mark_safe(svg)  # noqa: S308 - made here from our own address


def qr_rows(text: str) -> tuple[int, ...]:
    """A QR code for print: each row a number whose bits are the modules, the last the rightmost."""
    code = segno.make(text, error="m", micro=False)
    return tuple(int("".join(map(str, row)), 2) for row in code.matrix)
