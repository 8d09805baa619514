"""The register, a person's page, a whole card, refusals, scans: as a nurse uses them."""

from __future__ import annotations

import re
from collections.abc import Callable
from datetime import UTC, date, datetime
from types import SimpleNamespace
from typing import Any

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client

from thimble.actions import people as acts
from thimble.people.entries import Kind
from thimble.people.fold import Person, fold
from thimble.web import clock, context, models
from thimble.web.context import get_people, get_people_identities, zone
from thimble.web.people import hepatitis, views
from thimble.web.people.roster import Roster
from thimble.web.roles import Role
from web.test_vault import PDF, PNG

pytestmark = pytest.mark.django_db

FORM = {
    "family_name": "Brindle",
    "given_name": "Inés",
    "birth_date": "1999-02-28",
    "number": "00421",
    "email": "",
    "works_as": "student",
    "role": "medical student",
    "department": "Surgery",
    "site": "",
    "cohort": "Spring 2026",
    "starts_on": "2026-04-01",
    "ends_on": "",
    "exposure_prone": "yes",
    "category_uk": "3",
    "category_shea": "",
    "category_cdc_2012": "",
}


def enrolled(client: Client, **changes: str) -> str:
    # Many are invented from one form: whoever is there already is another person.
    others: Any = list(get_people_identities().all_identities())
    looked = {"another": "yes", "looked_at": others}
    answer = client.post("/people/new", {**FORM, **looked, **changes})
    assert answer.status_code == 302, answer.content.decode()
    return str(answer["Location"]).split("/")[2]


def evidence(person: str) -> Any:
    return fold(get_people().entries(person), clock.now()).evidence


def the_person(person: str) -> Person:
    return fold(get_people().entries(person), clock.now())


def rows_of(*rows: dict[str, str], **more: Any) -> dict[str, Any]:
    return {
        **{f"{key}-{n}": text for n, row in enumerate(rows, start=1) for key, text in row.items()},
        "rows": "8",
        **more,
    }


def test_somebody_enrolled_stands_in_the_register_and_no_name_in_an_address_or_the_chain(
    nurse: Client,
) -> None:
    person = enrolled(nurse)
    page = nurse.get("/people/").content.decode()

    assert "Brindle, Inés" in page
    assert "Nothing documented yet" in page
    assert f"/people/{person}/" in page
    chain = "".join(models.PersonEntry.objects.values_list("body", flat=True))
    for part in ("Brindle", "Inés", "00421", "1999"):
        assert part not in chain
    # Who was shown the name is on record.
    looks = models.IdentityLook.objects.filter(case=person).values_list("where", flat=True)
    assert list(looks) == ["people"]


def test_a_form_with_faults_comes_back_with_everything_typed(nurse: Client) -> None:
    answer = nurse.post(
        "/people/new", {**FORM, "birth_date": "2099-01-01", "ends_on": "2026-03-01"}
    )
    page = answer.content.decode()

    assert answer.status_code == 422
    assert "Look at the year" in page
    assert "cannot lie before the first" in page
    assert 'value="Brindle"' in page
    assert not models.PersonEntry.objects.exists()


def test_a_namesake_is_shown_and_enrolled_only_once_somebody_looked(nurse: Client) -> None:
    enrolled(nurse)
    again = {**FORM, "number": "99", "family_name": "BRINDLE", "given_name": "Ines"}
    answer = nurse.post("/people/new", again)
    assert answer.status_code == 422
    assert "this is another person" in answer.content.decode()

    (shown,) = re.findall('name="looked_at" value="(.*?)"', answer.content.decode())
    seen = {"another": "yes", "looked_at": shown}
    # The tick is about whom it stood beside: never about somebody who was not shown.
    unseen = {**again, "another": "yes", "looked_at": "P-2222-2222"}
    assert nurse.post("/people/new", unseen).status_code == 422
    assert nurse.post("/people/new", {**again, **seen}).status_code == 302
    assert len(get_people_identities().all_identities()) == 2


