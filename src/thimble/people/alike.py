"""Who of one birth date may be one person under two spellings or names: never decided here, only asked.

The birth date must be the same and known. Then it is asked about whoever has a word of the name in common
(the family name, a given name of somebody who married, both of them the other way round), and about whoever
is spelled nearly alike. Twins are asked about too: nothing but a person tells them apart.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from datetime import date
from difflib import SequenceMatcher
from typing import Generic, TypeVar

from thimble.people.identity import PersonIdentity
from thimble.people.names import list_key, name_key

Key = TypeVar("Key")

NEAR = 0.75
"""From which share of letters in the same order two names are spelled nearly alike: Kowalski, Jan and
Kovalsky, Yan are just so. Of `difflib`: twice the letters in common through the letters of both."""

_PARTICLES = frozenset(
    (
        "da",
        "de",
        "del",
        "della",
        "den",
        "der",
        "di",
        "do",
        "dos",
        "du",
        "la",
        "le",
        "ten",
        "van",
        "von",
        "zu",
    )
)
"""Words of many names, which make nobody alike unless they are the whole of a name."""


def alike(one: PersonIdentity, other: PersonIdentity) -> str:
    """What two have in common that may be one person, as it follows "the same"; "" where it is too little.

    >>> born = date(2003, 1, 1)
    >>> alike(PersonIdentity("", "Brindle", "Inés", born), PersonIdentity("", "Brindle", "Ines", born))
    'name and birth date'
    >>> alike(PersonIdentity("", "Brindle", "Inés", born), PersonIdentity("", "Brindel", "Inez", born))
    'birth date and a similar name'
    """
    if one.birth_date is None or one.birth_date != other.birth_date:
        return ""
    words, others = (name_key(who.family_name, who.given_name) for who in (one, other))
    if not words or not others:
        return ""
    if words == others:
        return "name and birth date"
    for part, told in (("family_name", "family name"), ("given_name", "given name")):
        key = name_key(getattr(one, part))
        if key and key == name_key(getattr(other, part)):
            return f"{told} and birth date"
    if (set(words) & set(others)) - _PARTICLES or _near(one, other):
        return "birth date and a similar name"
    return ""


def _near(one: PersonIdentity, other: PersonIdentity) -> bool:
    """Whether the letters are nearly the same, in the order of the cells or in that of the alphabet."""
    for key in (list_key, name_key):
        # Sorted, since difflib does not find the same of two texts and of the two exchanged.
        texts = sorted(" ".join(key(who.family_name, who.given_name)) for who in (one, other))
        near = SequenceMatcher(None, texts[0], texts[1], autojunk=False)
        if near.real_quick_ratio() >= NEAR <= near.quick_ratio() and near.ratio() >= NEAR:
            return True
    return False


class ByBirth(Generic[Key]):
    """People by their birth dates: only those of one birth date are compared, however many there are."""

    def __init__(self, people: Mapping[Key, PersonIdentity] | None = None) -> None:
        self._born: dict[date, list[tuple[Key, PersonIdentity]]] = {}
        for key, who in (people or {}).items():
            self.add(key, who)

    def add(self, key: Key, who: PersonIdentity) -> None:
        """One more, who is found from now on."""
        if who.birth_date is not None:
            self._born.setdefault(who.birth_date, []).append((key, who))

    def alike(self, who: PersonIdentity) -> Iterator[tuple[Key, str]]:
        """Everybody who may be the same person, with what they have in common (see `alike`)."""
        for key, other in self._born.get(who.birth_date, ()) if who.birth_date else ():
            if told := alike(who, other):
                yield key, told
