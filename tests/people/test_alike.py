"""Who may be one person under two spellings or names is asked about. Everybody is invented."""

from __future__ import annotations

from datetime import date, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from thimble.people.alike import ByBirth, alike
from thimble.people.identity import PersonIdentity

BORN = date(2003, 1, 1)


def who(name: str, born: date | None = BORN, number: str = "") -> PersonIdentity:
    family, _, given_name = name.partition(", ")
    return PersonIdentity(number, family, given_name, born)


@pytest.mark.parametrize(
    ("one", "other", "told"),
    [
        ("Ashgrove, Aila", "ASHGROVE, Áila", "name and birth date"),
        ("Ashgrove, Aila", "Aila, Ashgrove", "name and birth date"),
        ("Ashgrove, Aila", "Ashgrove Aila", "name and birth date"),
        ("Ashgrove, Aila", "Ashgrove, Ayla", "family name and birth date"),
        ("Ashgrove, Aila", "Ashgrove, Rune", "family name and birth date"),
        ("Ashgrove, Aila", "Thornby, Aila", "given name and birth date"),
        ("Le, Van", "Le, Thu", "family name and birth date"),
        ("Ashgrove, Aila", "Ashgrove-Thornby, Aila Maren", "birth date and a similar name"),
        ("Ashgrove, Aila", "Aila, Thornby", "birth date and a similar name"),
        ("Müller, Jörg", "Mueller, Joerg", "birth date and a similar name"),
        ("Meier, Jon", "Meyer, John", "birth date and a similar name"),
        ("Kowalski, Jan", "Kovalsky, Yan", "birth date and a similar name"),
        ("Ashgrove, Aila", "Ashgrave, Ayla", "birth date and a similar name"),
        ("Ashgrove, Aila", "Brindle, Inés", ""),
        ("van den Berg, Saskia", "van den Akker, Tom", ""),
        ("", "", ""),
    ],
)
def test_what_two_of_one_birth_date_have_in_common(one: str, other: str, told: str) -> None:
    assert alike(who(one), who(other)) == told
    assert alike(who(other), who(one)) == told


@pytest.mark.parametrize("born", [BORN + timedelta(days=1), None])
def test_without_the_same_birth_date_nothing_is_alike(born: date | None) -> None:
    assert not alike(who("Ashgrove, Aila"), who("Ashgrove, Aila", born))
    assert not alike(who("Ashgrove, Aila", None), who("Ashgrove, Aila", born))


def test_another_number_makes_nobody_another_person() -> None:
    assert alike(who("Ashgrove, Aila", number="1"), who("Ashgrove, Ayla", number="2"))


NAMES = st.text("abil, -", max_size=12)
BIRTHS = st.sampled_from([None, BORN, BORN + timedelta(days=1)])
PEOPLE = st.builds(who, NAMES, BIRTHS)


@given(PEOPLE, PEOPLE)
def test_it_does_not_matter_who_was_there_first(one: PersonIdentity, other: PersonIdentity) -> None:
    assert alike(one, other) == alike(other, one)


@given(st.lists(PEOPLE, max_size=8), PEOPLE)
def test_the_register_by_birth_dates_finds_whom_comparing_with_everybody_finds(
    people: list[PersonIdentity], new: PersonIdentity
) -> None:
    everybody = {at: told for at, each in enumerate(people) if (told := alike(new, each))}
    assert dict(ByBirth(dict(enumerate(people))).alike(new)) == everybody