@pytest.mark.parametrize(
    ("changes", "told"),
    [
        ({"given_name": "Inez"}, "same family name and birth date"),
        ({"family_name": "Thornby"}, "same given name and birth date"),
        ({"family_name": "Brindel", "given_name": "Innes"}, "same birth date and a similar name"),
    ],
)
def test_who_is_only_nearly_a_namesake_is_shown_too(
    nurse: Client, changes: dict[str, str], told: str
) -> None:
    person = enrolled(nurse)
    answer = nurse.post("/people/new", {**FORM, "number": "99", **changes})
    assert answer.status_code == 422
    page = answer.content.decode()
    assert f"Somebody of the {told} is in the register" in page
    assert f'href="/people/{person}' in page
    assert "(00421)" in page
    assert len(get_people_identities().all_identities()) == 1


@pytest.mark.parametrize(
    ("typed", "found"),
    [("brin", 1), ("ines", 1), ("Brindle Inés", 1), ("421", 1), ("0042", 1), ("zz", 0), ("99", 0)],
)
def test_people_are_found_by_name_or_number(nurse: Client, typed: str, found: int) -> None:
    enrolled(nurse)
    page = nurse.post("/people/", {"q": typed}).content.decode()
    assert f"{found} {'person matches' if found == 1 else 'people match'}" in page


@pytest.mark.parametrize(
    ("show", "there"),
    [("here", True), ("starting", True), ("missing", True), ("left", False), ("all", True)],
)
def test_the_register_is_filtered_by_what_matters(nurse: Client, show: str, there: bool) -> None:
    enrolled(nurse)
    assert ("Brindle" in nurse.get(f"/people/?show={show}").content.decode()) is there
    other = nurse.get(f"/people/?show={show}&cohort=Other").content.decode()
    assert "Brindle" not in other


def test_details_change_only_what_differs_and_a_leaver_leaves_the_list(nurse: Client) -> None:
    person = enrolled(nurse)
    nurse.post(f"/people/{person}/details", FORM)
    assert len(get_people().entries(person)) == 1

    nurse.post(f"/people/{person}/details", {**FORM, "family_name": "Brindle-Vale"})
    nurse.post(
        f"/people/{person}/details",
        {**FORM, "family_name": "Brindle-Vale", "starts_on": "2025-01-01", "ends_on": "2026-03-02"},
    )
    kinds = [entry.kind for entry in get_people().entries(person)]
    assert kinds == [Kind.ENROLLED, Kind.CHANGED, Kind.LEFT, Kind.CHANGED]
    assert "Brindle" not in nurse.get("/people/").content.decode()
    assert "Brindle-Vale, Inés" in nurse.get("/people/?show=left").content.decode()


def test_a_whole_card_is_written_in_one_go_with_its_scan(nurse: Client) -> None:
    person = enrolled(nurse)
    answer = nurse.post(
        f"/people/{person}/card",
        rows_of(
            {"product": "43", "when": "14.3.2019", "lot": "A1", "where": "City clinic"},
            {"product": "mmr", "when": "2019"},
            {"product": "?", "against": "varicella", "when": "Okt 2018", "where": "School"},
            {"product": "", "when": ""},
            position="1",
            scan=SimpleUploadedFile("Rea Example.pdf", PDF, "text/html"),
        ),
    )
    assert answer.status_code == 302

    entries = get_people().entries(person)
    assert [e.kind for e in entries[1:]] == [Kind.DOCUMENT_ATTACHED, *[Kind.DOSE_RECORDED] * 3]
    assert "Rea Example" not in repr(entries)
    told = [
        (e.body["product"], e.body["when"], e.body["where"], e.body["document"])
        for e in evidence(person)
    ]
    assert told == [
        ("43", "2019-03-14", "City clinic", 2),
        ("03", "2019", "City clinic", 2),
        (None, "2018-10", "School", 2),
    ]
    page = nurse.get(f"/people/{person}/").content.decode()
    assert "14 Mar 2019" in page
    assert "Oct 2018" in page
    assert "Nobody has verified it" in page


