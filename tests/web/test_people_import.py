"""A list of people from elsewhere: sent, looked at, decided about, written, taken back; and the export."""

from __future__ import annotations

import hashlib
import json
import re
from collections.abc import Callable
from datetime import date, timedelta
from typing import Any

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client

from people.sheets import xlsx
from thimble.exchange.sheets import read_sheets
from thimble.ledger.verify import verify
from thimble.people.entries import Kind
from thimble.web import clock
from thimble.web.context import get_people, get_people_identities
from thimble.web.models import Account, PeopleImport
from thimble.web.people.roster import roster
from thimble.web.people_import import views
from thimble.web.roles import Role
from thimble.web.vault import Vault
from web.conftest import BACKEND, NIGHT
from web.test_immunity_on_record import case_of, position
from web.test_people import enrolled, rows_of

pytestmark = pytest.mark.django_db

HEADER = ("Number", "Surname", "First name", "Date of birth", "Department")
LIST = xlsx(
    ["New students"],
    [],
    HEADER,
    ("00500", "Garrow", "Milo", date(1998, 5, 17), "Surgery"),
    ("00421", "Brindle", "Inés", date(1999, 2, 28), "Medicine"),
    ("9", "BRINDLE", "Ines", date(1999, 2, 28), "Laboratory"),
    ("", "", "", "", "Medicine"),
)


def sent(client: Client, content: bytes = LIST, name: str = "list.xlsx") -> str:
    answer = client.post("/people-import/", {"file": SimpleUploadedFile(name, content)})
    assert answer.status_code == 302, answer.content.decode()
    return str(answer["Location"]).split("/")[2]


def columns(client: Client, import_id: str, **changes: str) -> str:
    fields = ("number", "family_name", "given_name", "birth_date", "department")
    form = {
        "header": "3",
        "works_as": "student",
        "cohort": "Spring",
        "order": "",
        **{f"column-{at}": name for at, name in enumerate(fields)},
        **changes,
    }
    client.post(f"/people-import/{import_id}/columns", form)
    return page(client, import_id)


def page(client: Client, import_id: str, show: str = "all") -> str:
    return client.get(f"/people-import/{import_id}/?show={show}").content.decode()


def digest(text: str) -> str:
    found = re.search(r'name="digest" value="([0-9a-f]{64})"', text)
    return found[1] if found else ""


def people() -> dict[str, Any]:
    identities = get_people_identities().all_identities()
    return {
        identities[p.reference].number: p
        for p in roster().people(clock.now())
        if p.reference in identities
    }


def test_from_the_file_to_the_register_and_back(nurse: Client, settings: Any) -> None:
    rea = enrolled(nurse)
    import_id = sent(nurse)
    assert "what everybody in this file works as" in page(nurse, import_id)

    seen = columns(nurse, import_id)
    for said in (
        "Somebody has the same name and birth date",
        "The same person as <b>Brindle, Inés</b>",
        "<del>Surgery</del> → <ins>Medicine</ins>",
        "Row 7: the name is missing",
        "1 row to decide first",
    ):
        assert said in seen, said
    assert digest(seen) == ""
    # Nothing was written by all that, and the file lies sealed.
    assert len(list(get_people().all_entries())) == 1
    (kept,) = (settings.DATA / "vault").iterdir()
    assert b"Garrow" not in kept.read_bytes()

    nurse.post(f"/people-import/{import_id}/decide", {"row-6": "leave"})
    seen = page(nurse, import_id)
    assert "Write 2 rows" in seen
    answer = nurse.post(f"/people-import/{import_id}/write", {"digest": digest(seen)}, follow=True)
    assert "Written: 1 enrolled, 1 changed" in answer.content.decode()
    assert list((settings.DATA / "vault").iterdir()) == []

    found = people()
    assert set(found) == {"00500", "00421"}
    assert found["00500"].employment.cohort == "Spring"
    assert found["00421"].employment.department == "Medicine"
    assert found["00421"].reference == rea
    chain = "".join(str(entry.body) for entry in get_people().all_entries())
    assert "Garrow" not in chain
    row = PeopleImport.objects.get()
    assert (row.state, row.file, row.plan) == ("applied", "", "{}")
    assert json.loads(row.counts) == {"new": 1, "changed": 1, "left out": 1, "refused": 1}

    assert (
        "Take this import back?" in nurse.get(f"/people-import/{import_id}/undo").content.decode()
    )
    answer = nurse.post(f"/people-import/{import_id}/undo")
    assert "1 person is out of the register again" in answer.content.decode()
    found = people()
    assert set(found) == {"00421"}
    assert found["00421"].employment.department == "Surgery"
    assert verify(get_people().all_entries(), subject="person") == []
    assert nurse.get(f"/people-import/{import_id}/undo").status_code == 404


