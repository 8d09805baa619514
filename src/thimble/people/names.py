"""When two names, two numbers or two rows mean the same person: never decided here, only told."""

from __future__ import annotations

import re
import unicodedata
from functools import lru_cache

_SPLIT = re.compile(r"[^\w]+")
# Letters that no decomposition turns into plain ones.
_LETTERS = str.maketrans({"ß": "ss", "ø": "o", "đ": "d", "ł": "l", "æ": "ae", "œ": "oe", "ı": "i"})


@lru_cache(maxsize=65_536)
def name_key(*parts: str) -> tuple[str, ...]:
    """The words of a name without accents, case, order or punctuation.

    >>> name_key("Müller-Weiß", "Änne") == name_key("Anne", "MULLER WEISS")
    True
    """
    text = unicodedata.normalize("NFKD", " ".join(parts).casefold().translate(_LETTERS))
    plain = "".join(c for c in text if not unicodedata.combining(c))
    return tuple(sorted(word for word in _SPLIT.split(plain) if word))


def number_key(number: str) -> str:
    """A number as it is compared: without spaces, hyphens or case. Leading zeros count."""
    return re.sub(r"[\s\-./]", "", number).upper()


def without_zeros(number: str) -> str:
    """A number as a spreadsheet leaves it that took it for a quantity: leading zeros lost."""
    key = number_key(number)
    return key.lstrip("0") or key