def test_a_card_with_one_fault_is_refused_whole_and_keeps_what_was_typed(
    nurse: Client, settings: Any
) -> None:
    person = enrolled(nurse)
    answer = nurse.post(
        f"/people/{person}/card",
        rows_of(
            {"product": "43", "when": "4.5.2019"},
            {"product": "hepatitis", "when": "2019"},
            {"product": "?", "when": "2019"},
            {"product": "water", "when": "31.2.2019"},
            scan=SimpleUploadedFile("card.pdf", PDF),
        ),
    )
    page = answer.content.decode()

    assert answer.status_code == 422
    for said in (
        "Row 1: 4.5.2019 can be read in two ways",
        "Row 2: Which one?",
        "Row 3: Say what the unknown product is against",
        "Row 4: There is no such product",
        "31.2.2019",
    ):
        assert said in page
    assert 'value="hepatitis"' in page
    assert len(get_people().entries(person)) == 1
    assert not (settings.DATA / "vault").exists()


def test_more_lines_write_nothing_and_a_card_seen_before_somebody_else_wrote_is_stopped(
    nurse: Client, settings: Any
) -> None:
    person = enrolled(nurse)
    page = nurse.post(
        f"/people/{person}/card", rows_of({"product": "43"}, more="1")
    ).content.decode()
    assert 'name="product-16"' in page
    assert 'value="43"' in page
    assert len(get_people().entries(person)) == 1

    row = {"product": "43", "when": "2019"}
    nurse.post(f"/people/{person}/card", rows_of(row, position="1"))
    late = rows_of(
        {"product": "43", "when": "2020"},
        position="1",
        scan=SimpleUploadedFile("card.pdf", PDF),
    )
    answer = nurse.post(f"/people/{person}/card", late)
    assert answer.status_code == 422
    page = answer.content.decode()
    assert "Somebody else wrote in this file" in page
    assert "Dose written down, Dose: Hepatitis B, adult" in page
    assert list((settings.DATA / "vault").iterdir()) == []

    # What was typed is there and can be sent again, now that what is new was seen.
    assert 'name="position" value="2"' in page
    again = rows_of({"product": "43", "when": "2020"}, position="2")
    assert nurse.post(f"/people/{person}/card", again).status_code == 302
    assert [e.body["when"] for e in evidence(person)] == ["2019", "2020"]


def test_a_form_that_comes_late_puts_nothing_back_and_goes_through_once_looked_at(
    nurse: Client,
) -> None:
    person = enrolled(nurse)
    page = nurse.get(f"/people/{person}/details").content.decode()
    assert 'name="position" value="1"' in page
    nurse.post(f"/people/{person}/details", {**FORM, "exposure_prone": "no", "position": "1"})

    late = {**FORM, "email": "ines@example.invalid"}
    answer = nurse.post(f"/people/{person}/details", {**late, "position": "1"})
    page = answer.content.decode()
    assert answer.status_code == 422
    assert "Somebody else wrote in this file" in page
    assert "exposure-prone procedures No" in page
    assert 'value="ines@example.invalid"' in page
    assert fold(get_people().entries(person), clock.now()).employment.exposure_prone == "no"

    assert 'name="position" value="2"' in page
    assert nurse.post(f"/people/{person}/details", {**late, "position": "2"}).status_code == 302
    held = get_people_identities().identity(person)
    assert held is not None
    assert held.email == "ines@example.invalid"


def test_evidence_withdrawn_in_two_browsers_is_withdrawn_once(
    nurse: Client, monkeypatch: pytest.MonkeyPatch
) -> None:
    person = enrolled(nurse)
    nurse.post(f"/people/{person}/card", rows_of({"product": "43", "when": "2019"}))
    withdraw = views._withdraw

    def slower(*given: Any, **more: Any) -> None:
        writer = {"now": clock.now(), "by": "u-other", "role": "occupational_nurse"}
        acts.correct_evidence(get_people(), person, 2, reason="The same", **writer)
        withdraw(*given, **more)

    monkeypatch.setattr(views, "_withdraw", slower)
    answer = nurse.post(f"/people/{person}/withdraw/2", {"reason": "another's card"}, follow=True)
    assert "Not withdrawn: Entry 2 is no evidence that stands" in answer.content.decode()
    assert evidence(person) == ()


