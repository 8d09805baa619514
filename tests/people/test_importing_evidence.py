"""Evidence from lists: every row has one fate, nothing is read that is not said, nothing is doubled."""

from __future__ import annotations

import io
from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import date, timedelta
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from openpyxl import Workbook
from openpyxl.utils.datetime import CALENDAR_MAC_1904

from people.files import DOSE, NOW, RESULT
from people.sheets import xlsx
from people.test_importing import FILE, WRITER, House
from thimble.actions import Refused
from thimble.actions import people as acts
from thimble.clinical.laboratory import Local
from thimble.clinical.series import clear
from thimble.clinical.serology.results import Word
from thimble.commands.clearance_files import read_files
from thimble.exchange.sheets import Sheet, read_sheets
from thimble.ledger.verify import verify
from thimble.people.choices import identified_and_validated
from thimble.people.entries import Kind
from thimble.people.hepatitis_b import hepatitis_b
from thimble.people.importing import Columns, Fate, Preview, Standing, find_header, guess, preview
from thimble.people.importing.values import Piece

TODAY = NOW.date()
BORN = date(1999, 2, 28)
LONG = ("Number", "Birth date", "Kind", "Product", "Test", "Date", "Value", "Unit", "Disease")
WIDE = (
    "Number",
    "Surname",
    "First name",
    "DOB",
    "HepB1",
    "HepB2",
    "anti-HBs (IU/L)",
    "anti-HBs date",
)


@pytest.fixture
def house() -> House:
    return House()


@pytest.fixture
def ines(house: House) -> str:
    return house.enrol("00421", "Brindle", "Inés", BORN)


def long(**said: Any) -> list[Any]:
    """A row of a long list: a dose of Inés, unless it says something else."""
    row = {
        "Number": "00421",
        "Birth date": BORN,
        "Kind": "dose",
        "Product": "43",
        "Date": "2019-03-14",
    }
    return [{**row, **said}.get(name) for name in LONG]


def result(**said: Any) -> list[Any]:
    told = {"Kind": "result", "Product": None, "Test": "anti-HBs", "Value": "145", "Unit": "mIU/mL"}
    return long(**{**told, **said})


def sheet(*rows: Sequence[Any], header: Sequence[str] = LONG) -> Sheet:
    return read_sheets(xlsx(header, *rows))[0]


def seen(
    house: House,
    of: Sheet,
    decisions: Mapping[int, str] | None = None,
    cells: Mapping[str, str] | None = None,
    local: Local | None = None,
    **said: Any,
) -> Preview:
    columns = replace(guess(of, find_header(of)), **said)
    more: dict[str, Any] = {} if local is None else {"local": local}
    return preview(of, columns, house.register(), decisions or {}, TODAY, cells=cells, **more)


def fates(of: Preview) -> list[Fate]:
    return [row.fate for row in of.rows]


def on_file(house: House) -> list[tuple[Any, ...]]:
    """What the register says of everybody: kind and body, without where it came from."""
    return sorted(
        (
            p.reference,
            e.kind.value,
            sorted((k, str(v)) for k, v in e.body.items() if k not in ORIGIN),
        )
        for p in house.people()
        for e in p.evidence
    )


ORIGIN = ("import", "list", "as_written")


# --- columns ------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("header", "holds"),
    [
        ("HepB1", "dose:hepatitis_b"),
        ("Hep B 2 date", "dose:hepatitis_b"),
        ("Hepatitis B 3rd dose", "dose:hepatitis_b"),
        ("2. Impfung Hepatitis B", "dose:hepatitis_b"),
        ("MMR 1", "dose:03"),
        ("ROR 2", "dose:03"),
        ("Varicella 1 (date)", "dose:21"),
        ("Tdap", "dose:115"),
        ("Zoster", "dose:zoster"),
        ("anti-HBs value", "value:anti_hbs"),
        ("Anti-HBs (IU/L)", "value:anti_hbs:m[IU]/mL"),
        ("anti-HBs mIU/mL", "value:anti_hbs:m[IU]/mL"),
        ("Datum anti-HBs", "date:anti_hbs"),
        ("Masern-IgG", "value:measles_igg"),
        ("IGRA date", "date:igra"),
        ("TST (mm)", "value:tuberculin:mm"),
        # What could be several things is said by somebody.
        ("TB test", None),
        ("HIV", None),
        ("Hepatitis B titre", None),
        ("Td/IPV", None),
        ("Shoe size", None),
    ],
)
def test_a_header_says_what_evidence_its_column_holds_or_nothing(
    header: str, holds: str | None
) -> None:
    of = sheet(["x", "y"], header=("Surname", header))
    assert guess(of, 1).fields.get(1) == holds


