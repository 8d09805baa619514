"""`thimble clear`: the contract of its files, and everything that it refuses."""

from __future__ import annotations

import csv
import io
import subprocess

import pytest

from commands.data_folders import COMMAND, environment
from commands.running import run

PEOPLE = "person_id,birth_date,start_date,exposure_prone,immunocompromised"
EVIDENCE = "person_id,date,kind,code,value,unit"
COLUMNS = [
    "person_id", "series", "valid_doses", "next_dose_earliest", "next_dose_recommended", "immunity",
    "next_step", "next_due", "reasons",
]  # fmt: skip
TODAY = "2026-03-02"


@pytest.fixture
def clear(tmp_path):
    def ask(people, evidence, *options, as_of=TODAY):
        paths = tmp_path / "people.csv", tmp_path / "evidence.csv"
        for path, head, rows in zip(paths, (PEOPLE, EVIDENCE), (people, evidence), strict=True):
            text = rows if isinstance(rows, bytes) else "\n".join([head, *rows, ""]).encode()
            path.write_bytes(text)
        return run("clear", *paths, "--as-of", as_of, *options)

    return ask


def table(text):
    return list(csv.DictReader(io.StringIO(text)))


def test_each_person_has_one_row_in_the_order_of_the_file(clear):
    ran = clear(
        ["w2,1990-01-01,2026-04-01,no,no", "w1,1985-06-30,2026-04-01,yes,unknown"],
        [
            "w1,2015-01-01,dose,43,,",
            "w1,2015-02-01,dose,43,,",
            "w1,2015-07,dose,unknown,,",
            "w1,2015-09-01,result,anti_hbs,>1000,m[IU]/mL",
            "w2,2026-02-02,dose,8,,",
            "w2,2026-02-02,dose,189,,",
            "w1,2020-01-01,result,hiv_ag_ab,negative,",
            "w1,2020-01-01,result,hcv_rna,<15,[IU]/mL",
        ],
    )
    rows = table(ran.out)

    assert (ran.status, ran.err) == (0, "")
    assert list(rows[0]) == COLUMNS
    assert [list(row.values())[:8] for row in rows] == [
        ["w2", "incomplete", "1", "2026-03-02", "2026-03-02", "not_known", "dose", "2026-03-02"],
        ["w1", "complete", "3", "", "", "immune", "none", ""],
    ]
    assert "USR-03" in rows[1]["reasons"]


def test_a_person_without_evidence_is_told_what_is_missing(clear):
    rows = table(clear(["w1,1990-01-01,2026-04-01,no,no"], []).out)

    assert [rows[0][c] for c in ("series", "valid_doses", "immunity", "next_step", "next_due")] == [
        "none", "0", "not_known", "dose", TODAY,
    ]  # fmt: skip


def test_the_rules_of_the_protocol_asked_for_are_used(clear):
    people = ["w1,1990-01-01,2026-04-01,no,no"]
    evidence = ["w1,2015-01-01,dose,43,,", "w1,2015-02-01,dose,43,,", "w1,2015-07-01,dose,43,,",
                "w1,2015-08-12,result,anti_hbs,45,[IU]/L"]  # fmt: skip

    assert table(clear(people, evidence).out)[0]["next_step"] == "none"
    assert table(clear(people, evidence, "--protocol", "uk").out)[0]["next_step"] == "booster"
    refused = clear(people, evidence, "--protocol", "mars")
    assert (refused.status, "uk, us" in refused.err) == (2, True)


def test_out_writes_the_file_and_nothing_else(clear, tmp_path):
    ran = clear(["w1,1990-01-01,2026-04-01,no,no"], [], "--out", tmp_path / "result.csv")

    assert ran.status == 0
    assert table((tmp_path / "result.csv").read_text())[0]["person_id"] == "w1"
    assert ran.out == f"1 people written to {tmp_path / 'result.csv'}\n"


@pytest.mark.parametrize(
    ("row", "column", "found", "allowed"),
    [
        ("w9,2015-01-01,dose,43,,", "person_id", "w9", "an id of"),
        ("w1,2015-02-30,dose,43,,", "date", "2015-02-30", "2019-03-14, or 2019-03 or 2019"),
        ("w1,,dose,43,,", "date", "", "2019-03-14"),
        ("w1,2026-03-03,dose,43,,", "date", "2026-03-03", "up to 2026-03-02"),
        ("w1,1989,dose,43,,", "date", "1989", "on or after the birth"),
        ("w1,2015-01-01,shot,43,,", "kind", "shot", "dose, result, declined, contraindicated"),
        ("w1,2015-01-01,dose,10,,", "code", "10", "08, 30, 42, 43"),
        ("w1,2015-01-01,dose,,,", "code", "", "unknown"),
        ("w1,2015-01-01,dose,43,5,", "value", "5", "nothing, for kind dose"),
        ("w1,2015-01-01,result,anti-hbs,5,m[IU]/mL", "code", "anti-hbs", "anti_hbs, hbsag"),
        ("w1,2015-01-01,result,anti_hbs,,m[IU]/mL", "value", "", "positive, negative, indeterminate"),
        ("w1,2015-01-01,result,anti_hbs,-5,m[IU]/mL", "value", "-5", "a number from 0 to 1e+06"),
        ("w1,2015-01-01,result,anti_hbs,nan,m[IU]/mL", "value", "nan", "a number"),
        ("w1,2015-01-01,result,anti_hbs,5,mg/L", "unit", "mg/L", "m[IU]/mL"),
        ("w1,2015-01-01,result,anti_hbs,5,", "unit", "", "m[IU]/mL"),
        ("w1,2015-01-01,result,hbsag,0.4,", "value", "0.4", "positive, negative, indeterminate"),
        ("w1,2015-01-01,result,anti_hbs,positive,mg/L", "unit", "mg/L", "nothing beside a word, m[IU]/mL"),
        ("w1,2015-01-01,result,hbsag,positive,7", "unit", "7", "nothing beside a word"),
        ("w1,2015-01-01,declined,43,,", "code", "43", "nothing, for kind declined"),
        ("w1,2015-01-01,dose,43,", "all", "5 cells", "6 cells"),
    ],
)  # fmt: skip
def test_a_fault_is_told_with_file_line_column_found_and_allowed(
    clear, row, column, found, allowed
):
    good = "w1,2015-01-01,dose,43,,"
    ran = clear(["w1,1990-01-01,2026-04-01,no,no"], [good, row])

    assert (ran.status, ran.out) == (2, "")
    assert f"evidence.csv: line 3, column {column}: found {found!r}; allowed: " in ran.err
    assert allowed in ran.err
    assert len(ran.err.splitlines()) == 1