def test_today_is_the_day_of_the_site(nurse: Client, monkeypatch: pytest.MonkeyPatch) -> None:
    """At one in the morning in Europe it is still yesterday in the universal calendar."""
    person = enrolled(nurse)
    night = datetime(2026, 7, 3, 1, tzinfo=zone()).astimezone(UTC)
    monkeypatch.setattr(context, "clock", SimpleNamespace(now=lambda: night))
    assert (night.day, night.astimezone(zone()).day) == (2, 3)

    for day, status in (("2026-07-04", 422), ("2026-07-03", 302)):
        answer = nurse.post(f"/people/{person}/add/result", {**RESULT, "when": day})
        assert answer.status_code == status


def test_the_page_says_the_state_of_hepatitis_b_the_next_step_and_why(nurse: Client) -> None:
    person = enrolled(nurse)
    rows = [{"product": "43", "when": when} for when in ("4.2.2019", "17.3.2019")]
    nurse.post(f"/people/{person}/card", rows_of(*rows, order="day_first"))
    page = nurse.get(f"/people/{person}/").content.decode()
    for said in (
        "Hepatitis B: Immunity not known",
        "Begun, not complete; 2 doses count",
        "Next dose of the series, now",
    ):
        assert said in page

    nurse.post(f"/people/{person}/details", {**FORM, "birth_date": ""})
    page = nurse.get(f"/people/{person}/").content.decode()
    assert "Enter the birth date" in page
    assert "Hepatitis B: " not in page

    # A birth date set right later than the evidence: silence would look like nothing to do.
    rows = [{"product": "43", "when": "5.1.2001"}]
    nurse.post(f"/people/{person}/card", rows_of(*rows, order="day_first"))
    nurse.post(f"/people/{person}/details", {**FORM, "birth_date": "2001-02-28"})
    assert "lies before the birth date" in nurse.get(f"/people/{person}/").content.decode()


def test_a_protocol_without_clearance_tables_says_that_it_has_none(nurse: Client) -> None:
    person = enrolled(nurse)
    assert "hepatitis" not in hepatitis.unsaid(
        the_person(person), date(1999, 2, 28), date(2026, 3, 2)
    )
    nurse.post(f"/people/{person}/card", rows_of({"product": "43", "when": "2019"}))
    held, day = the_person(person), date(2026, 3, 2)
    assert hepatitis.state_of(held, date(1999, 2, 28), day, "mars") is None
    assert "no clearance tables" in hepatitis.unsaid(held, date(1999, 2, 28), day)


RESULT = {
    "test": "anti_hbs",
    "when": "2.11.2019",
    "order": "day_first",
    "word": "",
    "comparator": "<",
    "number": "10",
    "unit": "m[IU]/mL",
    "as_written": "< 10 IU/l",
    "laboratory": "",
    "identified": "yes",
    "drawn_here": "no",
    "direct": "not_known",
}


def test_a_result_keeps_its_sign_unit_and_what_is_known_of_the_sample(nurse: Client) -> None:
    person = enrolled(nurse)
    assert nurse.post(f"/people/{person}/add/result", RESULT).status_code == 302

    body = evidence(person)[0].body
    assert (body["comparator"], body["number"], body["when"]) == ("<", 10, "2019-11-02")
    page = nurse.get(f"/people/{person}/").content.decode()
    assert "Anti-HBs: &lt;10 mIU/mL" in page
    assert "not an identified and validated sample" in page

    for changes, said in (
        ({"number": "", "word": ""}, "Give a number, or the result in words"),
        ({"unit": ""}, "Choose the unit"),
        ({"unit": "mm"}, "anti-HBs comes in mIU/mL"),
        ({"unit": "{copies}/mL"}, "anti-HBs comes in mIU/mL"),
        ({"number": "1000001"}, "at most 1,000,000 mIU/mL"),
        ({"test": "hbsag", "unit": ""}, "Choose the word"),
        ({"test": "tuberculin", "unit": ""}, "Choose the unit"),
        ({"when": "4.5.2019", "order": ""}, "can be read in two ways"),
        ({"when": "4.5.2027"}, "lies ahead"),
        ({"when": "1998"}, "before the person"),
    ):
        answer = nurse.post(f"/people/{person}/add/result", {**RESULT, **changes})
        assert answer.status_code == 422, changes
        assert said in answer.content.decode()
    assert len(evidence(person)) == 1
    for test, said in (("hcv_rna", "{copies}/mL"), ("hbv_dna", "[IU]/mL"), ("tuberculin", "mm")):
        given = {**RESULT, "test": test, "unit": said}
        assert nurse.post(f"/people/{person}/add/result", given).status_code == 302