def test_the_file_of_evidence_that_clear_reads_is_read_as_it_is(house: House, ines: str) -> None:
    """The columns, codes and values of docs/clear.md."""
    text = (
        "person_id,date,kind,code,value,unit\r\n"
        "00421,2019-03-14,dose,43,,\r\n"
        "00421,2019-04,dose,8,,\r\n"
        "00421,2019,dose,unknown,,\r\n"
        "00421,2019-11-02,result,anti_hbs,<10,m[IU]/mL\r\n"
        "00421,2020-01-05,result,anti_hbs,>1000,m[IU]/mL\r\n"
        "00421,2020-01-05,result,hbsag,negative,\r\n"
        "00421,2020-01-05,result,hbv_dna,<20,[IU]/mL\r\n"
        "00421,2020-02-05,result,anti_hcv,indeterminate,\r\n"
        "00421,2020-03-05,declined,,,\r\n"
        "00421,2020-03,contraindicated,,,\r\n"
    )
    of = read_sheets(text.encode("utf-8-sig"))[0]
    # The dose of 2019 may be one of the other two.
    first = seen(house, of)
    assert fates(first) == [Fate.ADDED, Fate.ADDED, Fate.ASK, *[Fate.ADDED] * 7]
    house.apply(seen(house, of, cells={"D4": "also"}))
    bodies = [e.body for e in house.people()[0].evidence]
    assert [(b["product"], b["when"]) for b in bodies[:3]] == [
        ("43", "2019-03-14"),
        ("08", "2019-04"),
        (None, "2019"),
    ]
    assert [(b["test"], b["word"], b["comparator"], b["number"]) for b in bodies[3:8]] == [
        ("anti_hbs", None, "<", 10),
        ("anti_hbs", None, ">", 1000),
        ("hbsag", "negative", "=", None),
        ("hbv_dna", None, "<", 20),
        ("anti_hcv", "indeterminate", "=", None),
    ]
    assert (bodies[8]["signed"], bodies[8]["disease"]) == ("not_known", "hepatitis_b")
    assert bodies[9]["on"] == "2020-03"


@pytest.mark.parametrize(
    ("fields", "fault"),
    [
        ({0: "date", 1: "product"}, "which column holds the staff or student number"),
        ({0: "number", 1: "product"}, "which column holds the date"),
        ({0: "number", 1: "date"}, "the product or the test"),
        ({0: "number", 1: "date", 2: "code"}, "which column holds the kind"),
        ({0: "number", 1: "date", 2: "test"}, "which column holds the result"),
        ({0: "number", 1: "date", 2: "product", 3: "dose:43"}, "not both"),
        ({0: "number", 1: "dose:43", 2: "value:hbsag"}, "the day of HBsAg"),
        ({0: "number", 1: "dose:43", 2: "date:hbsag"}, "No column holds the result"),
        ({0: "number", 1: "date:", 2: "date:", 3: "value:hbsag"}, "more than one column"),
    ],
)
def test_columns_of_evidence_that_do_not_suffice_are_told(
    fields: dict[int, str], fault: str
) -> None:
    assert fault in " ".join(Columns(1, fields, only_evidence=True).faults())


# --- what is written ----------------------------------------------------------------------------------


def test_evidence_names_its_list_is_verified_by_nobody_and_what_a_list_cannot_say_stays_not_known(
    house: House, ines: str
) -> None:
    house.apply(seen(house, sheet(long(), result(Date="2019-11-02"))))
    (person,) = house.people()
    assert person.unverified == 2
    dose, titre = (e.body for e in person.evidence)
    assert dose["list"] == {"file": FILE, "row": 2}
    assert (titre["import"], titre["list"]["row"], titre["as_written"]) == ("i1", 3, "145 mIU/mL")
    assert (titre["number"], titre["unit"]) == (145, "m[IU]/mL")
    assert set(titre["sample"].values()) == {"not_known"}
    assert not identified_and_validated(titre["sample"])


def test_people_and_their_evidence_come_in_one_list_and_a_bad_row_brings_neither(
    house: House,
) -> None:
    of = sheet(
        (
            "1",
            "Garrow",
            "Milo",
            date(2001, 5, 4),
            date(2019, 1, 5),
            "2.2019",
            145,
            date(2019, 9, 1),
        ),
        ("2", "Corvane", "Una", date(2002, 5, 4), date(2019, 1, 5), "yes", None, None),
        ("3", "Ashgrove", "Aila", date(2003, 5, 4), None, None, None, None),
        header=WIDE,
    )
    found = seen(house, of, works_as="student")
    assert fates(found) == [Fate.NEW, Fate.REFUSED, Fate.NEW]
    assert found.rows[1].why[0].startswith("F3, HepB2: 'yes' is no date")
    house.apply(found)
    people = {house.identities.identity(p.reference).number: p for p in house.people()}  # type: ignore[union-attr]
    assert set(people) == {"1", "3"}
    told = [
        (e.body["when"], e.body.get("product", e.body.get("number"))) for e in people["1"].evidence
    ]
    assert told == [("2019-01-05", None), ("2019-02", None), ("2019-09-01", 145)]
    assert people["1"].evidence[0].body["diseases"] == ["hepatitis_b"]
    assert verify(house.store.all_entries(), subject="person") == []

    undone = house.undo()
    assert (len(undone.gone), house.people()) == (2, [])


