"""What no calendar and no mail may say: words from which a stranger learns what a visit is about.

Calendars are seen by colleagues and mail lies on locked screens. The words of such a message come from
the site's settings and from templates; this is the last look at them before they leave the house.
"""

from __future__ import annotations

import re

TELLING = (
    "hiv", "aids", "hbv", "hcv", "hepat", "hbs", "hbc", "hbe", "anti-h", "tetanus", "viral", "virus",
    "virolog", "infect", "antibod", "antigen", "rna", "dna", "pcr", "sero", "titre", "titer",
    "blood", "bleed", "plasma", "serum", "fluid", "needle", "sharp", "stick", "splash", "bite", "wound",
    "exposure", "exposed", "source patient", "prophyla", "pep", "prep", "antiretrovir", "medicine to",
    "tablet", "dose", "vaccin", "immun", "booster", "inject", "swab", "sample", "specimen", "test",
    "result", "positive", "negative", "creatinine", "kidney", "liver", "pregnan", "sexual", "std", "sti",
    "tenofovir", "emtricitabine", "lamivudine", "dolutegravir", "bictegravir", "raltegravir",
    "counsel", "follow-up", "clinic",
)  # fmt: skip
"""Beginnings of words, in small letters."""

_FOUND = re.compile(r"\b(" + "|".join(map(re.escape, TELLING)) + r")\w*", re.IGNORECASE)


class Telling(ValueError):
    """A message that says too much. The sentence names the words."""


def telling_words(text: str) -> tuple[str, ...]:
    """The words of a text that give away what it is about, in order, each once.

    >>> telling_words("Appointment, occupational medicine")
    ()
    >>> telling_words("HIV test and hepatitis B vaccine")
    ('HIV', 'test', 'hepatitis', 'vaccine')
    """
    return tuple(dict.fromkeys(found[0] for found in _FOUND.finditer(text)))


def require_neutral(text: str) -> str:
    """The same text.

    Raises:
        Telling: it holds words that may not leave the house.
    """
    if words := telling_words(text):
        raise Telling(
            "a calendar or mail names nothing of what a visit is for; found "
            + ", ".join(repr(word) for word in words)
        )
    return text


_ADDRESS = re.compile(
    r"[A-Za-z0-9.!#$%&'*+/=?^_`{|}~-]{1,64}@"
    r"[A-Za-z0-9](?:[A-Za-z0-9-]{0,61}[A-Za-z0-9])?"
    r"(?:\.[A-Za-z0-9](?:[A-Za-z0-9-]{0,61}[A-Za-z0-9])?)*",
    re.ASCII,
)


def is_mail_address(text: str) -> bool:
    """Whether a text is one address in the form that browsers take (HTML, `input type=email`).

    >>> [is_mail_address(text) for text in ("visits@hospital.example", "a@b, c@d")]
    [True, False]
    """
    return len(text) <= 254 and _ADDRESS.fullmatch(text) is not None