def test_a_refusal_signed_here_needs_the_name_of_the_person_and_does_not_keep_it(
    nurse: Client,
) -> None:
    person = enrolled(nurse)
    form = {
        "what": "vaccine",
        "disease": "hepatitis_b",
        "on": "2026-03-01",
        "informed": "yes",
        "signed": "here",
        "signature": "Somebody Else",
        "reason": "",
    }
    answer = nurse.post(f"/people/{person}/add/declined", form)
    assert answer.status_code == 422
    assert "not the name in the register" in answer.content.decode()

    nurse.post(f"/people/{person}/add/declined", {**form, "signature": "ines BRINDLE"})
    body = evidence(person)[0].body
    assert (body["signed"], body["informed"]) == ("here", True)
    assert "brindle" not in repr(body).lower()

    # Where the name was erased an empty signature is none.
    get_people_identities().erase([person])
    late = {**form, "disease": "measles", "signature": ""}
    assert nurse.post(f"/people/{person}/add/declined", late).status_code == 422


def test_what_was_seen_is_verified_with_name_and_time_and_withdrawn_with_a_reason(
    nurse: Client,
) -> None:
    person = enrolled(nurse)
    nurse.post(f"/people/{person}/card", rows_of({"product": "43", "when": "2019"}))
    for sent in ({"entry": "2"}, {"entry": "2", "seen": "dream"}, {"seen": "original"}):
        nurse.post(f"/people/{person}/verify", sent)
    assert evidence(person)[0].verified is None
    nurse.post(f"/people/{person}/verify", {"entry": "2", "seen": "original"})
    assert evidence(person)[0].verified.seen == "original"
    assert "The original was seen by Colleague" in nurse.get(f"/people/{person}/").content.decode()

    assert nurse.post(f"/people/{person}/withdraw/2", {"reason": " "}).status_code == 422
    nurse.post(f"/people/{person}/withdraw/2", {"reason": "another person's card"})
    assert evidence(person) == ()
    history = nurse.get(f"/people/{person}/history").content.decode()
    assert "later taken back" in history
    assert "Hepatitis B" in history
    assert "hepatitis b" not in history
    assert "another person&#x27;s card" in history
    assert nurse.get(f"/people/{person}/withdraw/2").status_code == 404


def test_a_scan_is_served_with_headers_that_let_it_do_nothing(nurse: Client) -> None:
    person = enrolled(nurse)
    for content, shows in ((PDF, "card"), (PNG, "laboratory")):
        sent = {"shows": shows, "text": "", "scan": SimpleUploadedFile("x.svg", content)}
        assert nurse.post(f"/people/{person}/scan", sent).status_code == 302

    pdf, png = nurse.get(f"/people/{person}/scan/2"), nurse.get(f"/people/{person}/scan/3")
    assert (pdf.content, pdf["Content-Type"]) == (PDF, "application/pdf")
    assert pdf["Content-Disposition"] == 'attachment; filename="scan-2.pdf"'
    assert (png.content, png["Content-Type"]) == (PNG, "image/png")
    for answer in (pdf, png):
        assert answer["Content-Security-Policy"] == "default-src 'none'; sandbox"
        assert answer["X-Content-Type-Options"] == "nosniff"
        assert answer["Cache-Control"] == "no-store, private"
    assert nurse.get(f"/people/{person}/scan/1").status_code == 404