def test_somebody_changed_gets_the_evidence_of_the_row_with_the_change(
    house: House, ines: str
) -> None:
    of = sheet(("00421", "Brindle-Vale", "Inés", BORN, date(2019, 1, 5)), header=WIDE[:5])
    found = seen(house, of, works_as="student")
    assert fates(found) == [Fate.CHANGED]
    house.apply(found)
    kinds = [entry.kind for entry in house.store.entries(ines)]
    assert kinds == [Kind.ENROLLED, Kind.CHANGED, Kind.DOSE_RECORDED]
    house.undo()
    assert house.identities.identity(ines).family_name == "Brindle"  # type: ignore[union-attr]
    assert house.people()[0].evidence == ()


def test_a_list_of_evidence_alone_enrols_and_changes_nobody(house: House, ines: str) -> None:
    of = sheet(
        ("00421", "Brindle-Vale", "Inés", BORN, date(2019, 1, 5)),
        ("7", "Garrow", "Milo", date(2001, 5, 4), date(2019, 1, 5)),
        header=WIDE[:5],
    )
    found = seen(house, of, only_evidence=True)
    assert fates(found) == [Fate.ADDED, Fate.REFUSED]
    house.apply(found)
    assert [entry.kind for entry in house.store.entries(ines)] == [
        Kind.ENROLLED,
        Kind.DOSE_RECORDED,
    ]
    assert house.identities.identity(ines).family_name == "Brindle"  # type: ignore[union-attr]
    assert len(house.people()) == 1


# --- whose it is --------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("number", "born", "why"),
    [
        ("00421", date(1999, 2, 27), "is known, with another birth date"),
        ("00421", None, "The row has no birth date: nothing but the number"),
        ("99", BORN, "The number 99 is not in the register"),
        (None, BORN, "The number is missing"),
    ],
)
def test_a_row_whose_person_is_not_sure_is_refused(
    house: House, ines: str, number: str | None, born: date | None, why: str
) -> None:
    (row,) = seen(house, sheet(long(Number=number, **{"Birth date": born}))).rows
    assert (row.fate, row.pieces) == (Fate.REFUSED, ())
    assert why in row.why[0]


def test_a_birth_date_that_the_register_lacks_cannot_agree(house: House) -> None:
    house.enrol("5", "Garrow", "Milo", None)
    (row,) = seen(house, sheet(long(Number="5"))).rows
    assert "The register has no birth date" in row.why[0]


def test_another_name_under_the_number_is_refused_and_a_married_name_is_not(
    house: House, ines: str
) -> None:
    header = ("Number", "Surname", "First name", "DOB", "Product", "Date")
    of = sheet(
        ("00421", "Corvane", "Oskar", BORN, "43", "2019"),
        ("00421", "Brindle-Vale", "Inés", BORN, "43", "2018"),
        header=header,
    )
    found = seen(house, of)
    assert fates(found) == [Fate.REFUSED, Fate.ADDED]
    assert "with another name" in found.rows[0].why[0]


def test_by_number_alone_only_where_the_list_has_no_column_to_compare(
    house: House, ines: str
) -> None:
    of = sheet(("00421", "43", "2019-03-14"), header=("Number", "Product", "Date"))
    (row,) = seen(house, of).rows
    assert (row.fate, row.person, row.identity.family_name) == (Fate.ADDED, ines, "Brindle")


def test_whose_rows_these_are_is_asked_once_for_all_that_say_it_alike(
    house: House, ines: str
) -> None:
    of = sheet(
        long(Number="421"),
        long(Number="421", Date="2019-04-14"),
        long(Number="421", Date="2019-05-14"),
    )
    asked = seen(house, of)
    assert fates(asked) == [Fate.ASK] * 3
    assert [row.candidates for row in asked.rows] == [(ines,), (), ()]
    assert "row 2" in asked.rows[2].why[0]
    assert fates(seen(house, of, {2: ines})) == [Fate.ADDED] * 3
    assert fates(seen(house, of, {2: "leave"})) == [Fate.LEFT_OUT] * 3
    # Another row of theirs is left out without a word about whose the others are.
    assert fates(seen(house, of, {2: ines}, {"D3": "leave"})) == [
        Fate.ADDED,
        Fate.LEFT_OUT,
        Fate.ADDED,
    ]
    # Nobody else than whom it may be.
    assert fates(seen(house, of, {2: "P-2222-2222"})) == [Fate.ASK] * 3


