"""What is written in people's files: refused whole where anything does not fit."""

from __future__ import annotations

from datetime import date, timedelta
from typing import Any

import pytest

from people.files import DECLINED, DOSE, ENROLLED, NOW, RESULT, people
from thimble.actions import Refused
from thimble.actions import people as acts
from thimble.actions.people_identity import MemoryPeopleIdentities
from thimble.ledger.store import MemoryStore, Overtaken
from thimble.people.entries import Kind
from thimble.people.identity import PersonIdentity
from thimble.people.names import list_key, name_key, number_key, without_zeros

WRITER: dict[str, Any] = {"now": NOW, "by": "u1", "role": "occupational_nurse"}
REA = PersonIdentity("00421", "Müller-Weiß", "Rea", date(1999, 2, 28), "rea@example.invalid")


class House:
    """A register with one person in it."""

    def __init__(self) -> None:
        self.store: MemoryStore[Kind] = people()
        self.identities = MemoryPeopleIdentities()
        self.rea = self.enrol(REA)

    def enrol(self, identity: PersonIdentity, **more: Any) -> str:
        return acts.enrol(self.store, self.identities, identity, ENROLLED, **WRITER, **more)

    def change(self, changes: dict[str, Any], **more: Any) -> list[Any]:
        return acts.change(self.store, self.identities, self.rea, changes, **WRITER, **more)

    def record(self, *drafts: tuple[Kind, dict[str, Any]], **more: Any) -> list[Any]:
        about = {"today": NOW.date(), **WRITER, **more}
        return acts.record_evidence(self.store, self.rea, drafts, **about)

    @property
    def person(self) -> Any:
        return acts.person_of(self.store, self.rea, NOW)


@pytest.fixture
def house() -> House:
    return House()


def test_no_name_birth_date_or_number_stands_in_the_chain(house: House) -> None:
    house.change({}, identity=PersonIdentity("00422", "Other", "Rea", date(1999, 2, 28)))
    # Digests are left out: they hold every short run of digits sooner or later.
    text = repr([(entry.case, entry.body) for entry in house.store.all_entries()])
    for part in ("Müller", "Other", "Rea", "0042", "1999", "rea@"):
        assert part not in text
    assert "'identity': ['number', 'family_name', 'email']" in text


def test_a_taken_number_or_a_namesake_stops_an_enrolment_until_somebody_looked(
    house: House,
) -> None:
    with pytest.raises(Refused, match="belongs to another person"):
        house.enrol(PersonIdentity("00421", "Somebody", "Else"))
    namesake = PersonIdentity("777", "MULLER WEISS", "rea", date(1999, 2, 28))
    with pytest.raises(Refused, match="same name and birth date"):
        house.enrol(namesake)
    assert house.store.cases() == [house.rea]

    other = house.enrol(namesake, not_the_same_as={house.rea})
    assert other.startswith("P-")
    assert len(house.store.cases()) == 2
    # A namesake without birth date, or born on another day, is no reason to stop.
    house.enrol(PersonIdentity("778", "Müller-Weiß", "Rea"))
    house.enrol(PersonIdentity("779", "Müller-Weiß", "Rea", date(1999, 3, 28)))
    with pytest.raises(Refused, match="name is missing"):
        house.enrol(PersonIdentity("1"))


def test_only_what_differs_is_written_and_a_change_of_place_is_a_move(house: House) -> None:
    assert house.change(ENROLLED, identity=REA) == []

    written = house.change(
        {**ENROLLED, "department": "Medicine", "role": "resident", "ends_on": "2026-12-31"},
        moved_on=date(2026, 3, 2),
    )
    assert [(e.kind, e.body) for e in written] == [
        (Kind.LEFT, {"on": "2026-12-31"}),
        (Kind.MOVED, {"department": "Medicine", "role": "resident", "on": "2026-03-02"}),
    ]
    back = house.change({"ends_on": None})
    assert [e.kind for e in back] == [Kind.CHANGED]
    assert house.person.employment.ends_on is None


def test_a_leaver_leaves_after_the_first_day_and_can_come_back(house: House) -> None:
    with pytest.raises(Refused, match="no last day"):
        acts.come_back(house.store, house.rea, date(2027, 1, 1), **WRITER)
    with pytest.raises(Refused, match="before the first"):
        acts.leave(house.store, house.rea, date(2026, 3, 31), **WRITER)
    acts.leave(house.store, house.rea, date(2026, 4, 1), **WRITER)
    acts.come_back(house.store, house.rea, date(2027, 1, 1), **WRITER)
    assert house.person.employment.starts_on == date(2027, 1, 1)


