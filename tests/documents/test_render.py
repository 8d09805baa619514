"""The files themselves: archival, tagged, fonts inside, the same bytes each time, and hostile text."""

from __future__ import annotations

import re
import shutil
import subprocess
from collections.abc import Iterator
from datetime import date, datetime, timedelta
from functools import cache
from io import BytesIO
from pathlib import Path
from typing import Any

import pikepdf
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from documents.closed import END, Case
from documents.examples import CASE, DIGEST, NOW, SHIPPED, plan, protocol, site, situation
from documents.starters import starter_file
from documents.test_letters import referred
from people.test_certificate_signing import SQUARE
from thimble.clinical.saying import stamp
from thimble.documents.clearance_certificate.data import Printed, certificates
from thimble.documents.clinician_summary.data import clinician_summary
from thimble.documents.downtime_pack.data import downtime_pack
from thimble.documents.labels.data import Label, label_sheets
from thimble.documents.record import Record
from thimble.documents.render import Template, render
from thimble.documents.source_request.data import source_request
from thimble.documents.ward_card.data import ward_card
from thimble.documents.worker_plan.data import worker_plan
from thimble.ledger.entries import GENESIS, Entry, Kind
from thimble.ledger.situation import Departure
from thimble.people.certificates.issued import Issued
from thimble.people.certificates.stating import Statement
from thimble.protocol.vocabulary import Value

HOSTILE = "#panic() *b* $x \\ \"q\" 'a' <l> @r `c` = H // é 🙂 中 \u202e {} [] ]] #{"
ABOUT_A_CASE = (Template.WORKER_PLAN, Template.CLINICIAN_SUMMARY, Template.SOURCE_REQUEST)


DEPARTURES = tuple(
    Departure(
        entry=entry, subject=subject, advised="recommended", decided="not done",
        reason="decided together", by="u-7", at=NOW,
    )
    for entry, subject in enumerate(("hiv_pep", "hbv_vaccine_dose", "gone_since"), start=5)
)  # fmt: skip
DOSE = {"product": "Invented tablet", "amount": "1 tablet", "batch": "LOT-41"}
RECORD = Record(
    [
        Entry(
            number=11, case=CASE, position=4, kind=Kind.DOSE_GIVEN, happened_at=NOW,
            recorded_at=NOW, by="u-7", role="emergency_clinician",
            body={"action": "hiv_pep_first_dose", **DOSE}, previous=GENESIS, digest=DIGEST,
        )
    ],
    {"u-7": "Dr. Ada Invented"},
)  # fmt: skip


CLOSED = Case().negative().close()
CERTIFICATE = Printed(
    Issued(
        number="C-K7QM-2F49", entry=3, by="u-7", role="occupational_nurse", at=NOW,
        statement=Statement(exposure_prone="cleared:uk:3"), issued_on=NOW.date(),
        valid_until=NOW.date(), limited_by="chosen", asked={}, payload=DIGEST, key="k", reason="",
        looked=3, looked_at=NOW,
    ),
    "Ada Invented", date(1999, 2, 28), "Dr. Ada Invented", "K7QM-2F49", SQUARE,
)  # fmt: skip
LABEL = Label("S-K7QM-2F49", "I. B.", None, "3 Mar 2026")
PRINTED = {Template.CLOSING_STATEMENT: END, Template.ALL_CLEAR: END}
"""When a case was looked at, where that is not `NOW`."""


def data(template: Template, facts: dict[str, Value] | None = None) -> dict[str, Any]:
    known = situation(facts, departures=DEPARTURES)
    match template:
        case Template.WORKER_PLAN:
            return worker_plan(
                plan(known), known, site(), protocol(), name="Ada Invented", record=RECORD
            ).to_data()
        case Template.CLINICIAN_SUMMARY:
            return clinician_summary(
                plan(known), known, site(), protocol(), record=RECORD
            ).to_data()
        case Template.SOURCE_REQUEST:
            return source_request(plan(known), known, site(), protocol()).to_data()
        case Template.WARD_CARD:
            return ward_card(site(), protocol(), NOW).to_data()
        case Template.CLOSING_STATEMENT:
            return CLOSED.statement().to_data()
        case Template.ALL_CLEAR:
            return CLOSED.certificate(name="Ada Invented").to_data()
        case Template.LETTER:
            return referred(known).to_data()
        case Template.MANY_LETTERS:
            return starter_file()
        case Template.DOWNTIME_PACK:
            return downtime_pack(site(), protocol(), NOW).to_data()
        case Template.CLEARANCE_CERTIFICATE:
            return certificates([CERTIFICATE], site(), "https://thimble.example/c/").to_data()
        case Template.LABELS:
            return label_sheets([LABEL], site().labels, first=2, invented=True)


