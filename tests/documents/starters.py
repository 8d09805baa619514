"""Letters to invented starters, for tests of their words and of their file."""

from __future__ import annotations

from datetime import date, time
from typing import Any

from documents.examples import NOW, protocol, site
from thimble.clinical.readiness import DiseaseState, Lack, Need, Readiness, together
from thimble.documents.frame import mark_of
from thimble.documents.letters.letter import Letter, OwnPage
from thimble.documents.letters.starter_letters import PAGE_WORDS, Session, starter_letter
from thimble.documents.many_letters.data import many_letters

TODAY = NOW.date()
START = date(2027, 2, 1)
SESSION = Session(date(2026, 12, 14), time(9), time(12), "House C, ground floor")
VACCINE = "Hepatitis B vaccine"


def lacking() -> Readiness:
    """A dose now, one later with its titre, and something for the physician."""
    doses = DiseaseState(
        "hepatitis_b",
        False,
        "1 dose counts",
        (
            Lack(Need.DOSE, "Second dose of hepatitis B vaccine", VACCINE, TODAY, TODAY),
            Lack(Need.DOSE, "Third dose of hepatitis B vaccine", VACCINE, date(2026, 12, 1), START),
            Lack(Need.TEST, "Anti-HBs titre", "anti_hbs", date(2027, 3, 1), date(2027, 3, 1)),
        ),
        date(2027, 3, 4),
        date(2027, 1, 4),
        "the titre is 10 or more",
        confirmed=False,
    )
    talk = DiseaseState(
        "varicella",
        False,
        "Contraindicated",
        (Lack(Need.PHYSICIAN, "Varicella: refer"),),
        open="Varicella vaccine is contraindicated: the physician decides.",
    )
    return together([doses, talk], START)


def letter(about: str, whole: Readiness | None = None, **more: Any) -> Letter:
    more.setdefault("session", SESSION)
    return starter_letter(
        about, whole or lacking(), "Ada Invented", site(), NOW, mark_of(protocol()), **more
    )


def starter_file() -> dict[str, Any]:
    """Three letters in one file, one with the picture of an address."""
    page = OwnPage(
        "https://thimble.example/own/open/abc", (0b1110, 0b1010, 0b0110, 0b0001), PAGE_WORDS
    )
    letters = [letter(about, page=page).to_data() for about in ("missing", "invitation", "offer")]
    return many_letters(letters, "Before your first day", site(), NOW, mark_of(protocol()))