# --- refusals -----------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("row", "why"),
    [
        (long(Date="yes"), "F2, Date: 'yes' is no date"),
        (long(Date="immune"), "'immune' is no date"),
        (long(Date="?"), "'?' is no date"),
        (long(Date=True), "'yes' is no date"),
        (long(Date=None), "the date is missing"),
        (long(Date="4.5.2019"), "4.5.2019 can be read in two ways"),
        (long(Date="31.2.2019"), "is no date"),
        (long(Date=date(2026, 3, 3)), "lies ahead"),
        (long(Date="2027"), "lies ahead"),
        (long(Date="1999-02-27"), "lies before the person's birth"),
        (long(Date="1999-01"), "lies before the person's birth"),
        (long(Date=12.2019), "is a number; send the column as dates"),
        (long(Date="=F3"), "the cell holds a formula"),
        (long(Date="#REF!"), "the cell holds an error"),
        (long(Kind="=C3"), "C2, Kind: the cell holds a formula"),
        (long(Kind="history"), "C2, Kind: “history” is not read"),
        (long(Kind=None, Product=None), "not said whether this is a dose or a result"),
        (long(Product="Elixir"), "there is no product “Elixir”"),
        (long(Product="flu quad"), "could be several products (150"),
        (long(Product="777"), "there is no product “777”"),
        (long(Product=None), "which product it was is missing"),
        (long(Product="?"), "what the unknown product is against is missing"),
        (long(Product="?", Disease="plague"), "I2, Disease: “plague” is no disease"),
        (long(Value="145"), "a dose has no value"),
        (result(Unit=None), "The number has no unit"),
        (result(Unit="mg/dL"), "does not fit Anti-HBs"),
        (result(Value="145 IU/mL"), "does not fit Anti-HBs"),
        (result(Value="1,000"), "can be read in two ways, as thousands"),
        (result(Value="1.000"), "can be read in two ways, as thousands"),
        (result(Value="12,5"), "“12,5” is not in the closed lists"),
        (result(Value="immune"), "“immune” is not in the closed lists"),
        (result(Value="yes"), "is not in the closed lists"),
        (result(Value="1000001"), "cannot be: look at the number"),
        (result(Value=None), "the result is missing"),
        (result(Value="pending"), "in place of a result"),
        (result(Test="HBsAg", Value="0.1"), "is answered in words, and the value is a number"),
        (result(Test="Wassermann"), "E2, Test: there is no test “Wassermann”"),
        (long(Kind="declined", Product=None, Disease="hepatitis B", Date="2019"), "needs its day"),
        (long(Kind="declined", Product=None), "of which disease is missing"),
    ],
)
def test_a_row_that_says_no_evidence_is_refused_with_its_cell_and_the_next_is_not(
    house: House, ines: str, row: list[Any], why: str
) -> None:
    found = seen(house, sheet(row, result(Date="2020-05-20")))
    assert fates(found) == [Fate.REFUSED, Fate.ADDED]
    assert why in found.rows[0].why[0], found.rows[0].why
    house.apply(found)
    assert len(house.people()[0].evidence) == 1


def test_days_at_the_edges_are_taken(house: House, ines: str) -> None:
    found = seen(
        house, sheet(long(Date=BORN), long(Date=TODAY), long(Date="1999"), long(Date="2026"))
    )
    assert Fate.REFUSED not in fates(found)


def test_a_wide_row_is_refused_where_a_result_lacks_its_day_or_a_day_its_result(
    house: House, ines: str
) -> None:
    of = sheet(
        ("00421", "Brindle", "Inés", BORN, None, None, 145, None),
        ("00421", "Brindle", "Inés", BORN, None, None, None, date(2019, 9, 1)),
        header=WIDE,
    )
    found = seen(house, of, only_evidence=True)
    assert fates(found) == [Fate.REFUSED] * 2
    assert "G2, anti-HBs (IU/L): the day of this result is missing" in found.rows[0].why[0]
    assert "H3, anti-HBs date: there is a day, and its result is missing" in found.rows[1].why[0]


def test_the_laboratorys_own_words_and_decimal_comma_are_read_where_the_site_declares_them(
    house: House, ines: str
) -> None:
    of = sheet(
        result(Test="HBsAg", Value="negativ", Unit=None), result(Value="12,5", Date="2019-05-20")
    )
    local = Local(words={"negativ": Word.NEGATIVE}, decimal_comma=True)
    found = seen(house, of, local=local)
    assert [row.pieces[0].body["word"] or row.pieces[0].body["number"] for row in found.rows] == [
        "negative",
        12.5,
    ]