def test_what_was_touched_since_is_named_and_stays(nurse: Client) -> None:
    import_id = sent(nurse)
    columns(nurse, import_id)
    nurse.post(f"/people-import/{import_id}/decide", {"row-6": "leave"})
    nurse.post(f"/people-import/{import_id}/write", {"digest": digest(page(nurse, import_id))})
    milo = people()["00500"].reference
    nurse.post(f"/people/{milo}/card", rows_of({"product": "43", "when": "2019"}))

    answer = nurse.post(f"/people-import/{import_id}/undo").content.decode()
    assert "Garrow, Milo" in answer
    assert "1 later entry" in answer
    assert set(people()) == {"00500"}
    assert PeopleImport.objects.get().state == "applied"


def test_a_register_that_moved_on_stops_the_writing_and_shows_anew(nurse: Client) -> None:
    enrolled(nurse)
    import_id = sent(nurse)
    columns(nurse, import_id)
    nurse.post(f"/people-import/{import_id}/decide", {"row-6": "leave"})
    before = digest(page(nurse, import_id))
    enrolled(
        nurse, number="00500", family_name="Garrow", given_name="Milo", birth_date="1998-05-17"
    )

    answer = nurse.post(f"/people-import/{import_id}/write", {"digest": before}, follow=True)
    assert "The register has moved on" in answer.content.decode()
    kinds = [entry.kind for entry in get_people().all_entries()]
    assert kinds == [Kind.ENROLLED, Kind.ENROLLED]


def test_a_double_click_writes_once(nurse: Client) -> None:
    import_id = sent(nurse)
    columns(nurse, import_id)
    nurse.post(f"/people-import/{import_id}/decide", {"row-6": "leave"})
    same = {"digest": digest(page(nurse, import_id))}
    nurse.post(f"/people-import/{import_id}/write", same)
    assert nurse.post(f"/people-import/{import_id}/write", same).status_code == 404
    assert len(list(get_people().all_entries())) == 2


def ready(nurse: Client) -> tuple[str, dict[str, str]]:
    """An import that only has to be written."""
    import_id = sent(nurse)
    columns(nurse, import_id)
    nurse.post(f"/people-import/{import_id}/decide", {"row-6": "leave"})
    return import_id, {"digest": digest(page(nurse, import_id))}


def test_what_another_browser_wrote_meanwhile_stays_written_and_can_be_taken_back(
    nurse: Client, monkeypatch: pytest.MonkeyPatch
) -> None:
    import_id, same = ready(nurse)
    real = views.opened

    def slower(asked: str) -> Any:
        found = real(asked)
        monkeypatch.setattr(views, "opened", real)
        nurse.post(f"/people-import/{import_id}/write", same)
        return found

    monkeypatch.setattr(views, "opened", slower)
    late = nurse.post(f"/people-import/{import_id}/columns", {"cohort": "Late"})

    assert (late.status_code, PeopleImport.objects.get().state) == (404, "applied")
    nurse.post(f"/people-import/{import_id}/undo")
    assert (people(), PeopleImport.objects.get().state) == ({}, "undone")


def test_an_import_is_written_once_even_where_its_file_cannot_be_deleted(
    nurse: Client, monkeypatch: pytest.MonkeyPatch
) -> None:
    import_id, same = ready(nurse)

    def locked(vault: Vault, name: str) -> None:
        raise OSError(name)

    monkeypatch.setattr(Vault, "delete", locked)
    with pytest.raises(OSError, match=r"^[0-9a-f]{32}$"):
        nurse.post(f"/people-import/{import_id}/write", same)
    assert PeopleImport.objects.get().state == "applied"
    assert len(people()) == 2


def test_decisions_of_two_browsers_are_both_kept(nurse: Client) -> None:
    import_id = sent(nurse)
    columns(nurse, import_id)
    for row in ("row-6", "row-5"):
        nurse.post(f"/people-import/{import_id}/decide", {row: "leave"})
    nurse.post(f"/people-import/{import_id}/decide", {"row-6": ""})
    assert json.loads(PeopleImport.objects.get().plan)["decisions"] == {"5": "leave"}


