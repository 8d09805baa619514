"""Whole numbers as browsers send them."""

from __future__ import annotations


def whole(text: str | None) -> int | None:
    """A number of at most nine digits; None for any other text, however long it is.

    >>> whole("12"), whole("²"), whole("9" * 5000), whole(None)
    (12, None, None, None)
    """
    if not text or not text.isascii() or not text.isdecimal() or len(text) > 9:
        return None
    return int(text)