def test_results_of_one_day_and_of_several_days_find_their_own(house: House, ines: str) -> None:
    header = (
        "Number", "DOB", "Measles IgG", "Serology", "anti-HBs 1", "Day 1", "anti-HBs 2", "Day 2",
        "Rubella IgG",
    )  # fmt: skip
    of = sheet(
        (
            "00421",
            BORN,
            "pos",
            "2019-01-05",
            "12 IU/L",
            "2019-02-05",
            "145 IU/l",
            "2019-03-05",
            "neg",
        ),
        header=header,
    )
    fields = {
        0: "number", 1: "birth_date", 2: "value:measles_igg", 3: "date:", 4: "value:anti_hbs",
        5: "date:anti_hbs", 6: "value:anti_hbs", 7: "date:anti_hbs", 8: "value:rubella_igg",
    }  # fmt: skip
    (row,) = seen(house, of, fields=fields).rows
    told = {
        (p.body["test"], p.body["when"], p.body["word"] or p.body["number"]) for p in row.pieces
    }
    assert told == {
        ("measles_igg", "2019-01-05", "positive"),
        ("rubella_igg", "2019-01-05", "negative"),
        ("anti_hbs", "2019-02-05", 12),
        ("anti_hbs", "2019-03-05", 145),
    }


# --- messy files --------------------------------------------------------------------------------------


def test_a_workbook_as_people_send_them_is_read(house: House, ines: str) -> None:
    """A merged title, blanks at the end, days as numbers, full-width digits, unbreakable spaces."""
    content = xlsx(
        ["Vaccinations, as sent"],
        [],
        ["Matrikelnr", "Geburtsdatum", "HepB 1", "HepB 2", "HepB 3", "MMR1", "anti-HBs",
         "anti-HBs Datum", None],
        ["00421\u00a0", "28.02.1999", 43538, "２０１９-０４-１４", "\u00a05/2019 ", "Mai 2001",
         "１４５\u00a0IU/L", date(2019, 9, 1), "  "],
        ["", "", None, None, "", None, None, None],
        merged="A1:H1",
    )  # fmt: skip
    of = read_sheets(content)[0]
    found = seen(house, of)
    assert fates(found) == [Fate.ADDED]
    told = [(p.body["when"], p.body.get("number")) for p in found.rows[0].pieces]
    assert told == [
        ("2019-03-14", None),
        ("2019-04-14", None),
        ("2019-05", None),
        ("2001-05", None),
        ("2019-09-01", 145),
    ]
    assert "43538 was read as 2019-03-14" in found.rows[0].notes[0]


def test_a_workbook_that_counts_days_from_1904_is_not_read_four_years_off(
    house: House, ines: str
) -> None:
    book = Workbook()
    book.epoch = CALENDAR_MAC_1904
    page = book.active
    assert page is not None
    page.append(["Number", "DOB", "Product", "Date"])
    page.append(["00421", BORN, "43", date(2019, 3, 14)])
    # The same day as a bare number, as this workbook counts.
    page.append(["00421", BORN, "08", (date(2019, 3, 14) - date(1904, 1, 1)).days])
    out = io.BytesIO()
    book.save(out)
    found = seen(house, read_sheets(out.getvalue())[0])
    days = [row.evidence[0].piece.body["when"] for row in found.rows]
    assert days == ["2019-03-14", "2019-03-14"]


@pytest.mark.parametrize("encoding", ["utf-8-sig", "cp1252", "utf-16"])
@pytest.mark.parametrize("mark", [";", ",", "\t"])
def test_csv_of_any_mark_and_encoding_is_read(
    house: House, ines: str, encoding: str, mark: str
) -> None:
    rows = [
        ("Numéro", "Date de naissance", "Prénom", "Nom", "Vaccin", "Date"),
        ("00421", "28.02.1999", "Inés", "Brindle", "Hépatite B", "14 août 2019"),
    ]
    text = "\r\n".join(mark.join(row) for row in rows) + "\r\n"
    found = seen(house, read_sheets(text.encode(encoding))[0])
    assert fates(found) == [Fate.ADDED]
    (piece,) = found.rows[0].pieces
    assert (piece.body["when"], piece.body["diseases"]) == ("2019-08-14", ["hepatitis_b"])


# --- on file already ----------------------------------------------------------------------------------


def record(house: House, person: str, kind: Kind, body: Mapping[str, Any]) -> None:
    acts.record_evidence(house.store, person, [(kind, body)], today=TODAY, **WRITER)


