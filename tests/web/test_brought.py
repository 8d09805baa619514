"""What a person brings on their own page: unverified, sealed, theirs until somebody looked."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Any

import pytest
from django.conf import settings as django_settings
from django.core.files.uploadedfile import SimpleUploadedFile
from django.http import HttpResponse
from django.test import Client

from exchange.test_pictures import ORIENTATION, jpeg, tags
from thimble.actions import Refused
from thimble.actions.brought import MOST_WAITING, bring, look_at, take_back
from thimble.ledger.store import Overtaken
from thimble.people.entries import THEMSELF, Kind
from thimble.people.fold import Document, fold
from thimble.web import clock
from thimble.web.context import get_people
from thimble.web.own_page.evidence import BROUGHT_PER_WINDOW
from thimble.web.vault import LARGEST_SCAN, Vault

from .conftest import NIGHT
from .test_own_page import make, opened
from .test_people import enrolled, evidence, rows_of
from .test_vault import PDF, PNG

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("_fresh_limits")]


@pytest.fixture
def person(nurse: Client) -> str:
    return enrolled(nurse)


@pytest.fixture
def visitor(nurse: Client, person: str) -> Client:
    return opened(make(nurse, person))


def send(client: Client, content: bytes = PNG, **more: Any) -> HttpResponse:
    file = SimpleUploadedFile("card.exe", content, content_type="text/html")
    sent = {"shows": "card", "text": "the yellow one", "scan": file, **more}
    return client.post("/own/scan", sent)  # type: ignore[return-value]


def documents(person: str) -> tuple[Document, ...]:
    return fold(get_people().entries(person), clock.now()).documents


def kept(tmp_path: Path) -> list[Path]:
    return list((tmp_path / "vault").iterdir()) if (tmp_path / "vault").is_dir() else []


def test_a_photo_is_entered_by_the_person_unverified_and_sealed(
    visitor: Client, person: str, tmp_path: Path
) -> None:
    assert send(visitor).status_code == 302
    (found,) = documents(person)
    assert (found.type, found.brought, found.looked_at) == ("image/png", True, None)
    last = get_people().entries(person)[-1]
    assert (last.kind, last.by, last.role) == (Kind.DOCUMENT_ATTACHED, THEMSELF, THEMSELF)
    (file,) = kept(tmp_path)
    assert PNG not in file.read_bytes()
    page = visitor.get("/own/").text
    assert "Vaccination card: the yellow one" in page
    assert "nobody has looked at it yet" in page
    own = visitor.get(f"/own/scan/{found.entry}")
    assert own.content == PNG
    assert "sandbox" in own["Content-Security-Policy"]
    assert "no-store" in own["Cache-Control"]


@pytest.mark.parametrize(
    ("content", "said"),
    [
        (b"<html>%PDF-", "neither a whole PDF nor a JPEG or PNG"),
        (PNG[:-12], "neither a whole PDF nor a JPEG or PNG"),
        (b"", "The file is empty"),
        (b"\x89PNG\r\n\x1a\n" + b"0" * LARGEST_SCAN + b"IEND", "larger than 10 MB"),
    ],
)
def test_what_is_no_scan_is_refused_with_a_sentence_and_what_was_typed_stays(
    visitor: Client, person: str, tmp_path: Path, content: bytes, said: str
) -> None:
    answer = send(visitor, content, shows="laboratory")
    assert answer.status_code == 422
    assert said in answer.text
    assert 'value="the yellow one"' in answer.text
    assert '<option value="laboratory" selected>' in answer.text
    assert not documents(person)
    assert not kept(tmp_path)


def test_a_refusal_by_the_program_that_looks_for_malware_keeps_nothing(
    visitor: Client, person: str, tmp_path: Path, settings: Any
) -> None:
    settings.MALWARE_COMMAND = f'{sys.executable} -c "import sys; sys.exit(1)"'
    answer = send(visitor)
    assert "The scanner for malware refuses this file" in answer.text
    assert not documents(person)
    assert not kept(tmp_path)


@pytest.mark.parametrize("missing", ["scan", "shows"])
def test_what_is_missing_is_asked(visitor: Client, missing: str) -> None:
    sent = {"shows": "card", "scan": SimpleUploadedFile("a.png", PNG)}
    del sent[missing]
    assert visitor.post("/own/scan", sent).status_code == 422


def test_a_kind_that_the_department_takes_itself_cannot_be_brought(visitor: Client) -> None:
    assert send(visitor, shows="declination").status_code == 422


def test_nothing_is_taken_without_the_birth_date(nurse: Client, person: str) -> None:
    stranger = Client()
    assert send(stranger).status_code == 403
    stranger.get(make(nurse, person))
    assert send(stranger)["Location"] == "/own/birth-date"
    # A large body is refused before any of it is read.
    assert send(stranger, b"%PDF-" + b"0" * 400_000 + b"%%EOF").status_code == 413
    assert not documents(person)


def test_a_large_file_of_somebody_known_is_taken(visitor: Client, person: str) -> None:
    assert send(visitor, b"%PDF-" + b"0" * 400_000 + b"%%EOF").status_code == 302
    assert documents(person)[0].type == "application/pdf"


def test_the_person_withdraws_it_and_its_content_is_deleted(
    visitor: Client, person: str, tmp_path: Path
) -> None:
    send(visitor)
    entry = documents(person)[0].entry
    answer = visitor.post(f"/own/scan/{entry}/withdraw", follow=True)
    assert "Withdrawn and deleted." in answer.text
    assert not documents(person)
    assert not kept(tmp_path)
    assert visitor.get(f"/own/scan/{entry}").status_code == 404
    again = visitor.post(f"/own/scan/{entry}/withdraw", follow=True)
    assert "not here any more" in again.text


def test_once_somebody_looked_it_stays(visitor: Client, nurse: Client, person: str) -> None:
    send(visitor)
    entry = documents(person)[0].entry
    nurse.post(f"/people/{person}/scan/{entry}/looked-at", {"text": "not readable"})
    answer = visitor.post(f"/own/scan/{entry}/withdraw", follow=True)
    assert "Somebody has looked at this file" in answer.text
    assert len(documents(person)) == 1
    page = visitor.get("/own/").text
    assert "Withdraw<" not in page
    # What the department noted about it is not the person's to read here.
    assert "not readable" not in page


def test_what_the_department_attached_is_neither_listed_nor_given_out(
    visitor: Client, nurse: Client, person: str
) -> None:
    scan = SimpleUploadedFile("a.pdf", PDF)
    nurse.post(
        f"/people/{person}/scan", {"shows": "letter", "text": "from a colleague", "scan": scan}
    )
    entry = documents(person)[0].entry
    assert "colleague" not in visitor.get("/own/").text
    assert visitor.get(f"/own/scan/{entry}").status_code == 404
    visitor.post(f"/own/scan/{entry}/withdraw")
    assert len(documents(person)) == 1


def test_where_a_photo_was_taken_is_not_kept(nurse: Client, person: str) -> None:
    """Neither of one that the person sends nor of one that a nurse attaches."""
    mine = opened(make(nurse, person))
    assert "Where and with what a photo was taken is removed" in mine.get("/own/").text
    photo = jpeg(6)
    assert b"Invented Camera" in photo
    assert send(mine, photo).status_code == 302
    told = {"shows": "card", "scan": SimpleUploadedFile("card.jpg", jpeg(3))}
    assert nurse.post(f"/people/{person}/scan", told).status_code == 302
    for document, way_up in zip(documents(person), (6, 3), strict=True):
        kept = Vault(django_settings.DATA).get(document.name)
        assert b"Invented Camera" not in kept
        assert tags(kept) == {ORIENTATION: way_up}
        assert document.size == len(kept)
        assert nurse.get(f"/people/{person}/scan/{document.entry}").content == kept


def test_a_photo_that_is_not_whole_is_not_kept(nurse: Client, person: str) -> None:
    mine = opened(make(nurse, person))
    answer = send(mine, jpeg(6)[:400] + b"\xff\xd9")
    assert answer.status_code == 422
    assert "take the photo or the scan once more" in answer.content.decode()
    assert documents(person) == ()


def test_it_is_on_the_list_and_doses_are_typed_beside_it_and_verified(
    visitor: Client, nurse: Client, person: str
) -> None:
    send(visitor)
    entry = documents(person)[0].entry
    assert "1 scan to look at" in nurse.get("/people/?show=brought").text
    form = nurse.get(f"/people/{person}/card?document={entry}")
    assert f'<img src="/people/{person}/scan/{entry}"' in form.text
    typed = rows_of({"product": "43", "when": "14.3.2019"}, {"product": "43", "when": "20.4.2019"},
                    document=str(entry), seen="copy", position="2")  # fmt: skip
    assert nurse.post(f"/people/{person}/card", typed).status_code == 302
    both = evidence(person)
    assert [e.body["document"] for e in both] == [entry, entry]
    assert all(e.verified is not None and e.verified.seen == "copy" for e in both)
    assert documents(person)[0].looked_at == NIGHT
    assert "to look at</span>" not in nurse.get("/people/?show=brought").text


def test_a_result_is_typed_beside_it_and_stays_unverified(
    visitor: Client, nurse: Client, person: str
) -> None:
    send(visitor, shows="laboratory")
    entry = documents(person)[0].entry
    sent = {"test": "anti_hbs", "when": "14.3.2019", "number": "145", "unit": "m[IU]/mL",
            "comparator": "=", "identified": "not_known", "drawn_here": "no", "direct": "no",
            "document": str(entry), "then": "another"}  # fmt: skip
    again = nurse.post(f"/people/{person}/add/result", sent)
    assert again["Location"] == f"/people/{person}/add/result?document={entry}"
    (one,) = evidence(person)
    assert (one.body["document"], one.verified) == (entry, None)


def test_a_scan_of_somebody_else_is_not_typed_from(nurse: Client, person: str) -> None:
    typed = rows_of({"product": "43", "when": "14.3.2019"}, document="7")
    assert nurse.post(f"/people/{person}/card", typed).status_code == 302
    assert "document" not in evidence(person)[0].body


def test_so_many_wait_and_no_more_and_none_twice(person: str) -> None:
    body = {"name": "ab" * 16, "type": "image/png", "size": 4, "shows": "card", "text": ""}
    for number in range(MOST_WAITING):
        bring(get_people(), person, body | {"digest": f"{number:064x}"}, now=NIGHT)
    with pytest.raises(Refused, match="12 files wait already"):
        bring(get_people(), person, body | {"digest": "f" * 64}, now=NIGHT)
    take_back(get_people(), person, 2, now=NIGHT)
    with pytest.raises(Refused, match="This very file is here already"):
        bring(get_people(), person, body | {"digest": f"{1:064x}"}, now=NIGHT)


def test_a_look_between_reading_and_withdrawing_comes_first(
    person: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    body = {"name": "ab" * 16, "digest": "0" * 64, "type": "image/png", "size": 4, "shows": "card",
            "text": ""}  # fmt: skip
    entry = bring(get_people(), person, body, now=NIGHT).position
    store = get_people()
    real = store.append

    def late(*args: Any, **more: Any) -> Any:
        monkeypatch.setattr(store, "append", real)
        look_at(store, person, entry, text="", now=NIGHT, by="u-nurse", role="nurse")
        return real(*args, **more)

    monkeypatch.setattr(store, "append", late)
    with pytest.raises(Overtaken):
        take_back(store, person, entry, now=NIGHT)
    assert documents(person)[0].looked_at == NIGHT


def test_an_address_sends_so_many_and_waits(visitor: Client, person: str) -> None:
    codes = [send(visitor, b"").status_code for _ in range(BROUGHT_PER_WINDOW + 1)]
    assert codes == [422] * BROUGHT_PER_WINDOW + [429]


def test_the_history_says_who_brought_it(visitor: Client, nurse: Client, person: str) -> None:
    send(visitor)
    assert "the person, on their own page" in nurse.get(f"/people/{person}/history").text
    assert Vault(django_settings.DATA).get(documents(person)[0].name) == PNG