@pytest.mark.parametrize(
    ("content", "says"),
    [
        (b"", "is empty"),
        (b"\xd0\xcf\x11\xe0" + b"\0" * 99, "old XLS workbook, or has a password"),
        (b"PK\x03\x04nothing", "is damaged"),
    ],
)
def test_a_file_that_cannot_be_read_is_refused_and_not_kept(
    nurse: Client, settings: Any, content: bytes, says: str
) -> None:
    answer = nurse.post("/people-import/", {"file": SimpleUploadedFile("x.xlsx", content)})
    assert answer.status_code == 422
    assert says in answer.content.decode()
    assert "Choose a file" in nurse.post("/people-import/", {}).content.decode()
    assert not PeopleImport.objects.exists()
    assert not (settings.DATA / "vault").exists()


def test_other_columns_sheets_and_header_rows_can_be_said(nurse: Client) -> None:
    import_id = sent(nurse, b"Garrow;Milo\nCorvane;Una\n", "list.csv")
    assert "Say which column holds the name" in page(nurse, import_id)
    form = {"column-0": "family_name", "column-1": "given_name", "works_as": "staff", "header": "1"}
    nurse.post(f"/people-import/{import_id}/columns", form)
    seen = page(nurse, import_id)
    assert "Corvane, Una" in seen
    assert "Write 1 row" in seen
    # A column, header or sheet that does not exist changes nothing.
    odd = {**form, "column-99": "email", "header": "77", "sheet": "9", "column-0": "secrets"}
    nurse.post(f"/people-import/{import_id}/columns", odd)
    assert "Say which column holds the name" in page(nurse, import_id)


def test_a_file_that_nobody_comes_back_to_is_deleted_after_a_day(
    nurse: Client, settings: Any
) -> None:
    import_id = sent(nurse)
    other = sent(nurse)
    assert nurse.post(f"/people-import/{other}/drop").status_code == 302
    assert len(list((settings.DATA / "vault").iterdir())) == 1
    with clock.standing_at(NIGHT + timedelta(hours=24, seconds=1)):
        # The session has ended by then: another day, another sign-in.
        nurse.force_login(Account.objects.get(), backend=BACKEND)
        nurse.get("/people-import/")
    assert list((settings.DATA / "vault").iterdir()) == []
    assert nurse.get(f"/people-import/{import_id}/").status_code == 404


def test_the_export_is_safe_to_open_and_comes_back_unchanged(nurse: Client) -> None:
    enrolled(nurse, family_name="=cmd|' /C calc'!A0", number="+421")
    enrolled(nurse, family_name="Garrow", number="00500", birth_date="1998-02-28")
    text = nurse.get("/people-import/export.csv").content.decode("utf-8-sig")
    assert "'=cmd" in text
    assert "'+421" in text
    for ending in ("csv", "xlsx"):
        answer = nurse.get(f"/people-import/export.{ending}")
        assert answer["Content-Disposition"] == f'attachment; filename="people.{ending}"'
        (sheet,) = read_sheets(answer.content)
        assert {cell.kind for cells in sheet.rows.values() for cell in cells} == {"text"}
        import_id = sent(nurse, answer.content, f"people.{ending}")
        seen = page(nurse, import_id)
        assert "There is nothing to write" in seen
        assert '<b class="number">2</b>unchanged' in seen


@pytest.mark.parametrize(
    "role", [Role.EMERGENCY_CLINICIAN, Role.SAFETY_OFFICER, Role.ADMINISTRATOR]
)
def test_who_may_not_import_reaches_nothing(
    role: Role, signed_in: Callable[[Role], Client], nurse: Client
) -> None:
    import_id = sent(nurse)
    client = signed_in(role)
    for path in (
        "",
        f"{import_id}/",
        "export.csv",
        "export.xlsx",
        f"{import_id}/undo",
        f"{import_id}/refused.xlsx",
    ):
        assert client.get(f"/people-import/{path}").status_code == 403


EVIDENCE = xlsx(
    ("Number", "Date of birth", "Kind", "Product", "Test", "Date", "Value", "Unit"),
    ("00421", date(1999, 2, 28), "dose", "43", None, date(2019, 3, 14), None, None),
    ("00421", date(1999, 2, 28), "dose", "08", None, date(2019, 4, 14), None, None),
    ("00421", date(1999, 2, 28), "result", None, "anti-HBs", date(2019, 6, 14), 145, "IU/L"),
    ("00421", date(1999, 2, 28), "dose", "43", None, "immune", None, None),
)


