"""Certificates of clearance: issued by who may, checked by anybody, refused where anything was changed."""

from __future__ import annotations

import json
import re
import shutil
import stat
import subprocess
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from io import BytesIO
from pathlib import Path
from typing import Any

import pikepdf
import pytest
from django.conf import settings as django_settings
from django.test import Client
from django.urls import reverse
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from people import ed25519_by_hand
from thimble.actions.certificate_papers import Paper
from thimble.actions.people import person_of
from thimble.actions.reference import ALPHABET, CODE_LENGTH
from thimble.ledger.fitness import FitnessDecision
from thimble.people.certificates.basis import Basis
from thimble.people.certificates.issued import Issued
from thimble.people.certificates.limits import Limit
from thimble.people.certificates.payload import square_text
from thimble.people.certificates.signing import (
    from_text,
    key_id,
    public_of,
    read_key_set,
    sign,
    verified,
)
from thimble.web import clock, models
from thimble.web.certificates.checking import CHECKS_PER_WINDOW, CODE, NUMBER, WRONG_PER_WINDOW
from thimble.web.certificates.forms import IssueForm
from thimble.web.certificates.house import keys
from thimble.web.certificates.keys import NotSigned
from thimble.web.certificates.papers import DjangoPapers
from thimble.web.context import get_people, get_people_identities, get_site
from thimble.web.roles import GRANTED, Role

from .conftest import NIGHT, SITE
from .test_own_page import make, opened
from .test_people import FORM, enrolled, rows_of

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("_fresh_limits")]

TITRE = {"test": "anti_hbs", "when": "2018-09-15", "word": "", "number": "145", "comparator": "=",
         "unit": "m[IU]/mL", "laboratory": "Invented Laboratory", "identified": "yes",
         "drawn_here": "yes", "direct": "yes"}  # fmt: skip
CLINICAL = ("vaccin", "immun", "titre", "anti-hb", "hbsag", "hepatitis", "infect", "ill", "disease",
            "blood", "dose", "test", "result", "health check")  # fmt: skip


@pytest.fixture(autouse=True)
def _hepatitis_b_alone(_site: None, tmp_path: Path) -> None:
    (tmp_path / "site.toml").write_text(
        SITE.replace(
            "[occupational_medicine]\n",
            'evidence_asked = ["hepatitis_b"]\n[occupational_medicine]\n',
            1,
        ),
        encoding="utf-8",
    )


@pytest.fixture
def physician(signed_in: Callable[[Role], Client]) -> Client:
    return signed_in(Role.OCCUPATIONAL_PHYSICIAN)


def doses(client: Client, person: str, *days: str) -> None:
    rows = rows_of(*({"product": "43", "when": day, "lot": "LOT-41"} for day in days), position="1")
    assert client.post(f"/people/{person}/card", rows).status_code == 302


@pytest.fixture
def begun(nurse: Client) -> str:
    """A file in which the series is complete and no titre was taken."""
    person = enrolled(nurse)
    doses(nurse, person, "2018-01-10", "2018-02-20", "2018-08-01")
    return person


@pytest.fixture
def immune(nurse: Client, begun: str) -> str:
    assert nurse.post(f"/people/{begun}/add/result", TITRE).status_code == 302
    return begun


def issue(client: Client, person: str, **typed: str) -> str:
    """Issue as the form does; the number of the certificate."""
    answer = client.post(f"/people/{person}/certificate", {"valid_until": "2027-03-03", **typed})
    assert answer.status_code == 302, re.sub(r"<[^>]+>", " ", answer.content.decode())
    return held(person)[-1].number


def held(person: str) -> tuple[Issued, ...]:
    return person_of(get_people(), person, clock.now()).certificates


def paper_of(number: str) -> Paper:
    found = DjangoPapers().paper(number)
    assert found is not None
    return found


def fragment(number: str) -> str:
    paper = paper_of(number)
    return square_text("", paper.proof, paper.salt)[1:]


def by_square(text: str) -> str:
    return Client().post("/certificate/", {"square": text}).content.decode()


def by_hand(number: str, code: str, **more: Any) -> str:
    return Client(**more).post("/certificate/", {"number": number, "code": code}).content.decode()


HOLDS, NOT_OURS = "This certificate holds today", "Do not accept this certificate"


def test_a_nurse_issues_it_and_whoever_has_the_paper_sees_whose_it_is(
    nurse: Client, immune: str
) -> None:
    number = issue(nurse, immune)

    page = nurse.get(f"/people/{immune}/").content.decode()
    assert "Holds until 3 Mar 2027" in page
    assert number in page
    for answer in (by_square(fragment(number)), by_hand(number, paper_of(number).code)):
        assert HOLDS in answer
        assert "Brindle, Inés" in answer
        assert "28 Feb 1999" in answer
        assert "Cleared for work with patients." in answer
    # Nothing of it stands in the chain, and the look at the name of whoever issued it is on record.
    chain = "".join(models.PersonEntry.objects.values_list("body", flat=True))
    for part in ("Brindle", "Inés", "1999", paper_of(number).code, paper_of(number).proof):
        assert part not in chain
    looks = models.IdentityLook.objects.filter(case=immune, where="certificate")
    assert looks.exists()