@pytest.mark.parametrize(
    ("row", "column", "found"),
    [
        (",1990-01-01,2026-04-01,no,no", "person_id", ""),
        ("w1,1990-01-01,2026-04-01,no,no", "person_id", "w1"),
        ("w2,1990-01,2026-04-01,no,no", "birth_date", "1990-01"),
        ("w2,1890-01-01,2026-04-01,no,no", "birth_date", "1890-01-01"),
        ("w2,2026-03-03,2026-04-01,no,no", "birth_date", "2026-03-03"),
        ("w2,1990-01-01,soon,no,no", "start_date", "soon"),
        ("w2,1990-01-01,2026-04-01,unknown,no", "exposure_prone", "unknown"),
        ("w2,1990-01-01,2026-04-01,no,", "immunocompromised", ""),
    ],
)
def test_a_fault_among_the_people_is_told_the_same_way(clear, row, column, found):
    ran = clear(["w1,1990-01-01,2026-04-01,no,no", row], [])

    assert (ran.status, ran.out) == (2, "")
    assert f"people.csv: line 3, column {column}: found {found!r}; allowed: " in ran.err


def test_every_fault_of_both_files_is_told_at_once(clear):
    ran = clear(
        ["w1,1990-01-01,x,maybe,no", "w2,1990-01-01,2026-04-01,no,no"],
        ["w2,x,dose,43,,", "w2,2015-01-01,result,hbsag,x,"],
    )

    assert ran.status == 2
    assert [line.split("column ")[1].split(":")[0] for line in ran.err.splitlines()] == [
        "start_date", "exposure_prone", "date", "value",
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("text", "told"),
    [
        (b"person_id,birth_date\n", "line 1, column header: found without start_date"),
        (b"\xff\xfe", "is not UTF-8"),
        (b"", "without person_id"),
        ((PEOPLE + ",name\n").encode(), "with 'name'"),
        ((PEOPLE + '\n"w1,1990\n').encode(), "is not CSV"),
    ],
)
def test_a_file_of_another_shape_is_refused(clear, text, told):
    ran = clear(text, [])

    assert (ran.status, ran.out) == (2, "")
    assert told in ran.err


def test_a_file_that_is_not_there_and_a_day_that_is_none_are_told(clear, tmp_path):
    assert "cannot be read" in run("clear", tmp_path / "a", tmp_path / "b", "--as-of", TODAY).err
    for day in ("2026", "2201-01-01", "0001-01-01"):
        ran = clear(["w1,1990-01-01,2026-04-01,no,no"], ["w1,2015-01-01,dose,43,,"], as_of=day)
        assert (ran.status, "--as-of: is a day" in ran.err) == (2, True)


def test_a_shape_that_cannot_be_read_hides_no_other_fault(clear):
    people, evidence = ["w1,1990-01-01,soon,no,no"], ["w1,x,dose,43,,", 'w1,"2015,dose']
    both = clear(people, evidence).err.splitlines()

    assert ["column start_date" in both[0], "column date" in both[1], "is not CSV" in both[2]] == [
        True
    ] * 3
    assert "column date" in clear(b"person_id\n", evidence).err


def test_lines_are_counted_as_an_editor_counts_them(clear):
    """Marks that end a line for some programs stand within a cell here; a quoted cell may hold lines."""
    people = ["w\x0b1,1990-01-01,2026-04-01,no,no", "w\u20282,1990-01-01,2026-04-01,no,no",
              '"w\n3",1990-01-01,2026-04-01,no,no', "w4,1990-01-01,x,no,no"]  # fmt: skip

    assert clear(people, []).err.count("\n") == 1
    assert "line 6, column start_date" in clear(people, []).err


def test_the_installed_command_does_the_same(tmp_path):
    people, evidence = tmp_path / "p.csv", tmp_path / "e.csv"
    people.write_text(f"{PEOPLE}\r\nw1,1990-01-01,2026-04-01,no,no\r\n", encoding="utf-8-sig")
    evidence.write_text(f"{EVIDENCE}\nw1,2015-01-01,dose,43,,\n", encoding="utf-8")
    ran = subprocess.run(
        [*COMMAND, "clear", people, evidence, "--as-of", TODAY],
        env=environment(), capture_output=True, text=True, check=False,
    )  # fmt: skip

    assert (ran.returncode, ran.stderr) == (0, "")
    assert table(ran.stdout)[0]["series"] == "incomplete"
