"""Letters before the first day: what they say, and what they keep for a talk."""

from __future__ import annotations

from io import BytesIO

import pikepdf
import pytest

from documents.examples import NOW, protocol, site
from documents.starters import SESSION, START, lacking, letter, starter_file
from thimble.clinical.readiness import DiseaseState, together
from thimble.documents.frame import mark_of
from thimble.documents.letters.starter_letters import TALK, wanted
from thimble.documents.many_letters.data import many_letters
from thimble.documents.render import Template, render


def rows(of: str) -> list[str]:
    return [
        row[0] for part in letter(of).parts if part.table is not None for row in part.table.rows
    ]


def test_what_is_missing_is_told_with_its_day_and_the_physician_s_part_only_as_a_talk() -> None:
    said = rows("missing")

    assert said == [
        "Second dose of hepatitis B vaccine",
        "Third dose of hepatitis B vaccine",
        "Anti-HBs titre",
        TALK,
    ]
    assert "contraindicated" not in repr(letter("missing").parts)
    assert "Mon 1 Feb 2027" in letter("missing").opening[0]


def test_an_offer_names_doses_and_nothing_else() -> None:
    assert rows("offer") == [
        "Second dose of hepatitis B vaccine",
        "Third dose of hepatitis B vaccine",
    ]


def test_an_invitation_plans_what_counts_by_its_day_each_product_once() -> None:
    invitation = letter("invitation")

    assert "Mon 14 Dec 2026, between 09:00 and 12:00" in invitation.opening[0]
    assert invitation.parts[0].points == ("Second dose of hepatitis B vaccine",)


def test_an_invitation_without_its_session_is_refused() -> None:
    with pytest.raises(ValueError, match="when and where"):
        letter("invitation", session=None)


def test_who_lacks_nothing_gets_no_letter_and_who_lacks_no_dose_no_offer() -> None:
    ready = together([DiseaseState("measles", True, "Immune")], START)
    talk = together(lacking().states[1:], START)

    assert [wanted(about, ready) for about in ("missing", "invitation", "offer")] == [False] * 3
    assert [wanted(about, talk) for about in ("missing", "invitation", "offer")] == [
        True,
        True,
        False,
    ]


def test_what_rests_on_an_unread_rule_says_so() -> None:
    assert letter("missing").any_unconfirmed
    assert not letter("missing", together(lacking().states[1:], START)).any_unconfirmed


def test_each_letter_of_a_file_begins_on_a_page_of_its_own() -> None:
    with pikepdf.open(BytesIO(render(Template.MANY_LETTERS, starter_file(), at=NOW))) as pdf:
        assert len(pdf.pages) == 3


def test_a_file_without_letters_is_refused() -> None:
    with pytest.raises(ValueError, match="at least one"):
        many_letters([], "Before your first day", site(), NOW, mark_of(protocol()))


def test_a_session_is_told_in_words() -> None:
    assert SESSION.words == "Mon 14 Dec 2026, between 09:00 and 12:00"
