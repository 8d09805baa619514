"""An import: the fate of every row is told before anything is written, and it can be taken back."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import date, timedelta
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from people.files import DOSE, ENROLLED, NOW, people
from people.sheets import xlsx
from thimble.actions import Refused
from thimble.actions import people as acts
from thimble.actions.people_identity import MemoryPeopleIdentities
from thimble.actions.people_import import apply_import, new_import_id, undo_import
from thimble.exchange.sheets import Sheet, read_sheets
from thimble.ledger.verify import verify
from thimble.people.entries import Kind
from thimble.people.fold import Person, fold
from thimble.people.identity import PersonIdentity
from thimble.people.importing import (
    Columns,
    Fate,
    Preview,
    Register,
    find_header,
    guess_columns,
    preview,
)

TODAY = NOW.date()
FILE = "ab" * 32
WRITER: dict[str, Any] = {"now": NOW, "by": "u1", "role": "occupational_nurse"}
HEADER = ("Number", "Surname", "First name", "Date of birth", "Department", "Start date")
REA = ("00421", "Brindle", "Inés", date(1999, 2, 28), "Surgery", date(2026, 4, 1))


class House:
    """A register in memory."""

    def __init__(self) -> None:
        self.store = people()
        self.identities = MemoryPeopleIdentities()

    def people(self) -> list[Person]:
        found = [
            fold(self.store.entries(ref), NOW + timedelta(days=9)) for ref in self.store.cases()
        ]
        return [person for person in found if person.enrolled]

    def state(self) -> tuple[object, object]:
        work = {person.reference: person.employment for person in self.people()}
        return work, dict(self.identities.all_identities())

    def register(self) -> Register:
        return Register(self.people(), self.identities.all_identities())

    def enrol(self, number: str, family: str, given: str, born: date | None, **work: Any) -> str:
        who = PersonIdentity(number, family, given, born)
        body = {**ENROLLED, **work}
        known = set(self.identities.all_identities())
        return acts.enrol(self.store, self.identities, who, body, not_the_same_as=known, **WRITER)

    def preview(
        self, sheet: Sheet, decisions: Mapping[int, str] | None = None, **said: Any
    ) -> Preview:
        return preview(sheet, columns_of(sheet, **said), self.register(), decisions or {}, TODAY)

    def apply(self, seen: Preview, import_id: str = "i1") -> Mapping[int, str]:
        return apply_import(self.store, self.identities, seen, import_id, file=FILE, **WRITER)

    def undo(self, import_id: str = "i1") -> Any:
        return undo_import(self.store, self.identities, import_id, **WRITER)


def sheet_of(*rows: Sequence[Any], header: Sequence[str] = HEADER) -> Sheet:
    return read_sheets(xlsx(header, *rows))[0]


def columns_of(sheet: Sheet, **said: Any) -> Columns:
    header = find_header(sheet)
    fields = said.pop("fields", None) or guess_columns(sheet, header)
    return Columns(**{"works_as": "student", **said, "header": header, "fields": fields})


@pytest.fixture
def house() -> House:
    return House()


@pytest.mark.parametrize(
    ("headers", "fields"),
    [
        (HEADER, ["number", "family_name", "given_name", "birth_date", "department", "starts_on"]),
        (
            ("Vorname", "Nachname", "Geburtsdatum", "Personalnummer", "Abteilung", "Eintritt"),
            ["given_name", "family_name", "birth_date", "number", "department", "starts_on"],
        ),
        (
            ("Matricule", "NOM", "Prénom", "Date de naissance", "Service", "Date d’entrée"),
            ["number", "family_name", "given_name", "birth_date", "department", "starts_on"],
        ),
        (
            ("Apellidos", "Nombre", "Fecha de nacimiento", "Correo"),
            ["family_name", "given_name", "birth_date", "email"],
        ),
        (("Cognome", "Nome", "Data di nascita"), ["family_name", "given_name", "birth_date"]),
        (("Name", "Vorname", "E-Mail"), ["family_name", "given_name", "email"]),
        (("Full name", "DOB", "Student No."), ["full_name", "birth_date", "number"]),
        (("Shoe size", "Surname"), [None, "family_name"]),
        (
            ("Staff or student number", "Family name", "Given names", "Works as", "First day"),
            ["number", "family_name", "given_name", "works_as", "starts_on"],
        ),
    ],
)
def test_headers_of_several_languages_and_orders_are_guessed(
    headers: Sequence[str], fields: list[str | None]
) -> None:
    sheet = sheet_of(["x"] * len(headers), header=headers)
    guessed = guess_columns(sheet, 1)
    assert [guessed.get(column) for column in range(len(headers))] == fields


def test_title_rows_are_no_header() -> None:
    content = xlsx(["New students, spring"], ["printed 1 March"], [], HEADER, REA, merged="A1:F1")
    assert find_header(read_sheets(content)[0]) == 4


@pytest.mark.parametrize(
    ("said", "fault"),
    [
        ({"fields": {0: "number"}}, "which column holds the name"),
        ({"fields": {0: "family_name", 1: "family_name"}}, "more than one column"),
        ({"fields": {0: "family_name", 1: "full_name"}}, "not both"),
        ({"works_as": ""}, "what everybody in this file works as"),
    ],
)
def test_columns_that_do_not_suffice_are_told(
    house: House, said: dict[str, Any], fault: str
) -> None:
    with pytest.raises(ValueError, match=fault):
        house.preview(sheet_of(REA), **said)


def test_a_new_row_is_written_as_it_was_shown(house: House) -> None:
    seen = house.preview(sheet_of(REA), cohort="Spring")
    (row,) = seen.rows
    assert (row.fate, row.work["department"], row.work["starts_on"]) == (
        Fate.NEW,
        "Surgery",
        "2026-04-01",
    )

    (person,) = house.apply(seen).values()
    (found,) = house.people()
    assert found.reference == person
    assert (found.employment.cohort, found.employment.works_as) == ("Spring", "student")
    assert found.employment.exposure_prone == "not_known"
    assert house.identities.identity(person) == PersonIdentity(*REA[:4])
    assert "Brindle" not in repr(list(house.store.all_entries()))
    # The same file again says nothing new.
    again = house.preview(sheet_of(REA), cohort="Spring")
    assert [r.fate for r in again.rows] == [Fate.UNCHANGED]
    with pytest.raises(Refused, match="says anything new"):
        house.apply(again, "i2")


def test_a_changed_row_says_from_what_to_what_and_an_empty_cell_changes_nothing(
    house: House,
) -> None:
    rea = house.enrol("00421", "Brindle", "Inés", date(1999, 2, 28), starts_on="2026-04-01")
    row_of_file = [
        "00421",
        "BRINDLE",
        "Ines",
        None,
        "Medicine",
        date(2026, 9, 1),
        date(2027, 1, 31),
    ]
    seen = house.preview(sheet_of(row_of_file, header=(*HEADER, "Last day")))
    (row,) = seen.rows
    assert (row.fate, row.person) == (Fate.CHANGED, rea)
    told = {(c.field, c.before, c.after) for c in row.changes}
    assert told == {
        ("department", "Surgery", "Medicine"),
        ("starts_on", "2026-04-01", "2026-09-01"),
        ("ends_on", "", "2027-01-31"),
    }
    house.apply(seen)
    kinds = [entry.kind for entry in house.store.entries(rea)]
    assert kinds == [Kind.ENROLLED, Kind.LEFT, Kind.MOVED, Kind.CHANGED]
    (person,) = house.people()
    assert (person.employment.department, person.employment.role) == ("Medicine", "medical student")
    assert house.identities.identity(rea) == PersonIdentity(
        "00421", "Brindle", "Inés", date(1999, 2, 28)
    )


@pytest.mark.parametrize(
    ("row", "doubt", "may_be_new"),
    [
        # The number fits nothing else: a typing error, or somebody else's.
        (("00421", "Corvane", "Oskar", date(1980, 1, 1)), "another name", False),
        (("00421", "Brindle", "Inés", date(1999, 3, 28)), "another birth date", False),
        # Numbers are given again: a given name in common tells nobody apart.
        (("00421", "Corvane", "Inés", None), "a birth date is missing", False),
        (("00421", None, "Inés", None), "a birth date is missing", False),
        # A spreadsheet took the leading zeros.
        ((421, "Brindle", "Inés", None), "leading zeros", True),
        ((421, "Brindle-Vale", "I.", date(1999, 2, 28)), "leading zeros", True),
        # Another number or none, the same name and birth date.
        (("9", "Brindle", "Inés", date(1999, 2, 28)), "same name and birth date", True),
        ((None, "INES", "brindle", date(1999, 2, 28)), "same name and birth date", True),
        ((None, "Brindle", "Inés", None), "a birth date is missing", True),
    ],
)
def test_whatever_is_less_than_sure_is_asked_and_nothing_is_written_until_it_is_answered(
    house: House, row: Sequence[Any], doubt: str, may_be_new: bool
) -> None:
    rea = house.enrol("00421", "Brindle", "Inés", date(1999, 2, 28))
    sheet = sheet_of((*row, "Medicine"))
    seen = house.preview(sheet)
    (asked,) = seen.rows
    assert (asked.fate, asked.candidates, asked.may_be_new) == (Fate.ASK, (rea,), may_be_new)
    assert doubt in asked.why[0]
    with pytest.raises(Refused, match="still asked about"):
        house.apply(seen)

    same = house.preview(sheet, {2: rea}).rows[0]
    assert (same.fate, same.person) == (Fate.CHANGED, rea)
    # A number that lost its zeros does not overwrite the one that has them.
    if row[0] == 421:
        assert same.identity.number == "00421"
    left = house.preview(sheet, {2: "leave"}).rows[0]
    assert left.fate is Fate.LEFT_OUT
    other = house.preview(sheet, {2: "new"}).rows[0]
    assert other.fate is (Fate.NEW if may_be_new else Fate.ASK)
    # A decision for somebody who was not offered is none.
    assert house.preview(sheet, {2: "P-2222-2222"}).rows[0].fate is Fate.ASK


@pytest.mark.parametrize(
    "row",
    [
        ("421", "Corvane", "Oskar", date(1980, 1, 1)),
        ("500", "Brindle", "Inés", date(1999, 3, 28)),
        ("", "Brindle", "Ines-Maria", date(1999, 3, 28)),
        ("", "Corvane", "Oskar", date(1999, 2, 28)),
    ],
)
def test_who_shares_only_a_little_is_another_person(house: House, row: Sequence[Any]) -> None:
    house.enrol("00421", "Brindle", "Inés", date(1999, 2, 28))
    assert house.preview(sheet_of(row)).rows[0].fate is Fate.NEW


def test_rows_of_one_file_are_compared_with_each_other(house: House) -> None:
    seen = house.preview(
        sheet_of(
            REA,
            REA,
            ("7", "Corvane", "Oskar"),
            ("7", "Garrow", "Milo"),
            ("8", "Brindle", "Inés", date(1999, 2, 28)),
        )
    )
    fates = [row.fate for row in seen.rows]
    assert fates == [Fate.NEW, Fate.REPEATED, Fate.REFUSED, Fate.REFUSED, Fate.ASK]
    assert seen.rows[1].why == ("It says the same as row 2",)
    assert "row 5" in seen.rows[2].why[0]
    assert "row 4" in seen.rows[3].why[0]
    assert "Row 2 has the same name" in seen.rows[4].why[0]


@pytest.mark.parametrize("number", ["", "900"])
@pytest.mark.parametrize(
    ("name", "told"),
    [
        (("Ashgrove", "Aila"), "name and birth date"),
        (("Ashgrove", "Ayla"), "family name and birth date"),
        (("Thornby", "Aila"), "given name and birth date"),
        (("Ashgrofe", "Ayla"), "birth date and a similar name"),
        (("Aila", "Ashgrove"), "name and birth date"),
    ],
)
def test_a_similar_name_of_one_birth_date_is_asked_about(
    house: House, name: tuple[str, str], told: str, number: str
) -> None:
    born = date(2003, 1, 1)
    row = (number, *name, born)
    twice = house.preview(sheet_of(("100", "Ashgrove", "Aila", born), row)).rows
    assert [each.fate for each in twice] == [Fate.NEW, Fate.ASK]
    assert twice[1].why == (f"Row 2 has the same {told}",)

    known = house.enrol("100", "Ashgrove", "Aila", born)
    twin = house.enrol("101", "Ashgrove", "Tova", born)
    sheet = sheet_of(row)
    (asked,) = house.preview(sheet).rows
    assert asked.fate is Fate.ASK
    assert asked.why == (f"Somebody has the same {told}",)
    assert asked.may_be_new
    assert asked.candidates[0] == known
    assert (twin in asked.candidates) == ("Ashgrove" in name)
    assert house.preview(sheet, {2: "new"}).rows[0].fate is Fate.NEW
    assert house.preview(sheet, {2: known}).rows[0].person == known


def test_twins_in_the_register_are_not_asked_about_again(house: House) -> None:
    born = date(2003, 1, 1)
    rows = [("100", "Ashgrove", "Aila", born), ("101", "Ashgrove", "Ayla", born)]
    house.apply(house.preview(sheet_of(*rows), {3: "new"}))
    assert [row.fate for row in house.preview(sheet_of(*rows)).rows] == [Fate.UNCHANGED] * 2


def test_dates_that_prove_both_orders_are_read_and_cautioned_about(house: House) -> None:
    sheet = sheet_of(
        ("1", "Brindle", "Inés", "14.3.1999", "", date(2026, 4, 1)),
        ("2", "Corvane", "Oskar", "3/15/1999", "", "3/14/2026"),
        ("3", "Garrow", "Milo", "4/5/1999"),
    )
    for order, born in (("day_first", date(1999, 5, 4)), ("month_first", date(1999, 4, 5))):
        seen = house.preview(sheet, order=order)
        assert [row.identity.birth_date for row in seen.rows] == [
            date(1999, 3, 14),
            date(1999, 3, 15),
            born,
        ]
        assert {row.fate for row in seen.rows} == {Fate.NEW}
        both = seen.cautions[0]
        assert both.startswith("Column D has dates with the day first (D2, 14.3.1999)")
        assert "with the month first (D3, 3/15/1999)" in both
        assert f"read with the {order.replace('_', ' ')}." in both
    # Column F shows one order only, which is a caution where the other was said.
    assert len(house.preview(sheet, order="month_first").cautions) == 1
    against = house.preview(sheet, order="day_first").cautions[1]
    assert (
        "Column F has dates with the month first (F3, 3/14/2026), and you said day first" in against
    )

    unsaid = house.preview(sheet)
    assert [row.fate for row in unsaid.rows] == [Fate.NEW, Fate.NEW, Fate.REFUSED]
    (caution,) = unsaid.cautions
    assert "those that can be read in two ways are refused." in caution


def test_dates_of_one_order_are_no_reason_for_caution(house: House) -> None:
    sheet = sheet_of(("1", "Brindle", "Inés", "14.3.1999"), ("2", "Corvane", "Oskar", "4.5.1999"))
    assert house.preview(sheet).cautions == ()
    assert house.preview(sheet, order="day_first").cautions == ()
    assert len(house.preview(sheet, order="month_first").cautions) == 1


def test_two_rows_never_write_in_one_file(house: House) -> None:
    rea = house.enrol("00421", "Brindle", "Inés", date(1999, 2, 28))
    sheet = sheet_of(
        ("00421", "Brindle", "Inés", None, "Medicine"),
        ("9", "Brindle", "Inés", date(1999, 2, 28), "Laboratory"),
    )
    seen = house.preview(sheet, {3: rea})
    assert [row.fate for row in seen.rows] == [Fate.CHANGED, Fate.REFUSED]
    assert "Row 2 is of the same person" in seen.rows[1].why[0]


@pytest.mark.parametrize(
    ("changes", "says"),
    [
        ({"Surname": "", "First name": ""}, "Row 2: the name is missing"),
        ({"Surname": "=A1"}, "B2, Family name: the cell holds a formula"),
        ({"Surname": "#REF!"}, "B2, Family name: the cell holds an error"),
        ({"Surname": "x" * 121}, "more than 120 characters"),
        ({"Number": 4.21e17}, "A2, Staff or student number: .* was rounded"),
        ({"Number": "4,21E+12"}, "was rounded by the spreadsheet"),
        ({"Date of birth": "4.5.1999"}, "D2, Birth date: 4.5.1999 can be read in two ways"),
        ({"Date of birth": "1999"}, "1999 is not a whole day"),
        ({"Date of birth": "soon"}, "'soon' is no date"),
        ({"Date of birth": "31.2.1999"}, "is no date"),
        ({"Date of birth": date(2026, 1, 1)}, "nobody born on 2026-01-01 works here"),
        ({"Date of birth": date(1901, 1, 1)}, "nobody born on 1901-01-01 works here"),
        ({"Start date": "1.1.2199"}, "a lifetime away"),
        ({"Surname": "30"}, "“30” is no name: it has no letter"),
    ],
)
def test_a_row_with_a_fault_is_refused_with_its_cell_and_the_others_are_not(
    house: House, changes: dict[str, Any], says: str
) -> None:
    bad = [changes.get(name, value) for name, value in zip(HEADER, REA, strict=True)]
    seen = house.preview(sheet_of(bad, ("8", "Garrow", "Milo")))
    assert [row.fate for row in seen.rows] == [Fate.REFUSED, Fate.NEW]
    assert any(re.search(says, why) for why in seen.rows[0].why), seen.rows[0].why
    house.apply(seen)
    assert len(house.people()) == 1


def test_ambiguous_dates_are_read_once_somebody_said_how_and_serials_are_told(house: House) -> None:
    sheet = sheet_of(("1", "Garrow", "Milo", "4.5.1999", "", 46113))
    day = house.preview(sheet, order="day_first").rows[0]
    month = house.preview(sheet, order="month_first").rows[0]
    assert (day.identity.birth_date, month.identity.birth_date) == (
        date(1999, 5, 4),
        date(1999, 4, 5),
    )
    # 46113 days after 30 December 1899 is 1 April 2026, as spreadsheets have it.
    assert day.work["starts_on"] == "2026-04-01"
    assert day.notes == ("F2: 46113 was read as 2026-04-01, as spreadsheets count days",)


def test_a_workbook_that_counts_days_from_1904_is_read_with_its_own_count(house: House) -> None:
    """44651 days after 1 January 1904 is 1 April 2026; a cell marked as a day is the same day."""
    row = ("1", "Garrow", "Milo", date(1999, 5, 4), "", 44651)
    read = house.preview(read_sheets(xlsx(HEADER, row, from_1904=True))[0]).rows[0]
    assert (read.identity.birth_date, read.work["starts_on"]) == (date(1999, 5, 4), "2026-04-01")


@pytest.mark.parametrize(
    ("header", "text", "name", "value"),
    [
        ("Works as", "Studentin", "works_as", "student"),
        ("Works as", "Mitarbeiter/in", "works_as", "staff"),
        ("Works as", "étudiante", "works_as", "student"),
        ("Works as", "Agency (temp)", "works_as", "agency"),
        ("EPP", "Ja", "exposure_prone", "yes"),
        ("EPP", "x", "exposure_prone", "yes"),
        ("EPP", "non", "exposure_prone", "no"),
        ("EPP", "?", "exposure_prone", "not_known"),
        ("EPP", "", "exposure_prone", "not_known"),
    ],
)
def test_words_of_several_languages_are_understood(
    house: House, header: str, text: str, name: str, value: str
) -> None:
    (row,) = house.preview(sheet_of(("Garrow", text), header=("Surname", header))).rows
    assert row.work[name] == value


@pytest.mark.parametrize(
    ("header", "text"),
    [("Works as", "king"), ("Works as", "staff student"), ("EPP", "perhaps")],
)
def test_a_word_that_is_not_understood_is_refused_and_never_taken_for_no(
    house: House, header: str, text: str
) -> None:
    (row,) = house.preview(sheet_of(("Garrow", text), header=("Surname", header))).rows
    assert row.fate is Fate.REFUSED


def test_a_whole_name_is_cut_only_at_a_comma(house: House) -> None:
    seen = house.preview(sheet_of(["Garrow, Milo"], ["Coralie Ashgrove"], header=["Full name"]))
    assert [(r.identity.family_name, r.identity.given_name) for r in seen.rows] == [
        ("Garrow", "Milo"),
        ("Coralie Ashgrove", ""),
    ]


def test_who_is_in_no_row_is_told_and_nothing_is_done_about_them(house: House) -> None:
    away = house.enrol("1", "Away", "Una", None)
    seen = house.preview(sheet_of(REA))
    assert seen.absent == (away,)
    house.apply(seen)
    assert len(house.store.entries(away)) == 1


def test_an_import_is_taken_back_where_nobody_wrote_since(house: House) -> None:
    moved = house.enrol("1", "Garrow", "Milo", None)
    touched = house.enrol("2", "Corvane", "Oskar", None)
    seen = house.preview(
        sheet_of(
            ("1", "Garrow-Vale", "Milo", None, "Medicine"),
            ("2", "Corvane", "Oskar", None, "Laboratory"),
            REA,
        )
    )
    brought = house.apply(seen)[4]
    acts.record_evidence(
        house.store, touched, [(Kind.DOSE_RECORDED, DOSE)], today=NOW.date(), **WRITER
    )

    result = house.undo()
    assert (result.restored, result.gone, dict(result.stays)) == (
        (moved,),
        (brought,),
        {touched: 1},
    )
    found = {p.reference: p for p in house.people()}
    assert set(found) == {moved, touched}
    assert found[moved].employment.department == "Surgery"
    assert found[touched].employment.department == "Laboratory"
    assert house.identities.identity(moved) == PersonIdentity("1", "Garrow", "Milo")
    assert house.identities.identity(brought) is None
    assert verify(house.store.all_entries(), subject="person") == []
    # Once more: what could be taken back is; the rest still stands in the way.
    again = house.undo()
    assert (again.restored, again.gone, dict(again.stays)) == ((), (), {touched: 1})
    with pytest.raises(Refused, match="Nothing of this import"):
        house.undo("i9")
    # Who is gone can come again.
    assert house.preview(sheet_of(REA)).rows[0].fate is Fate.NEW


def test_another_import_after_it_stands_in_the_way_too(house: House) -> None:
    house.apply(house.preview(sheet_of(REA)))
    later = (*REA[:4], "Medicine", REA[5])
    house.apply(house.preview(sheet_of(later)), "i2")
    assert list(house.undo("i1").stays.values()) == [1]
    assert len(house.undo("i2").restored) == 1
    # What the second left behind, its undoing, is a later entry as well: nobody is asked to guess.
    assert house.people()[0].employment.department == "Surgery"


names = st.sampled_from(["Garrow", "Corvane", "Brindle", "Ashgrove"])
rows = st.tuples(
    st.sampled_from(["", "1", "01", "2", "3"]),
    names,
    st.sampled_from(["Milo", "Una"]),
    st.sampled_from([None, date(1990, 1, 1), date(1991, 1, 1)]),
    st.sampled_from(["", "Surgery", "Medicine"]),
)


@settings(max_examples=60, deadline=None)
@given(st.lists(rows, min_size=1, max_size=5), st.lists(rows, min_size=1, max_size=5))
def test_importing_and_taking_back_leaves_the_register_as_it_was_and_twice_is_once(
    before: list[Any], after: list[Any]
) -> None:
    """Every undecided row is left out; then: the written register shows the file as unchanged, no two
    people have one number, and undoing restores work and names."""
    house = House()
    for sheet in (sheet_of(*before), sheet_of(*after)):
        seen = house.preview(sheet)
        decided = {row.number: "leave" for row in seen.rows if row.fate is Fate.ASK}
        seen = house.preview(sheet, decided)
        assert not seen.counts[Fate.ASK]
        state = house.state()
        if not seen.counts[Fate.NEW] and not seen.counts[Fate.CHANGED]:
            continue
        import_id = new_import_id()
        house.apply(seen, import_id)
        written = [r.number for r in seen.rows if r.fate in (Fate.NEW, Fate.CHANGED)]
        second = {row.number: row.fate for row in house.preview(sheet, decided).rows}
        assert {second[number] for number in written} <= {Fate.UNCHANGED, Fate.ASK}
        numbers = [who.number for who in house.identities.all_identities().values() if who.number]
        assert len(numbers) == len(set(numbers))
    if house.store.cases() and (seen.counts[Fate.NEW] or seen.counts[Fate.CHANGED]):
        house.undo(import_id)
        assert house.state() == state


def test_the_digest_of_a_preview_changes_with_what_would_be_written(house: House) -> None:
    sheet = sheet_of(REA)
    seen = house.preview(sheet)
    assert seen.digest == house.preview(sheet).digest
    assert seen.digest != house.preview(sheet, cohort="Spring").digest
    other = replace(seen, rows=(replace(seen.rows[0], identity=PersonIdentity("1", "Other")),))
    assert other.digest != seen.digest


def test_a_number_given_to_another_person_since_is_not_taken_from_them_by_an_undo(
    house: House,
) -> None:
    rea = house.enrol("100", "Brindle", "Inés", date(1999, 2, 28))
    milo = house.enrol("300", "Garrow", "Milo", date(1998, 5, 17))
    rows = [
        ("200", "Brindle", "Inés", date(1999, 2, 28)),
        ("100", "Garrow", "Milo", date(1998, 5, 17)),
    ]
    first = house.preview(sheet_of(rows[0]), {2: rea})
    house.apply(first, "i1")
    house.apply(house.preview(sheet_of(rows[1]), {2: milo}), "i2")
    with pytest.raises(Refused, match=r"The number 100, .* was given to another person since"):
        house.undo("i1")
    assert house.identities.identity(rea).number == "200"  # type: ignore[union-attr]

    house.undo("i2")
    assert house.undo("i1").restored == (rea,)
    assert house.identities.identity(rea).number == "100"  # type: ignore[union-attr]
    assert house.identities.identity(milo).number == "300"  # type: ignore[union-attr]