def test_evidence_from_the_file_to_the_page_of_the_person_and_back(nurse: Client) -> None:
    rea = enrolled(nurse)
    nurse.post(f"/people/{rea}/card", rows_of({"product": "43", "when": "2019-04-14"}))
    import_id = sent(nurse, EVIDENCE)
    seen = page(nurse, import_id)
    for told in (
        "D3: Dose: Hepatitis B, paediatric or adolescent, 14 Apr 2019",
        "On file: Dose: Hepatitis B, adult, 14 Apr 2019. Is it the same one?",
        "Anti-HBs: 145 mIU/mL, 14 Jun 2019",
        "F5, Date: &#x27;immune&#x27; is no date",
        "1 row to decide first",
    ):
        assert told in seen, told
    nurse.post(f"/people-import/{import_id}/decide", {"cell-D3": "same"})
    seen = page(nurse, import_id)
    assert "2 pieces of evidence are written down" in seen
    assert "Ask again about D3" in seen
    nurse.post(f"/people-import/{import_id}/decide", {"cell-D3": ""})
    assert "1 row to decide first" in page(nurse, import_id)
    nurse.post(f"/people-import/{import_id}/decide", {"cell-D3": "same"})
    answer = nurse.post(
        f"/people-import/{import_id}/write", {"digest": digest(page(nurse, import_id))}, follow=True
    )
    assert "Written: 2 pieces of evidence." in answer.content.decode()

    (person,) = roster().people(clock.now())
    assert (len(person.evidence), person.unverified) == (3, 3)
    file = hashlib.sha256(EVIDENCE).hexdigest()
    assert [e.body["list"] for e in person.evidence[1:]] == [
        {"file": file, "row": 2},
        {"file": file, "row": 4},
    ]
    text = nurse.get(f"/people/{rea}/").content.decode()
    assert "from row 4 of a list" in text
    assert "not known whether the sample was identified and validated" in text
    assert f"row 2 of the file {file[:16]}" in nurse.get(f"/people/{rea}/history").content.decode()
    assert json.loads(PeopleImport.objects.get().counts) == {
        "added": 2,
        "left out": 1,
        "refused": 1,
        "pieces of evidence": 2,
    }

    answer = nurse.post(f"/people-import/{import_id}/undo")
    assert "1 file is as before" in answer.content.decode()
    (person,) = roster().people(clock.now())
    assert [e.body["when"] for e in person.evidence] == ["2019-04-14"]
    assert verify(get_people().all_entries(), subject="person") == []


def test_the_refused_rows_are_kept_as_a_file_that_can_be_corrected_and_sent_again(
    nurse: Client,
) -> None:
    enrolled(nurse)
    import_id = sent(nurse, EVIDENCE)
    assert f'href="/people-import/{import_id}/refused.xlsx"' in page(nurse, import_id)
    (kept,) = read_sheets(nurse.get(f"/people-import/{import_id}/refused.xlsx").content)
    assert [cell.text for cell in kept.rows[1]][:3] == ["Row", "Number", "Date of birth"]
    (row,) = (cells for number, cells in kept.rows.items() if number > 1)
    assert [cell.text for cell in row][:3] == ["5", "00421", "1999-02-28"]
    assert row[-1].text.startswith("F5, Date: 'immune' is no date")
    # With a date instead of the word it is read by itself.
    rows = [[cell.text for cell in cells] for cells in kept.rows.values()]
    rows[1][6] = "2018-03-14"
    again = sent(nurse, xlsx(*rows))
    assert "Dose: Hepatitis B, adult, 14 Mar 2018" in page(nurse, again)
    nurse.post(f"/people-import/{again}/columns", {"header": "1"})
    assert nurse.get(f"/people-import/{again}/refused.xlsx").status_code == 404


def test_one_answer_holds_for_all_that_a_page_asks_but_for_those_with_their_own(
    nurse: Client,
) -> None:
    rea = enrolled(nurse)
    days = ["2019-04-14", "2019-05-14", "2019-06-14"]
    nurse.post(f"/people/{rea}/card", rows_of(*({"product": "43", "when": each} for each in days)))
    rows = [("00421", date(1999, 2, 28), "08", each) for each in days]
    import_id = sent(nurse, xlsx(("Number", "Date of birth", "Product", "Date"), *rows))
    assert "All other doses and results on this page: the same" in page(nurse, import_id, "ask")
    posted = {"asked": ["C2", "C3", "C4", "C99x"], "every": "same", "cell-C3": "also"}
    nurse.post(f"/people-import/{import_id}/decide", posted)
    plan = json.loads(PeopleImport.objects.get().plan)
    assert plan["cells"] == {"C2": "same", "C3": "also", "C4": "same"}
    nurse.post(f"/people-import/{import_id}/decide", {"asked": "C2", "every": "perhaps"})
    assert json.loads(PeopleImport.objects.get().plan)["cells"] == plan["cells"]
    seen = page(nurse, import_id)
    assert "1 piece of evidence is written down" in seen
    left = "Left out: Dose: Hepatitis B, paediatric or adolescent, 14 Apr 2019"
    assert f"{left}. On file: Dose: Hepatitis B, adult, 14 Apr 2019" in seen