@pytest.mark.parametrize(
    ("there", "row", "fate"),
    [
        # One and the same dose, whatever it came from.
        (("43", "2019-03-14"), {}, Fate.UNCHANGED),
        # The list does not know the product; the file does.
        (("43", "2019-03-14"), {"Product": "hepatitis b"}, Fate.UNCHANGED),
        # The other way round, and another product: somebody decides.
        ((None, "2019-03-14"), {}, Fate.ASK),
        (("08", "2019-03-14"), {}, Fate.ASK),
        # Less exact days may be that day.
        (("43", "2019-03"), {}, Fate.ASK),
        (("43", "2019-03-14"), {"Date": "2019"}, Fate.ASK),
        (("43", "2019"), {"Date": "2019"}, Fate.UNCHANGED),
        # Another day, another disease.
        (("43", "2019-03-15"), {}, Fate.ADDED),
        (("43", "2019-02"), {}, Fate.ADDED),
        (("43", "2019-03-14"), {"Product": "mmr"}, Fate.ADDED),
        (("43", None), {}, Fate.ADDED),
        # Immunoglobulin of the same day is no dose of vaccine, whether its product is known or not.
        (("30", "2019-03-14"), {}, Fate.ADDED),
        (("30", "2019-03-14"), {"Product": "hepatitis b"}, Fate.ADDED),
        (("43", "2019-03-14"), {"Product": "30"}, Fate.ADDED),
    ],
)
def test_a_dose_that_is_on_file_is_not_written_twice(
    house: House, ines: str, there: tuple[str | None, str | None], row: dict[str, Any], fate: Fate
) -> None:
    product, when = there
    record(house, ines, Kind.DOSE_RECORDED, {**DOSE, "product": product, "when": when})
    of = sheet(long(**row))
    assert fates(seen(house, of)) == [fate]
    if fate is Fate.ASK:
        with pytest.raises(Refused, match="still asked about"):
            house.apply(seen(house, of))
        assert fates(seen(house, of, cells={"D2": "same"})) == [Fate.LEFT_OUT]
        assert fates(seen(house, of, cells={"D2": "also"})) == [Fate.ADDED]
        assert fates(seen(house, of, cells={"D2": "perhaps", "D3": "also"})) == [Fate.ASK]
        left = seen(house, of, cells={"D2": "leave"})
        assert (fates(left), left.rows[0].pieces) == ([Fate.LEFT_OUT], ())


@pytest.mark.parametrize(
    ("row", "fate"),
    [
        ({"Date": "2019-11-02"}, Fate.UNCHANGED),
        ({"Date": "2019-11-02", "Unit": "IU/l"}, Fate.UNCHANGED),
        ({"Date": "2019-11-02", "Value": "14.5"}, Fate.ASK),
        ({"Date": "2019-11-02", "Value": ">145"}, Fate.ASK),
        ({"Date": "2019-11-02", "Value": "positive", "Unit": None}, Fate.ASK),
        ({"Date": "2019-11"}, Fate.ASK),
        ({"Date": "2019-11", "Value": "12"}, Fate.ADDED),
        ({"Date": "2019-11-03"}, Fate.ADDED),
        ({"Date": "2019-11-02", "Test": "HBsAg", "Value": "negative", "Unit": None}, Fate.ADDED),
    ],
)
def test_a_result_that_is_on_file_is_not_written_twice(
    house: House, ines: str, row: dict[str, Any], fate: Fate
) -> None:
    record(house, ines, Kind.RESULT_RECORDED, RESULT)
    assert fates(seen(house, sheet(result(**row)))) == [fate]


def test_rows_of_one_list_are_held_against_each_other_too(house: House, ines: str) -> None:
    of = sheet(long(), long(), long(Product="08"), long(Date="2018"), long(Date="2018"))
    found = seen(house, of)
    assert fates(found) == [Fate.ADDED, Fate.REPEATED, Fate.ASK, Fate.ADDED, Fate.ASK]
    assert [row.evidence[0].row for row in found.rows] == [0, 2, 2, 0, 5]
    both = {"D4": "same", "D6": "also"}
    house.apply(seen(house, of, cells=both))
    assert len(house.people()[0].evidence) == 3
    # Two doses of 2018 are on file now; the list is done with.
    again = seen(house, of, cells=both)
    assert not any(row.writes or row.fate is Fate.ASK for row in again.rows)


@pytest.mark.parametrize(("when", "second"), [("2019-03-14", Fate.REPEATED), ("2019-03", Fate.ASK)])
def test_one_dose_on_file_answers_for_one_row(
    house: House, ines: str, when: str, second: Fate
) -> None:
    record(house, ines, Kind.DOSE_RECORDED, {**DOSE, "product": "43", "when": when})
    found = seen(house, sheet(long(Date=when), long(Date=when)))
    assert fates(found) == [Fate.UNCHANGED, second]
    assert found.rows[1].evidence[0].row == 2