def test_the_same_dose_twice_is_refused_and_then_nothing_of_the_card_is_written(
    house: House,
) -> None:
    house.record((Kind.DOSE_RECORDED, DOSE))
    other = {**DOSE, "when": "2020"}
    for card in ([other, DOSE], [other, other]):
        with pytest.raises(Refused, match="is on record already"):
            house.record(*((Kind.DOSE_RECORDED, body) for body in card))
    assert len(house.person.evidence) == 1
    # Two doses of which nobody knows the day may well be two.
    unknown = {**DOSE, "when": None}
    house.record((Kind.DOSE_RECORDED, unknown), (Kind.DOSE_RECORDED, dict(unknown)))
    house.record((Kind.RESULT_RECORDED, RESULT), (Kind.RESULT_RECORDED, {**RESULT, "number": 9}))
    assert len(house.person.evidence) == 5


@pytest.mark.parametrize(
    ("when", "stands"),
    [
        ("2026-03-02", True),
        ("2026-03-03", False),
        ("2026-03", True),
        ("2026-04", False),
        ("2026", True),
        ("2027", False),
        ("1999-02-28", True),
        ("1999-02-27", False),
        ("1999-02", True),
        ("1999-01", False),
        ("1999", True),
        ("1998", False),
    ],
)
def test_evidence_lies_between_birth_and_now_as_far_as_its_date_is_known(
    house: House, when: str, stands: bool
) -> None:
    def write() -> None:
        house.record((Kind.DOSE_RECORDED, {**DOSE, "when": when}), born=REA.birth_date)

    if stands:
        write()
        assert house.person.evidence[0].body["when"] == when
    else:
        with pytest.raises(Refused, match=r"lies ahead|before the person's birth"):
            write()
        assert house.person.evidence == ()


def test_only_evidence_that_stands_is_verified_or_corrected(house: House) -> None:
    house.record((Kind.DOSE_RECORDED, DOSE), (Kind.DECLINED, DECLINED))
    for entries in ([], [1], [2, 9]):
        with pytest.raises(Refused):
            acts.verify_evidence(house.store, house.rea, entries, seen="original", **WRITER)
    acts.verify_evidence(house.store, house.rea, [3, 2, 2], seen="original", **WRITER)
    assert all(e.verified for e in house.person.evidence)

    with pytest.raises(Refused, match="no evidence that stands"):
        acts.correct_evidence(house.store, house.rea, 1, reason="x", **WRITER)
    bad = {**DOSE, "when": "19"}
    with pytest.raises(Refused, match="when is"):
        acts.correct_evidence(house.store, house.rea, 2, reason="x", body=bad, **WRITER)
    acts.correct_evidence(house.store, house.rea, 2, reason="not theirs", **WRITER)
    assert [e.entry for e in house.person.evidence] == [3]
    with pytest.raises(Refused, match="no evidence that stands"):
        acts.correct_evidence(house.store, house.rea, 2, reason="again", **WRITER)


def test_somebody_who_wrote_meanwhile_is_not_written_over(house: House) -> None:
    house.record((Kind.DOSE_RECORDED, DOSE))
    with pytest.raises(Overtaken):
        house.record((Kind.DOSE_RECORDED, {**DOSE, "when": "2020"}), expected_position=1)
    gone = "P-2222-2222"
    with pytest.raises(acts.NoSuchPerson):
        acts.record_evidence(
            house.store, gone, [(Kind.DOSE_RECORDED, DOSE)], today=NOW.date(), **WRITER
        )
    with pytest.raises(Refused, match="is not evidence"):
        house.record((Kind.LEFT, {"on": "2026-01-01"}))


def test_the_ledger_keeps_the_order_of_a_clock_that_was_set_back(house: House) -> None:
    early = {**WRITER, "today": NOW.date(), "now": NOW - timedelta(hours=1)}
    acts.record_evidence(house.store, house.rea, [(Kind.DOSE_RECORDED, DOSE)], **early)
    assert len(acts.person_of(house.store, house.rea, NOW - timedelta(hours=1)).evidence) == 1


@pytest.mark.parametrize(
    ("one", "other"),
    [
        (("Müller-Weiß", "Änne"), ("MULLER WEISS", "Anne")),
        (("Søndergård", "Łucja"), ("Sondergard", "Lucja")),
        (("van der Berg", "Jo"), ("Jo van der", "Berg")),
        (("O'Neil", ""), ("O Neil", "")),
    ],
)
def test_accents_case_order_and_marks_do_not_tell_names_apart(
    one: tuple[str, str], other: tuple[str, str]
) -> None:
    assert name_key(*one) == name_key(*other)


def test_a_double_name_stands_in_a_list_under_its_first_word() -> None:
    names = ["Solveig-Dane", "Ébert", "Drumlow", "van der Berg"]
    assert sorted(names, key=list_key) == ["Drumlow", "Ébert", "Solveig-Dane", "van der Berg"]


def test_names_and_numbers_that_differ_stay_apart() -> None:
    assert name_key("Meier", "Ann") != name_key("Meyer", "Ann")
    assert name_key("李", "明") != name_key("王", "明")
    assert number_key("00 42-1") == "00421" != number_key("421")
    assert without_zeros("00421") == without_zeros("421") == "421"
    assert without_zeros("000") == "000"