@cache
def document(template: Template) -> bytes:
    return render(template, data(template), at=NOW)


def text_of(document: bytes, tmp_path: Path) -> str:
    """The words on the pages, spaces made one (poppler's pdftotext)."""
    if shutil.which("pdftotext") is None:
        pytest.skip("pdftotext is not installed")
    (tmp_path / "d.pdf").write_bytes(document)
    found = subprocess.run(
        ["pdftotext", "-layout", str(tmp_path / "d.pdf"), "-"], capture_output=True, check=True
    )
    return re.sub(r"\s+", " ", found.stdout.decode().replace("\u200b", ""))


def fonts_of(pdf: pikepdf.Pdf) -> Iterator[Any]:
    for thing in pdf.objects:
        if isinstance(thing, pikepdf.Dictionary) and thing.get("/Type") == "/FontDescriptor":
            yield thing


def tags_of(pdf: pikepdf.Pdf) -> set[str]:
    return {
        str(thing["/S"])
        for thing in pdf.objects
        if isinstance(thing, pikepdf.Dictionary) and "/S" in thing and "/P" in thing
    }


every_document = pytest.mark.parametrize("template", list(Template))
every_sheet = pytest.mark.parametrize(
    "template",
    [t for t in Template if t not in (Template.CLEARANCE_CERTIFICATE, Template.LABELS)],
)
"""A certificate of clearance is for other houses: it names no protocol, and has no table; nor do labels."""


@every_document
def test_a_document_opens_and_says_that_it_is_archival_and_accessible(template: Template):
    """ISO 19005-2 (part 2, conformance B) and ISO 14289-1 (part 1), in the XMP metadata."""
    with pikepdf.open(BytesIO(document(template))) as pdf:
        assert pdf.pages
        with pdf.open_metadata() as metadata:
            assert metadata["pdfaid:part"] == "2"
            assert metadata["pdfaid:conformance"] == "B"
            assert metadata["pdfuaid:part"] == "1"
            assert metadata["dc:title"]
        assert str(pdf.Root.Lang) == "en"
        assert not pdf.is_encrypted


@every_sheet
def test_a_document_is_tagged_with_headings_and_table_headers(template: Template):
    with pikepdf.open(BytesIO(document(template))) as pdf:
        assert bool(pdf.Root.MarkInfo.Marked)
        assert "/StructTreeRoot" in pdf.Root
        tags = tags_of(pdf)
        assert {"/H1", "/H2", "/Figure"} <= tags
        if template is not Template.WARD_CARD:
            assert {"/Table", "/TH", "/TD"} <= tags
        drawn = [
            thing
            for thing in pdf.objects
            if isinstance(thing, pikepdf.Dictionary) and thing.get("/S") == "/Figure"
        ]
        said = [str(figure.Alt).lower() for figure in drawn]
        # The mark, or the picture of an address: each says what it is.
        assert all("thimble" in alt or "address of your own page" in alt for alt in said)


@every_document
def test_every_font_is_inside_and_ours(template: Template):
    with pikepdf.open(BytesIO(document(template))) as pdf:
        fonts = list(fonts_of(pdf))
        assert fonts
        for font in fonts:
            assert {"/FontFile", "/FontFile2", "/FontFile3"} & set(font.keys())
            name = str(font.FontName).partition("+")[2]
            assert name.startswith(("Atkinson", "Literata", "NotoSans", "NotoEmoji"))


@every_document
def test_the_same_data_and_instant_give_the_same_bytes(template: Template):
    assert render(template, data(template), at=NOW) == document(template)


def test_the_date_of_the_file_is_the_instant_given_and_needs_a_zone():
    with pikepdf.open(BytesIO(document(Template.WARD_CARD))) as pdf:
        assert str(pdf.docinfo["/CreationDate"]).startswith("D:20261126024500")  # 03:45 CET
    with pytest.raises(ValueError, match="needs a time zone"):
        render(Template.WARD_CARD, data(Template.WARD_CARD), at=datetime(2026, 11, 26))  # noqa: DTZ001