def test_a_result_on_file_in_another_unit_of_the_same_size_is_that_result(
    house: House, ines: str
) -> None:
    record(house, ines, Kind.RESULT_RECORDED, {**RESULT, "unit": "[IU]/L"})
    assert fates(seen(house, sheet(result(Date="2019-11-02")))) == [Fate.UNCHANGED]


def test_columns_of_one_row_are_different_doses_unless_they_have_one_day(
    house: House, ines: str
) -> None:
    of = sheet(
        ("00421", BORN, "2018", "2018", "2018-05"),
        header=("Number", "DOB", "HepB1", "HepB2", "HepB3"),
    )
    assert fates(seen(house, of)) == [Fate.ADDED]
    # Nor is the second what the first is on file as.
    record(house, ines, Kind.DOSE_RECORDED, {**DOSE, "product": "43", "when": "2021-03-14"})
    after = sheet(("00421", BORN, "2021-03-14", "2021"), header=("Number", "DOB", "HepB1", "HepB2"))
    (row,) = seen(house, after).rows
    assert [j.standing for j in row.evidence] == [Standing.ON_FILE, Standing.NEW]
    twice = sheet(
        ("00421", BORN, "2018-05-20", "2018-05-20"), header=("Number", "DOB", "HepB1", "HepB2")
    )
    (row,) = seen(house, twice).rows
    assert (row.fate, row.evidence[1].standing) == (Fate.ASK, Standing.ASK)
    (row,) = seen(house, twice, cells={"D2": "same"}).rows
    assert (row.fate, len(row.pieces)) == (Fate.ADDED, 1)
    (row,) = seen(house, twice, cells={"D2": "leave"}).rows
    assert (row.fate, row.pieces) == (Fate.LEFT_OUT, ())


def test_evidence_is_taken_back_where_nobody_wrote_since_and_verifying_stands_in_the_way(
    house: House, ines: str
) -> None:
    milo = house.enrol("2", "Garrow", "Milo", BORN)
    before = on_file(house)
    house.apply(seen(house, sheet(long(), long(Date="2019-05-14"), long(Number="2"))))
    acts.verify_evidence(house.store, milo, [2], seen="copy", **WRITER)
    done = house.undo()
    assert (done.restored, done.gone, dict(done.stays)) == ((ines,), (), {milo: 1})
    assert [row for row in on_file(house) if row[0] == ines] == before
    assert verify(house.store.all_entries(), subject="person") == []
    # What was taken back can come again.
    assert fates(seen(house, sheet(long()))) == [Fate.ADDED]


# --- whatever a list says -----------------------------------------------------------------------------

days = st.sampled_from(
    [
        "2019-03-14",
        "2019-03-15",
        "2019-03",
        "2019",
        "2018-11-02",
        "4.5.2019",
        "yes",
        "",
        "2031-01-01",
    ]
)
doses = st.tuples(
    st.sampled_from(["1", "2", "02", "9", ""]),
    st.sampled_from(["43", "08", "?", "mmr", "hepatitis b", "elixir"]),
    days,
).map(lambda t: long(Number=t[0], Product=t[1], Date=t[2], Disease="hepatitis b"))
titres = st.tuples(
    st.sampled_from(["1", "2"]), days, st.sampled_from(["145", "<10", "positive", "immune"])
).map(lambda t: result(Number=t[0], Date=t[1], Value=t[2]))


def _says(piece: Piece, kind: Kind, body: Mapping[str, Any]) -> bool:
    if kind is not piece.kind or body["when"] != piece.body["when"]:
        return False
    names = ("test", "word", "number", "comparator") if "test" in body else ()
    return all(body[name] == piece.body[name] for name in names) and set(
        piece.body.get("diseases", ())
    ) <= set(body.get("diseases", ()))