@pytest.mark.parametrize("typed", ["{}", " {} ", "c{}", "C-{}", "c {}"])
def test_number_and_code_are_taken_however_they_are_typed(
    nurse: Client, immune: str, typed: str
) -> None:
    number = issue(nurse, immune)
    plain = number.removeprefix("C-")
    for form in (plain, plain.lower(), plain.replace("-", ""), plain.replace("-", " ")):
        assert HOLDS in by_hand(typed.format(form), paper_of(number).code.lower().replace("-", " "))


def test_a_typing_mistake_is_told_as_one_and_keeps_what_was_typed(
    nurse: Client, immune: str
) -> None:
    number = issue(nurse, immune)
    code = paper_of(number).code
    wrong = ("3" if number[2] == "2" else "2") + number[3:]
    for typed_number, typed_code, says in (
        (f"C-{wrong}", code, "Look at the number again"),
        (number, code[:-1], "Look at the code again"),
        ("", code, "Type the number"),
        (number, "", "Type the code"),
    ):
        answer = Client().post("/certificate/", {"number": typed_number, "code": typed_code})
        assert answer.status_code == 422
        page = answer.content.decode()
        assert says in page
        # Somebody may have made the paper themselves: what fits no code is never a typing mistake for sure.
        rings = "do not rely on the paper, and ring Occupational Medicine, 0123."
        assert (rings in page) == says.startswith("Look")
        assert f'value="{typed_number}"' in page or not typed_number
        assert NOT_OURS not in page


def test_opening_the_address_tells_nothing_and_holds_no_secret(nurse: Client, immune: str) -> None:
    number = issue(nurse, immune)
    paper = paper_of(number)
    for address in ("/certificate/", f"/certificate/{number}", "/certificate/C-AAAA-AAAA"):
        answer = Client().get(address)
        page = answer.content.decode()
        assert answer.status_code == 200
        for part in ("Brindle", "1999", paper.code, paper.proof, HOLDS):
            assert part not in page
        assert answer["Cache-Control"] == "no-store, private"
        assert answer["Referrer-Policy"] == "same-origin"
        policy = answer["Content-Security-Policy"]
        assert "default-src 'none'" in policy
        assert "script-src 'self'" in policy
        assert "unsafe" not in policy
    address = square_text(f"https://thimble.example/certificate/{number}", paper.proof, paper.salt)
    before = address.partition("#")[0]
    assert before == f"https://thimble.example/certificate/{number}"


def test_what_is_checked_is_no_line_of_the_log(
    nurse: Client, immune: str, caplog: pytest.LogCaptureFixture
) -> None:
    number = issue(nurse, immune)
    paper = paper_of(number)
    caplog.clear()
    with caplog.at_level("INFO"):
        by_square(fragment(number))
        by_hand(number, paper.code)
        Client().get(f"/certificate/{number}")
    said = " ".join(str(vars(record)) for record in caplog.records)
    assert "certificate_holds" in said
    for part in ("Brindle", "1999", paper.code, paper.proof, number, immune):
        assert part not in said


@pytest.fixture
def square(nurse: Client, immune: str) -> str:
    return fragment(issue(nurse, immune))