@every_sheet
def test_every_sheet_can_be_checked(template: Template, tmp_path: Path):
    words = text_of(document(template), tmp_path)

    for expected in (
        "Lindenau Invented Hospital",
        "Invented data",
        stamp(PRINTED.get(template, NOW), site().zone),
        "Decision support for trained staff; not a replacement for local policy",
        f"Protocol us, edition {protocol().edition}, digest {protocol().digest[:16]}",
        "Page 1 of ",
    ):
        assert expected in words
    doubtful = data(template).get("any_unconfirmed", True)
    assert ("not yet confirmed against its source" in words) is doubtful
    if template in ABOUT_A_CASE:
        assert f"Ledger entry 4019, case {CASE}, digest {DIGEST[:16]}" in words
        assert DIGEST[:17] not in words


def test_a_real_hospital_is_not_marked_as_invented(tmp_path: Path):
    real = ward_card(site(invented=False), protocol(), NOW).to_data()

    assert "Invented data" not in text_of(render(Template.WARD_CARD, real, at=NOW), tmp_path)


@pytest.mark.parametrize("id_", SHIPPED)
def test_the_ward_card_is_one_sheet_however_much_it_has_to_say(id_: str):
    notes = tuple(f"Note {n}: the eye-wash bottle hangs beside the door." for n in range(12))
    card = ward_card(site(first_aid_notes=notes), protocol(id_), NOW).to_data()

    for one in (document(Template.WARD_CARD), render(Template.WARD_CARD, card, at=NOW)):
        with pikepdf.open(BytesIO(one)) as pdf:
            assert len(pdf.pages) == 1


def hostile(value: Any, text: str) -> Any:
    """Every text that a person could have typed, replaced."""
    if isinstance(value, dict):
        return {key: item if key == "key" else hostile(item, text) for key, item in value.items()}
    if isinstance(value, list | tuple):
        return [hostile(item, text) for item in value]
    return text if isinstance(value, str) and value else value


@every_document
def test_hostile_text_in_every_place_is_shown_and_never_run(template: Template, tmp_path: Path):
    words = text_of(render(template, hostile(data(template), HOSTILE), at=NOW), tmp_path)

    assert "#panic() *b* $x \\ \"q\" 'a' <l> @r `c` = H //" in words
    assert "‹U+4E2D› ‹U+202E› {} [] ]] #{" in words


def test_a_name_appears_as_it_was_typed(tmp_path: Path):
    known = situation()
    made = worker_plan(plan(known), known, site(), protocol(), name="Zoë *Nuñez* #O'Brien")

    words = text_of(render(Template.WORKER_PLAN, made.to_data(), at=NOW), tmp_path)

    assert "Zoë *Nuñez* #O'Brien" in words


@settings(max_examples=60, deadline=None)
@given(text=st.text(max_size=300))
def test_no_text_stops_a_document(text: str):
    """A name and a consent wording of any characters, assigned or not, give a document."""
    known = situation()
    wording = site(consent_wording=text)
    asked = source_request(plan(known), known, wording, protocol(), patient=text, ward=text)

    made = render(Template.SOURCE_REQUEST, asked.to_data(), at=NOW)

    assert made.startswith(b"%PDF-")


@pytest.mark.parametrize(
    "text",
    ["а\u20d0", "e\u0489\u0300",
     "👩🏽‍🔬👨‍👩‍👧", "1\ufe0f\u20e3", "\u200d", "क्ष", "x" * 3000, "\n\n\n", "\u0000"]
)  # fmt: skip
def test_letters_whose_parts_live_in_different_fonts_do_not_stop_a_document(text: str):
    known = situation()
    made = worker_plan(plan(known), known, site(), protocol(), name=text)

    assert render(Template.WORKER_PLAN, made.to_data(), at=NOW).startswith(b"%PDF-")


def test_a_late_case_still_prints_its_limits(tmp_path: Path):
    later = NOW + timedelta(hours=80)
    known = situation(as_of=later)
    late = plan(known, now=later)

    words = text_of(
        render(
            Template.WORKER_PLAN,
            worker_plan(late, known, site(), protocol()).to_data(),
            at=later,
        ),
        tmp_path,
    )

    assert "Was due by" in words