def test_a_scan_of_somebody_else_is_withdrawn_and_its_content_deleted(
    nurse: Client, settings: Any
) -> None:
    person = enrolled(nurse)
    with_scan = rows_of({"product": "43", "when": "2019"}, scan=SimpleUploadedFile("card.png", PNG))
    nurse.post(f"/people/{person}/card", with_scan)
    assert 'href="#scan-2"' in nurse.get(f"/people/{person}/").content.decode()
    asked = nurse.get(f"/people/{person}/withdraw/2").content.decode()
    assert "Withdraw this scan?" in asked
    assert nurse.post(f"/people/{person}/withdraw/2", {"reason": " "}).status_code == 422
    assert len(list((settings.DATA / "vault").iterdir())) == 1

    nurse.post(f"/people/{person}/withdraw/2", {"reason": "card of a namesake"})
    assert list((settings.DATA / "vault").iterdir()) == []
    assert nurse.get(f"/people/{person}/scan/2").status_code == 404
    assert nurse.get(f"/people/{person}/withdraw/2").status_code == 404
    page = nurse.get(f"/people/{person}/").content.decode()
    assert "None attached" in page
    assert 'href="#scan-2"' not in page
    assert [e.body["when"] for e in evidence(person)] == ["2019"]
    assert "card of a namesake" in nurse.get(f"/people/{person}/history").content.decode()


def test_a_scan_that_is_something_else_or_was_exchanged_is_refused(
    nurse: Client, settings: Any
) -> None:
    person = enrolled(nurse)
    page = {"shows": "card", "text": "", "scan": SimpleUploadedFile("card.pdf", b"<html>")}
    answer = nurse.post(f"/people/{person}/scan", page)
    assert answer.status_code == 422
    assert "neither a whole PDF" in answer.content.decode()
    large = SimpleUploadedFile("card.pdf", PDF + b"\0" * (11 * 1024 * 1024))
    assert nurse.post(f"/people/{person}/scan", {**page, "scan": large}).status_code == 413
    settings.MALWARE_COMMAND = "false"
    good = {**page, "scan": SimpleUploadedFile("card.pdf", PDF)}
    assert "scanner for malware" in nurse.post(f"/people/{person}/scan", good).content.decode()
    assert len(get_people().entries(person)) == 1


def test_only_a_view_that_takes_files_takes_a_large_request_and_only_signed_in(
    nurse: Client,
) -> None:
    large = "x" * 300_000
    assert nurse.post("/people/new", {"family_name": large}).status_code == 413
    person = enrolled(nurse)
    assert nurse.post(f"/people/{person}/card", {"product-1": large}).status_code != 500
    sent = {"scan": SimpleUploadedFile("card.pdf", PDF + b"\0" * 300_000)}
    assert Client().post(f"/people/{person}/scan", sent).status_code == 413


@pytest.mark.parametrize(
    "role", [Role.SAFETY_OFFICER, Role.ADMINISTRATOR, Role.EMERGENCY_CLINICIAN]
)
def test_who_does_not_keep_people_sees_none(
    role: Role, signed_in: Callable[[Role], Client], nurse: Client
) -> None:
    person = enrolled(nurse)
    client = signed_in(role)
    for path in (
        "",
        "new",
        f"{person}/",
        f"{person}/card",
        f"{person}/history",
        f"{person}/scan/2",
    ):
        assert client.get(f"/people/{path}").status_code == 403


def test_a_person_who_does_not_exist_is_not_found(nurse: Client) -> None:
    for path in ("P-2222-2222/", "P-2222-2222/card", "x/", "P-2222-2222/history"):
        assert nurse.get(f"/people/{path}").status_code == 404
    person = enrolled(nurse)
    assert nurse.get(f"/people/{person}/add/nothing").status_code == 404


def test_the_roster_is_the_fold_of_every_file_however_the_news_come(nurse: Client) -> None:
    reads: list[int] = []

    def since(number: int) -> Any:
        reads.append(number)
        return list(get_people().since(number))

    kept = Roster(since)
    assert kept.people(clock.now()) == []
    one = enrolled(nurse)
    assert [p.reference for p in kept.people(clock.now())] == [one]
    other = enrolled(nurse, number="2", family_name="Other", birth_date="1998-02-28")
    nurse.post(f"/people/{one}/card", rows_of({"product": "43", "when": "2019"}))
    found = {p.reference: p for p in kept.people(clock.now())}
    assert found == {
        person: fold(get_people().entries(person), clock.now()) for person in (one, other)
    }
    assert reads == [0, 0, 1]