@settings(max_examples=80, deadline=None)
@given(
    st.lists(doses | titres, max_size=4),
    st.lists(doses | titres, min_size=1, max_size=8),
    st.sampled_from(["also", "same", "leave"]),
)
def test_every_row_has_one_fate_twice_is_once_and_taking_back_leaves_the_file_as_it_was(
    before: list[Any], rows: list[Any], answer: str
) -> None:
    house = House()
    house.enrol("1", "Garrow", "Milo", BORN)
    house.enrol("2", "Corvane", "Una", BORN)
    for number, of in enumerate((sheet(*before, ["end"]), sheet(*rows, ["end"]))):
        decisions: dict[int, str] = {}
        cells: dict[str, str] = {}
        found = seen(house, of)
        while asked := [row for row in found.rows if row.fate is Fate.ASK]:
            for row in asked:
                pieces = [j.piece.place for j in row.evidence if j.standing is Standing.ASK]
                if row.candidates:
                    decisions[row.number] = row.candidates[0]
                cells |= dict.fromkeys(pieces, answer)
            found = seen(house, of, decisions, cells)
        assert [row.number for row in found.rows] == [n for n in of.rows if n > 1]
        assert found.rows[-1].fate is Fate.REFUSED
        for row in found.rows:
            assert bool(row.pieces) == (row.fate is Fate.ADDED)
            assert row.fate is not Fate.REFUSED or row.why
        state = on_file(house)
        if not any(row.writes for row in found.rows):
            continue
        house.apply(found, f"i{number}")
        written = on_file(house)
        assert len(written) == len(state) + sum(len(row.pieces) for row in found.rows)
        # What was neither refused nor said to be the same is on file, under its day.
        filed = {p.reference: [(e.kind, e.body) for e in p.evidence] for p in house.people()}
        for row in found.rows:
            for j in row.evidence:
                if row.fate is not Fate.LEFT_OUT and j.standing is not Standing.SAME:
                    assert any(_says(j.piece, *each) for each in filed[row.person]), j
        # The file with the same answers says nothing new, and asks nothing new.
        again = seen(house, of, decisions, cells)
        assert not any(row.writes or row.fate is Fate.ASK for row in again.rows)
        assert verify(house.store.all_entries(), subject="person") == []
        house.undo(f"i{number}")
        assert on_file(house) == state
        house.apply(seen(house, of, decisions, cells), f"j{number}")
        assert on_file(house) == written


def test_the_digest_of_a_preview_changes_with_the_evidence(house: House, ines: str) -> None:
    one, other = seen(house, sheet(long())), seen(house, sheet(long(Product="08")))
    assert one.digest == seen(house, sheet(long())).digest
    assert one.digest != other.digest


def test_nothing_is_written_of_a_date_that_lies_in_the_time_between(
    house: House, ines: str
) -> None:
    """A day that the site's calendar has not reached is ahead, one that it has is not."""
    tomorrow = sheet(long(Date=TODAY + timedelta(days=1)))
    assert fates(seen(house, tomorrow)) == [Fate.REFUSED]
    columns = guess(tomorrow, 1)
    later = preview(tomorrow, columns, house.register(), {}, TODAY + timedelta(days=1))
    assert fates(later) == [Fate.ADDED]


clearance = st.lists(
    st.sampled_from(["43", "08", "unknown", "30", "104"]).flatmap(
        lambda code: st.tuples(st.just("dose"), st.just(code), st.just(""), st.just(""))
    )
    | st.sampled_from(["5", "<10", "145", ">1000", "positive", "negative"]).map(
        lambda value: (
            "result",
            "anti_hbs",
            value,
            "" if value.isalpha() else "m[IU]/mL",
        )
    )
    | st.sampled_from(["positive", "negative", "indeterminate"]).map(
        lambda value: ("result", "hbsag", value, "")
    )
    | st.just(("declined", "", "", "")),
    min_size=1,
    max_size=7,
)


@settings(max_examples=60, deadline=None)
@given(clearance, st.data())
def test_the_tables_say_of_an_imported_file_what_clear_says_of_the_file_itself(
    pieces: list[tuple[str, str, str, str]], data: st.DataObject
) -> None:
    """`thimble clear` reads the file by a road of its own: not one of its answers is lost on the way."""
    months = data.draw(
        st.lists(st.integers(0, 80), min_size=len(pieces), max_size=len(pieces), unique=True)
    )
    lines = ["person_id,date,kind,code,value,unit"]
    for (kind, code, value, unit), month in zip(pieces, months, strict=True):
        day = date(2018 + month // 12, 1 + month % 12, 14)
        lines.append(f"1,{day},{kind},{code},{value},{unit}")
    content = "\n".join(lines).encode()
    with TemporaryDirectory() as folder:
        who, evidence = Path(folder, "people.csv"), Path(folder, "evidence.csv")
        who.write_text(
            "person_id,birth_date,start_date,exposure_prone,immunocompromised\n"
            f"1,{BORN},2026-04-01,yes,unknown\n"
        )
        evidence.write_bytes(content)
        record = read_files(who, evidence, TODAY)["1"]
    told = clear(record.person, record.evidence, TODAY, "us")

    house = House()
    house.enrol("1", "Garrow", "Milo", BORN)
    found = seen(house, read_sheets(content)[0])
    assert set(fates(found)) == {Fate.ADDED}
    house.apply(found)
    imported = hepatitis_b(house.people()[0], BORN, TODAY, "us")
    assert imported is not None
    assert imported.undated == 0
    assert imported.cleared == told