@settings(
    max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(data=st.data())
def test_any_changed_character_of_the_square_code_is_refused(
    square: str, data: st.DataObject
) -> None:
    from django.core.cache import caches

    caches["limits"].clear()
    at = data.draw(st.integers(0, len(square) - 1))
    to = data.draw(st.sampled_from("AZaz09-_.").filter(lambda c: c != square[at]))
    page = by_square(square[:at] + to + square[at + 1 :])
    assert NOT_OURS in page
    assert "Brindle" not in page


def test_a_name_or_day_altered_and_signed_with_another_key_is_refused(
    nurse: Client, immune: str
) -> None:
    number = issue(nurse, immune)
    paper = paper_of(number)
    payload = from_text(paper.proof.split(".")[1])
    other = bytes(range(32))
    for changed in (payload, payload.replace(b"2027-03-03", b"2037-03-03")):
        forged = sign(changed, other)
        page = by_square(square_text("", forged, paper.salt)[1:])
        assert NOT_OURS in page
        # Not even under the name of the right key.
        header = paper.proof.split(".")[0]
        _, body, signature = forged.split(".")
        assert NOT_OURS in by_square(
            f"{header}.{body}.{signature}.{fragment(number).split('.')[3]}"
        )


def test_what_the_house_signed_but_has_no_record_of_is_refused(nurse: Client, immune: str) -> None:
    """Somebody has the key: without an entry in the ledger it is no certificate all the same."""
    number = issue(nurse, immune)
    paper = paper_of(number)
    payload = from_text(paper.proof.split(".")[1])
    private = bytes.fromhex((django_settings.DATA / "certificate_key").read_text())
    longer = sign(payload.replace(b"2027-03-03", b"2037-03-03"), private)
    unknown = sign(payload.replace(number.encode(), b"C-AAAA-AAAA"), private)
    assert sign(payload, private) == paper.proof
    for proof in (longer, unknown):
        assert NOT_OURS in by_square(square_text("", proof, paper.salt)[1:])


def test_the_code_of_another_certificate_is_refused(nurse: Client, immune: str) -> None:
    one, other = issue(nurse, immune), issue(nurse, immune)
    assert NOT_OURS in by_hand(one, paper_of(other).code)
    assert NOT_OURS in by_hand("C-K7QM-2F49", paper_of(one).code)
    proof, salt = paper_of(one).proof, paper_of(other).salt
    assert NOT_OURS in by_square(square_text("", proof, salt)[1:])


@pytest.mark.parametrize(
    ("moment", "holds"),
    [
        # 23:59 and 00:00 in Lindenfels (UTC+1 in March).
        (datetime(2027, 3, 3, 22, 59, tzinfo=UTC), True),
        (datetime(2027, 3, 3, 23, 0, tzinfo=UTC), False),
    ],
)
def test_it_runs_out_at_midnight_of_the_site(
    nurse: Client, immune: str, moment: datetime, holds: bool
) -> None:
    number = issue(nurse, immune)
    square, code = fragment(number), paper_of(number).code
    with clock.standing_at(moment):
        for page in (by_square(square), by_hand(number, code)):
            assert (HOLDS in page) is holds
            assert ("This certificate ran out on 3 Mar 2027" in page) is not holds
            assert "Brindle" in page


def test_a_withdrawn_one_is_told_so_since_when_and_never_why(nurse: Client, immune: str) -> None:
    number = issue(nurse, immune)
    square, code = fragment(number), paper_of(number).code
    address = f"/people/{immune}/certificate/{number}/withdraw"
    assert nurse.post(address, {"reason": " "}).status_code == 422
    assert HOLDS in by_square(square)
    assert nurse.post(address, {"reason": "HBsAg positive"}).status_code == 302
    later = NIGHT + timedelta(days=400)
    for moment in (clock.now(), later):
        with clock.standing_at(moment):
            for page in (by_square(square), by_hand(number, code)):
                assert "does not hold any more, since 3 Mar 2026" in page
                assert "HBsAg" not in page
                assert "Cleared" not in page
    page = nurse.get(f"/people/{immune}/").content.decode()
    assert "HBsAg positive" in page
    assert nurse.post(address, {"reason": "again"}).status_code == 422
    # Its paper is not printed again.
    assert nurse.get(f"/people/{immune}/certificate/{number}/paper.pdf").status_code == 404


@pytest.mark.parametrize("state", ["holds", "expired", "withdrawn", "not_ours"])
def test_no_answer_suggests_anything_of_anybodys_health(
    nurse: Client, immune: str, state: str
) -> None:
    number = issue(nurse, immune)
    square = fragment(number)
    if state == "withdrawn":
        nurse.post(f"/people/{immune}/certificate/{number}/withdraw", {"reason": "x"})
    moment = NIGHT + timedelta(days=400) if state == "expired" else NIGHT
    with clock.standing_at(moment):
        page = by_square(square if state != "not_ours" else square[:-9])
    main = re.sub(r"<[^>]+>", " ", page.partition("<main")[2].partition("</main>")[0])
    assert "nothing about their health" in main
    words = {word.lower() for word in re.findall(r"\w+", main)}
    for word in CLINICAL:
        assert not any(found.startswith(word) for found in words - {"tested"}), (word, main)


def test_an_address_that_asks_too_often_is_told_to_wait_and_others_are_not(
    nurse: Client, immune: str
) -> None:
    number = issue(nurse, immune)
    code = paper_of(number).code
    for _ in range(WRONG_PER_WINDOW):
        assert NOT_OURS in by_square("x")
    answer = Client().post("/certificate/", {"square": "x"})
    assert answer.status_code == 429
    assert answer["Retry-After"] == "600"
    assert "says nothing about the certificate" in answer.content.decode()
    # A genuine one is still answered, here and elsewhere.
    assert HOLDS in by_hand(number, code)
    assert NOT_OURS in by_hand("C-K7QM-2F49", code, REMOTE_ADDR="203.0.113.9")


def test_nobody_keeps_others_from_checking_a_number_by_typing_wrong_codes_for_it(
    nurse: Client, immune: str
) -> None:
    number = issue(nurse, immune)
    code = paper_of(number).code
    for n in range(CHECKS_PER_WINDOW):
        by_hand(number, CODE, REMOTE_ADDR=f"203.0.113.{n % 50}")
    assert HOLDS in by_hand(number, code, REMOTE_ADDR="198.51.100.1")
    # Whoever tries from one address is stopped there, with right and wrong ones.
    for _ in range(CHECKS_PER_WINDOW):
        by_hand(number, CODE, REMOTE_ADDR="192.0.2.1")
    assert "Asked too often" in by_hand(number, code, REMOTE_ADDR="192.0.2.1")
    assert HOLDS in by_hand(number, code, REMOTE_ADDR="198.51.100.1")


def test_the_examples_on_the_page_are_what_could_be_printed_and_are_never_refused_as_mistyped() -> (
    None
):
    assert NOT_OURS in by_hand(NUMBER, CODE)


def test_what_guessing_needs_is_as_the_docs_say() -> None:
    """docs/certificates.md: found in a year from 10,000 addresses at all that the limits let through."""
    free = len(ALPHABET) ** (CODE_LENGTH - 1)
    tries = CHECKS_PER_WINDOW * 6 * 24 * 365 * 10_000
    assert 1 / 16_000 < tries / free < 1 / 14_000


# --- who may issue what ---------------------------------------------------------------------------


def test_what_is_not_met_a_nurse_cannot_issue_and_a_physician_says_why(
    nurse: Client, physician: Client, begun: str
) -> None:
    page = nurse.get(f"/people/{begun}/certificate").content.decode()
    assert "A physician decides" in page
    assert "Issue it" not in page
    forced = {"valid_until": "2027-03-03", "reason": "x"}
    nurse.post(f"/people/{begun}/certificate", forced)
    assert held(begun) == ()

    answer = physician.post(f"/people/{begun}/certificate", {**forced, "restriction": "none",
                            "exposure_prone": "not_stated", "reason": ""})  # fmt: skip
    assert answer.status_code == 422
    assert "Say why" in answer.content.decode()
    issue(physician, begun, restriction="none", exposure_prone="not_stated", reason="Seen the card")
    assert held(begun)[0].reason == "Seen the card"


def test_a_nurse_who_sends_more_than_the_form_asks_issues_the_standard_alone(
    nurse: Client, immune: str
) -> None:
    issue(nurse, immune, restriction="no_exposure_prone", exposure_prone="cleared:uk:3", reason="x")
    (issued,) = held(immune)
    assert issued.statement.standard
    assert issued.reason == ""


def test_a_physician_certifies_a_restriction_and_exposure_prone_work_in_words_of_work(
    physician: Client, nurse: Client, immune: str
) -> None:
    said = {"restriction": "none", "exposure_prone": "cleared:shea:III", "reason": "Agreed"}
    number = issue(physician, immune, **said)
    assert "Cleared for exposure-prone procedures, SHEA category III." in by_square(
        fragment(number)
    )
    restricted = {**said, "restriction": "no_exposure_prone", "exposure_prone": "not_stated"}
    number = issue(physician, immune, **restricted)
    assert "with a restriction: no exposure-prone procedures" in by_square(fragment(number))
    both = {"valid_until": "2027-03-03", **said, "restriction": "no_exposure_prone"}
    answer = physician.post(f"/people/{immune}/certificate", both)
    assert answer.status_code == 422
    assert "at once" in answer.content.decode()


def test_the_last_day_is_never_later_than_the_rules_allow(nurse: Client, immune: str) -> None:
    address = f"/people/{immune}/certificate"
    for day, says in (("2027-03-04", "until 2027-03-03 at most"), ("2026-03-02", "no earlier than today"),
                      ("", "Say until when"), ("soon", "Give a day")):  # fmt: skip
        answer = nurse.post(address, {"valid_until": day})
        assert answer.status_code == 422
        assert says in answer.content.decode()
    assert held(immune) == ()
    issue(nurse, immune, valid_until="2026-03-03")
    assert held(immune)[0].limited_by == "chosen"


def test_without_a_birth_date_nothing_is_issued(nurse: Client) -> None:
    person = enrolled(nurse, birth_date="")
    page = nurse.get(f"/people/{person}/certificate").content.decode()
    assert "Enter name and birth date first" in page
    nurse.post(f"/people/{person}/certificate", {"valid_until": "2026-12-31"})
    assert held(person) == ()


def test_whoever_looked_at_an_older_file_is_told_and_nothing_is_issued(
    nurse: Client, immune: str
) -> None:
    answer = nurse.post(
        f"/people/{immune}/certificate", {"valid_until": "2027-03-03", "position": "2"}
    )
    assert answer.status_code == 422
    assert "wrote in this file meanwhile" in answer.content.decode()
    assert held(immune) == ()
    assert not models.CertificatePaper.objects.exists()


def test_certificates_are_for_the_nurse_and_the_physician_alone(
    nurse: Client, immune: str, signed_in: Callable[[Role], Client]
) -> None:
    assert {role for role in Role if "certify_clearance" in GRANTED[role]} == {
        Role.OCCUPATIONAL_NURSE,
        Role.OCCUPATIONAL_PHYSICIAN,
    }
    number = issue(nurse, immune)
    for role in (Role.EMERGENCY_CLINICIAN, Role.SAFETY_OFFICER, Role.ADMINISTRATOR):
        client = signed_in(role)
        for path in ("", f"/{number}/paper.pdf", f"/{number}/withdraw", f"/{number}/confirm"):
            assert client.get(f"/people/{immune}/certificate{path}").status_code == 403
    assert nurse.get(f"/people/{immune}/certificate/{number}/confirm").status_code == 403


def test_a_later_result_is_told_on_the_page_and_the_physician_decides(
    nurse: Client, physician: Client, immune: str
) -> None:
    number = issue(nurse, immune)
    assert "Look whether it still holds" not in nurse.get(f"/people/{immune}/").content.decode()
    later = {
        **TITRE,
        "test": "hbsag",
        "word": "positive",
        "number": "",
        "unit": "",
        "when": "2026-03-01",
    }
    assert nurse.post(f"/people/{immune}/add/result", later).status_code == 302

    page = nurse.get(f"/people/{immune}/").content.decode()
    assert "Look whether it still holds" in page
    assert "Hepatitis B: met when it was issued" in page
    assert HOLDS in by_square(fragment(number))
    assert "It still holds" not in page
    assert "It still holds" in physician.get(f"/people/{immune}/").content.decode()
    confirm = f"/people/{immune}/certificate/{number}/confirm"
    assert "HBsAg" in physician.get(confirm).content.decode()
    assert physician.post(confirm, {"reason": ""}).status_code == 422
    assert (
        physician.post(confirm, {"reason": "Repeat negative", "position": "3"}).status_code == 422
    )
    assert physician.post(confirm, {"reason": "Repeat negative"}).status_code == 302


def test_a_changed_name_is_told_while_the_paper_keeps_the_one_that_was_signed(
    nurse: Client, immune: str
) -> None:
    number = issue(nurse, immune)
    nurse.post(f"/people/{immune}/details", {**FORM, "family_name": "Otherby"})
    assert "The name was changed" in nurse.get(f"/people/{immune}/").content.decode()
    page = by_square(fragment(number))
    assert "Brindle, Inés" in page
    assert "Otherby" not in page


def test_once_the_name_is_erased_the_paper_alone_shows_it(nurse: Client, immune: str) -> None:
    number = issue(nurse, immune)
    square, code = fragment(number), paper_of(number).code
    get_people_identities().erase([immune])
    assert not models.CertificatePaper.objects.exists()
    page = by_square(square)
    assert HOLDS in page
    assert "the paper alone shows it" in page
    assert "Brindle" not in page
    page = by_hand(number, code)
    assert HOLDS not in page
    assert "Scan the square code" in page


# --- the paper ------------------------------------------------------------------------------------


def text_of(pdf: bytes, folder: Path) -> str:
    program = shutil.which("pdftotext")
    assert program, "pdftotext is needed"
    (folder / "paper.pdf").write_bytes(pdf)
    done = subprocess.run(
        [program, "-layout", str(folder / "paper.pdf"), "-"], capture_output=True, check=True
    )
    return done.stdout.decode()


def test_the_paper_is_archival_accessible_and_the_same_each_time(
    nurse: Client, immune: str
) -> None:
    number = issue(nurse, immune)
    address = f"/people/{immune}/certificate/{number}/paper.pdf"
    first = nurse.get(address)
    with clock.standing_at(NIGHT + timedelta(minutes=20)):
        assert nurse.get(address).content == first.content
    assert first["Content-Type"] == "application/pdf"
    assert first["Content-Disposition"] == f'inline; filename="certificate-{number}.pdf"'
    with pikepdf.open(BytesIO(first.content)) as pdf, pdf.open_metadata() as metadata:
        assert metadata["pdfaid:part"] == "2"
        assert metadata["pdfaid:conformance"] == "B"
        assert metadata["pdfuaid:part"] == "1"
        assert pdf.Root.MarkInfo.Marked
        kinds = [o.get("/S") for o in pdf.objects if isinstance(o, pikepdf.Dictionary)]
        assert {"/H1", "/H2", "/Figure"} <= {str(kind) for kind in kinds}
        assert len(pdf.pages) == 1
        assert "Brindle" not in str(metadata)


def test_nothing_clinical_stands_on_the_paper_of_somebody_with_much_on_record(
    nurse: Client, physician: Client, immune: str, tmp_path: Path
) -> None:
    nurse.post(
        f"/people/{immune}/add/contraindicated",
        {"disease": "measles", "when": "2019", "reason": "Anaphylaxis to gelatine", "until": ""},
    )
    later = {
        **TITRE,
        "test": "anti_hcv",
        "word": "negative",
        "number": "",
        "unit": "",
        "when": "2020-01-05",
    }
    nurse.post(f"/people/{immune}/add/result", later)
    said = {"restriction": "no_exposure_prone", "exposure_prone": "not_stated",
            "reason": "Chronic illness of which nobody speaks"}  # fmt: skip
    number = issue(physician, immune, **said)
    text = text_of(nurse.get(f"/people/{immune}/certificate/{number}/paper.pdf").content, tmp_path)

    flat = " ".join(text.split())
    for there in ("Brindle, Inés", "28 Feb 1999", number, paper_of(number).code, "3 Mar 2027",
                  "Colleague, Occupational physician", "Lindenfels General Hospital",
                  "with a restriction: no exposure-prone procedures"):  # fmt: skip
        assert there in flat
    known = person_of(get_people(), immune, clock.now())
    values: set[str] = set()
    for evidence in known.evidence:
        for value in evidence.body.values():
            values |= {str(v) for v in (value if isinstance(value, list) else [value])}
    said_of_work = {"", "None", "True", "False", "=", "{}"}
    values = {v for v in values if v not in said_of_work and len(v) > 2 and "{" not in v}
    assert {"145", "LOT-41", "2018-01-10", "anti_hcv", "Anaphylaxis to gelatine"} <= values
    for value in values | {"10 Jan 2018", "Chronic", immune, "clearance_us"}:
        assert value.lower() not in flat.lower(), value
    words = {word.lower() for word in re.findall(r"[\w-]+", flat)}
    for word in CLINICAL:
        assert not any(found.startswith(word) for found in words), word


# --- the key --------------------------------------------------------------------------------------


def test_the_key_is_made_once_and_only_its_owner_reads_it(nurse: Client, immune: str) -> None:
    issue(nurse, immune)
    file = django_settings.DATA / "certificate_key"
    first = file.read_bytes()
    assert stat.S_IMODE(file.stat().st_mode) == 0o600
    issue(nurse, immune)
    assert file.read_bytes() == first
    assert [path.name for path in django_settings.DATA.glob("certificate_key*")] == [file.name]
    (row,) = models.CertificateKey.objects.all()
    assert row.id == key_id(public_of(bytes.fromhex(first.decode())))


@pytest.mark.parametrize("damaged", [None, "", "00", "zz" * 32, "00" * 31])
def test_a_lost_or_damaged_key_signs_nothing_and_is_never_replaced(
    nurse: Client, immune: str, damaged: str | None
) -> None:
    number = issue(nurse, immune)
    file = django_settings.DATA / "certificate_key"
    kept = file.read_text()
    file.unlink()
    if damaged is not None:
        file.write_text(damaged)
    answer = nurse.post(f"/people/{immune}/certificate", {"valid_until": "2027-03-03"})
    assert answer.status_code == 422
    assert "Put it back from a copy" in answer.content.decode()
    assert len(held(immune)) == 1
    assert file.exists() is (damaged is not None)
    # What was issued before is checked as before; and the key put back signs again.
    assert HOLDS in by_square(fragment(number))
    file.write_text(kept)
    issue(nurse, immune)


def test_a_key_that_is_not_the_one_in_use_signs_nothing(nurse: Client, immune: str) -> None:
    issue(nurse, immune)
    file = django_settings.DATA / "certificate_key"
    old = file.read_text()
    file.write_text("11" * 32)
    with pytest.raises(NotSigned, match="not the one in use"):
        keys().sign(b"x", NIGHT)
    file.write_text(old)
    keys().renew(NIGHT)
    assert file.read_text() != old
    file.write_text(old)
    with pytest.raises(NotSigned, match="put out of use"):
        keys().sign(b"x", NIGHT)


def published() -> dict[str, bytes]:
    answer = Client().get("/.well-known/jwks.json")
    assert answer["Content-Type"] == "application/jwk-set+json"
    return read_key_set(answer.content.decode())


def test_after_a_change_of_keys_old_and_new_are_verified(nurse: Client, immune: str) -> None:
    old = issue(nurse, immune)
    keys().renew(NIGHT)
    new = issue(nurse, immune)
    assert len(published()) == 2
    for number in (old, new):
        assert HOLDS in by_square(fragment(number))
        assert verified(paper_of(number).proof, published())
    assert held(immune)[0].key != held(immune)[1].key


def test_a_stolen_key_is_published_no_more_and_the_ledger_still_tells_what_is_genuine(
    nurse: Client, immune: str
) -> None:
    number = issue(nurse, immune)
    stolen = bytes.fromhex((django_settings.DATA / "certificate_key").read_text())
    keys().renew(NIGHT, stolen=True)
    assert key_id(public_of(stolen)) not in published()
    assert HOLDS in by_square(fragment(number))
    payload = from_text(paper_of(number).proof.split(".")[1])
    forged = sign(payload.replace(b"2027-03-03", b"2037-03-03"), stolen)
    assert NOT_OURS in by_square(square_text("", forged, paper_of(number).salt)[1:])


def test_the_published_keys_bear_out_the_paper_without_the_products_own_code(
    nurse: Client, immune: str
) -> None:
    number = issue(nurse, immune)
    told = json.loads(Client().get("/.well-known/jwks.json").content)
    (key,) = told["keys"]
    assert set(key) == {"kty", "crv", "x", "kid", "use", "alg"}
    header, payload, signature = paper_of(number).proof.split(".")
    assert json.loads(from_text(header)) == {"alg": "EdDSA", "kid": key["kid"]}
    public = from_text(key["x"])
    assert ed25519_by_hand.holds(public, f"{header}.{payload}".encode(), from_text(signature))
    assert not ed25519_by_hand.holds(public, f"{header}.{payload}x".encode(), from_text(signature))


# --- the person's own page ------------------------------------------------------------------------


def test_the_person_saves_their_own_certificate_while_it_holds_and_nobody_elses(
    nurse: Client, immune: str
) -> None:
    other = enrolled(nurse, number="9", family_name="Otherby")
    number = issue(nurse, immune)
    mine = opened(make(nurse, immune))
    page = mine.get("/own/").content.decode()
    assert "Your certificate of clearance" in page
    assert "Valid until 3 Mar 2027" in page
    address = f"/own/certificate/{number}/paper.pdf"
    assert address in page
    assert mine.get(address).content == nurse.get(
        f"/people/{immune}/certificate/{number}/paper.pdf"
    ).content  # fmt: skip

    theirs = opened(make(nurse, other))
    assert "Your certificate" not in theirs.get("/own/").content.decode()
    assert theirs.get(address).status_code == 404
    assert Client().get(address).status_code == 403
    nurse.post(f"/people/{immune}/certificate/{number}/withdraw", {"reason": "x"})
    assert mine.get(address).status_code == 404
    assert "Your certificate" not in mine.get("/own/").content.decode()


DECISION = {
    "rule_set": "uk_2023", "occasion": "clearance", "do": "decide", "review_on": "2099-09-01",
    "reason": "seen today",
}  # fmt: skip


@pytest.mark.parametrize(
    ("outcome", "restriction", "told"),
    [
        ("not_fit", "none", True),
        ("fit_with_restriction", "no_exposure_prone", True),
        ("fit", "none", False),
    ],
)
def test_whoever_decides_otherwise_is_told_which_certificate_is_still_out(
    nurse: Client, physician: Client, immune: str, outcome: str, restriction: str, told: bool
) -> None:
    """And at a school whoever checks it is told that it does not hold at present."""
    number = issue(nurse, immune)

    def decide() -> str:
        at = reverse("fitness:person", args=[immune])
        position = len(get_people().entries(immune))
        typed = {**DECISION, "outcome": outcome, "restriction": restriction}
        answer = physician.post(at, {**typed, "position": str(position)}, follow=True)
        assert answer.redirect_chain, (
            answer.status_code,
            re.findall(r"notice.*?</p>", answer.text, re.S),
        )
        return answer.content.decode()

    assert (f"says more: certificate {number}." in decide()) is told
    nurse.post(f"/people/{immune}/certificate/{number}/withdraw", {"reason": "decided anew"})
    assert held(immune)[0].withdrawn is not None
    assert "certificate C-" not in decide()


NOT_AT_PRESENT = "This certificate does not hold at present"


def decide(physician: Client, person: str, outcome: str, restriction: str) -> None:
    position = len(get_people().entries(person))
    typed = {**DECISION, "outcome": outcome, "restriction": restriction, "position": str(position)}
    answer = physician.post(reverse("fitness:person", args=[person]), typed)
    assert answer.status_code == 302, re.findall(r"notice.*?</p>", answer.text, re.S)


@pytest.mark.parametrize(
    ("outcome", "restriction"),
    [("not_fit", "none"), ("fit_with_restriction", "no_exposure_prone_for_now")],
)
def test_from_the_decision_on_it_does_not_hold_and_when_it_is_lifted_it_does_again(
    nurse: Client, physician: Client, immune: str, outcome: str, restriction: str
) -> None:
    number = issue(nurse, immune)
    mine = opened(make(nurse, immune))
    paper, theirs = (
        f"/people/{immune}/certificate/{number}/paper.pdf",
        f"/own/certificate/{number}/paper.pdf",
    )
    said = "no exposure-prone procedures" if restriction != "none" else "Not fit"

    decide(physician, immune, outcome, restriction)
    for answer in (by_square(fragment(number)), by_hand(number, paper_of(number).code)):
        assert NOT_AT_PRESENT in answer
        assert HOLDS not in answer
        assert "Brindle, Inés" in answer
        assert "Cleared for work" not in answer
        # Why, and since when, is nobody's business.
        for part in (said, "fit", "restrict", "decided", "decision", "since"):
            assert re.search(rf"\b{part}", re.sub(r"<[^>]+>", " ", answer), re.I) is None, part
    assert mine.get(theirs).status_code == 404
    own = mine.get("/own/").text
    assert theirs not in own
    assert "It does not hold at present" in own
    assert nurse.get(paper).status_code == 404
    for client in (nurse, physician):
        for page in (
            client.get(f"/people/{immune}/").text,
            client.get("/people/certificates").text,
        ):
            assert "Does not hold at present" in page
            assert said in page
    assert "0 people have" in " ".join(nurse.get("/people/certificates").text.split())
    numbers = nurse.post("/people/certificates/print", {"numbers": number})
    assert numbers.status_code == 422

    decide(physician, immune, "fit", "none")
    assert HOLDS in by_square(fragment(number))
    assert mine.get(theirs).status_code == nurse.get(paper).status_code == 200
    assert "Does not hold at present" not in nurse.get(f"/people/{immune}/").text


def test_a_physician_who_confirms_it_in_spite_of_a_restriction_saw_the_decision_in_force(
    nurse: Client, physician: Client, immune: str
) -> None:
    number = issue(nurse, immune)
    decide(physician, immune, "fit_with_restriction", "no_exposure_prone")
    url = f"/people/{immune}/certificate/{number}/confirm"

    assert url in physician.get(f"/people/{immune}/").text

    def confirm(page: str) -> int:
        hidden = dict(re.findall(r'name="(position|seen)" value="([^"]*)"', page))
        return physician.post(url, {**hidden, "reason": "the school's work has none"}).status_code

    before = physician.get(url).text
    assert "no exposure-prone procedures" in before
    decide(physician, immune, "fit_with_restriction", "no_exposure_prone_for_now")
    assert confirm(before) == 422
    assert NOT_AT_PRESENT in by_square(fragment(number))
    assert confirm(physician.get(url).text) == 302
    assert HOLDS in by_square(fragment(number))
    history = physician.get(f"/people/{immune}/history").text
    assert f"{number}; in spite of: no exposure-prone procedures until further notice" in history
    decide(physician, immune, "not_fit", "none")
    assert NOT_AT_PRESENT in by_square(fragment(number))
    # Where the page behind it refuses, nothing leads there.
    assert url not in physician.get(f"/people/{immune}/").text
    page = physician.get(url).text
    assert "Nobody who is not fit is cleared" in page
    assert 'name="reason"' not in page
    held_by = f"{immune} {len(get_people().entries(immune))}"
    typed = {"position": held_by.partition(" ")[2], "seen": held_by, "reason": "x"}
    answer = physician.post(url, typed)
    assert answer.status_code == 422
    assert "Withdraw the certificate, or decide anew" in answer.text
    assert NOT_AT_PRESENT in by_square(fragment(number))


def test_new_evidence_alone_changes_nothing_of_what_the_page_says(
    nurse: Client, immune: str
) -> None:
    number = issue(nurse, immune)
    positive = {**TITRE, "test": "hbsag", "when": "2026-03-01", "word": "positive", "number": "",
                "unit": ""}  # fmt: skip
    assert nurse.post(f"/people/{immune}/add/result", positive).status_code == 302
    assert "Look whether it still holds" in nurse.get(f"/people/{immune}/").text
    assert HOLDS in by_square(fragment(number))


@pytest.mark.parametrize(
    ("outcome", "restriction", "chosen"),
    [("fit", "none", None), ("fit_with_restriction", "no_exposure_prone", "no_exposure_prone")],
)
def test_a_decision_whose_review_is_due_chooses_nothing_for_the_physician(
    outcome: str, restriction: str, chosen: str | None
) -> None:
    today = NIGHT.date()
    decision = FitnessDecision(
        entry=1, of="K7QM-2F49", by="u2", at=NIGHT, outcome=outcome, restriction=restriction,
        review_on=today, rule_set="uk_2023", tables="fitness", edition="1", digest="0" * 64,
        rules=(), facts={}, days={}, reason="",
    )  # fmt: skip
    form = IssueForm(None, Basis((), Limit(today, "longest"), decision), decides=True)
    assert form.initial.get("restriction") == chosen


def test_whoever_issues_it_is_told_what_nobody_verified(nurse: Client, immune: str) -> None:
    url = f"/people/{immune}/certificate"
    assert "verified 4 pieces of the evidence" in " ".join(nurse.get(url).text.split())
    evidence = person_of(get_people(), immune, clock.now()).evidence
    for left, each in zip((3, 2, 1), evidence, strict=False):
        nurse.post(f"/people/{immune}/verify", {"entry": [each.entry], "seen": "original"})
        told = f"verified {left} {'piece' if left == 1 else 'pieces'} of the evidence"
        assert told in " ".join(nurse.get(url).text.split())
    nurse.post(f"/people/{immune}/verify", {"entry": [evidence[3].entry], "seen": "copy"})
    assert "Nobody has verified" not in nurse.get(url).text


def test_whoever_decides_sees_what_was_tested_before_exposure_prone_procedures(
    nurse: Client, physician: Client, immune: str, tmp_path: Path
) -> None:
    url = f"/people/{immune}/certificate"
    missing = "the site has not chosen by which rules it decides"
    assert missing in " ".join(physician.get(url).text.split())
    assert missing not in " ".join(nurse.get(url).text.split())
    site = tmp_path / "site.toml"
    chosen = site.read_text(encoding="utf-8").replace(
        "evidence_asked", 'fitness_rule_set = "uk_2023"\nevidence_asked', 1
    )
    site.write_text(chosen, encoding="utf-8")
    get_site.cache_clear()
    page = physician.get(url).text
    screening = page.partition('id="clearance"')[2].partition("</section>")[0]
    for infection in ("Hepatitis B", "Hepatitis C", "HIV"):
        assert f"<b>{infection}</b>" in screening
