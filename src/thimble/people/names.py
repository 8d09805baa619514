"""When two names, two numbers or two rows mean the same person: never decided here, only told."""

from __future__ import annotations

import re
import unicodedata
from datetime import date
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
    return tuple(sorted(list_key(*parts)))


def list_key(*parts: str) -> tuple[str, ...]:
    """The words of a name in their order, to stand in a list by: without accents, case or punctuation.

    >>> list_key("Solveig-Dane", "Märit")
    ('solveig', 'dane', 'marit')
    """
    text = unicodedata.normalize("NFKD", " ".join(parts).casefold().translate(_LETTERS))
    plain = "".join(c for c in text if not unicodedata.combining(c))
    return tuple(word for word in _SPLIT.split(plain) if word)


def another(
    name: tuple[str, ...], born: date | None, other: tuple[str, ...], other_born: date | None
) -> str:
    """What speaks for two people where one number came twice: numbers are mistyped, and given again to
    others. "" where nothing does.

    With one birth date a word of the name in common is enough, since people marry. Without it one name must
    hold the other whole, and more than a given name.

    Args:
        name, other: as `name_key` has them.

    >>> another(("anna", "weber"), None, ("anna", "maria", "weber"), None)
    ''
    >>> another(("anna", "weber"), None, ("anna", "lindt"), None)
    'another name, and a birth date is missing'
    """
    one, two = set(name), set(other)
    if not one & two:
        return "another name"
    if born is not None and other_born is not None:
        return "" if born == other_born else "another birth date"
    whole = one == two or (len(one & two) > 1 and (one < two or two < one))
    return "" if whole else "another name, and a birth date is missing"


def number_key(number: str) -> str:
    """A number as it is compared: without spaces, hyphens or case. Leading zeros count."""
    return re.sub(r"[\s\-./]", "", number).upper()


def without_zeros(number: str) -> str:
    """A number as a spreadsheet leaves it that took it for a quantity: leading zeros lost."""
    key = number_key(number)
    return key.lstrip("0") or key