def test_evidence_that_a_case_rests_on_is_not_taken_back(
    nurse: Client, signed_in: Callable[[Role], Client]
) -> None:
    rea = enrolled(nurse)
    rows = [("00421", date(1999, 2, 28), "115", f"{year}-03-14") for year in (2001, 2005, 2019)]
    rows.append(("00500", date(1998, 5, 17), "115", "2019-03-14"))
    enrolled(
        nurse, number="00500", family_name="Garrow", given_name="Milo", birth_date="1998-05-17"
    )
    import_id = sent(nurse, xlsx(("Number", "Date of birth", "Product", "Date"), *rows))
    same = {"digest": digest(page(nurse, import_id))}
    nurse.post(f"/people-import/{import_id}/write", same)
    case, night = case_of(), signed_in(Role.EMERGENCY_CLINICIAN)
    taken = {"fact": ["worker_tetanus_doses"], "position": position(case)}
    assert night.post(f"/case/{case}/on-record/take", taken).status_code == 302

    answer = nurse.post(f"/people-import/{import_id}/undo").content.decode()
    assert "cases rest on it" in answer
    assert f'href="/case/{case}/"' in answer
    assert "1 file is as before" in answer
    evidence = {p.reference: len(p.evidence) for p in roster().people(clock.now())}
    assert evidence[rea] == 3
    assert sorted(evidence.values()) == [0, 3]
    assert PeopleImport.objects.get().state == "applied"


def test_whose_evidence_a_wide_list_holds_is_said_by_somebody(nurse: Client) -> None:
    enrolled(nurse)
    wide = xlsx(
        ("Number", "Surname", "First name", "Date of birth", "HepB1"),
        ("00421", "Brindle", "Inés", date(1999, 2, 28), "2019-03-14"),
        ("00500", "Garrow", "Milo", date(1998, 5, 17), "2019-03-14"),
    )
    import_id = sent(nurse, wide)
    assert "or that everybody is in the register already" in page(nurse, import_id)
    fields = ("number", "family_name", "given_name", "birth_date", "dose:43")
    form = {"header": "1", **{f"column-{at}": name for at, name in enumerate(fields)}}
    nurse.post(f"/people-import/{import_id}/columns", {**form, "only_evidence": "yes"})
    seen = page(nurse, import_id)
    assert "The number 00500 is not in the register" in seen
    assert "1 piece of evidence is written down" in seen
    nurse.post(f"/people-import/{import_id}/columns", {**form, "works_as": "student"})
    assert "2 pieces of evidence are written down" in page(nurse, import_id)
    # What is no field changes nothing for the worse: the column is left out.
    nurse.post(f"/people-import/{import_id}/columns", {**form, "column-4": "dose:elixir"})
    assert json.loads(PeopleImport.objects.get().plan)["fields"].keys() == {"0", "1", "2", "3"}


def test_a_list_with_numbers_alone_says_what_that_is_worth(nurse: Client) -> None:
    enrolled(nurse)
    alone = b"person_id,date,kind,code,value,unit\n00421,2019-03-14,dose,43,,\n"
    assert "Nothing but the number says whose a row is" in page(nurse, sent(nurse, alone, "e.csv"))


def test_no_other_site_can_decide_or_write(nurse: Client) -> None:
    import_id = sent(nurse, EVIDENCE)
    other = Client(enforce_csrf_checks=True)
    other.force_login(Account.objects.get(), backend=BACKEND)
    for path in ("columns", "decide", "write", "drop", "undo"):
        assert (
            other.post(f"/people-import/{import_id}/{path}", {"cell-D3": "also"}).status_code == 403
        )
    assert PeopleImport.objects.get().state == "open"


def test_an_import_left_open_by_an_earlier_version_goes_on(nurse: Client) -> None:
    import_id = sent(nurse)
    row = PeopleImport.objects.get()
    plan = json.loads(row.plan)
    row.plan = json.dumps(
        {key: plan[key] for key in plan if key not in ("cells", "disease", "only_evidence")}
    )
    row.save()
    assert "Say first what the columns hold" in page(nurse, import_id)
