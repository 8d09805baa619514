"""A session worked through: scan, scan, Enter; what speaks against a dose; who may decide; taken back."""

from __future__ import annotations

import re
from collections.abc import Callable
from datetime import date, datetime, time, timedelta

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext

from thimble.ledger.stock.movements import Move, Movement
from thimble.people.fold import Person, fold
from thimble.people.sessions import Session
from thimble.web import clock, models
from thimble.web.clinic.labels import new_number
from thimble.web.clinic.store import get_clinic
from thimble.web.context import get_people, get_stock
from thimble.web.roles import Role

from .conftest import NIGHT
from .test_people import enrolled

pytestmark = pytest.mark.django_db
MORNING = NIGHT + timedelta(hours=6)
GTIN = "05060917510011"
VACCINE = f"01{GTIN}17261231\x1d10A12"
DOSE = {"disease": "hepatitis_b"}


@pytest.fixture(autouse=True)
def _morning() -> object:
    with clock.standing_at(MORNING):
        yield


@pytest.fixture
def session() -> int:
    made = Session(0, date(2026, 3, 3), time(9), time(12), "House C", "vaccination", 2, 10)
    return get_clinic().add_sessions([made], by="u-nurse", now=NIGHT)[0]


@pytest.fixture
def person(nurse: Client, session: int) -> str:
    who = enrolled(nurse)
    assert nurse.post(f"/clinic/for/{who}", {"time": f"{session}-0910"}).status_code == 302
    return who


def known(cvx: str = "43") -> None:
    models.ProductCode.objects.create(gtin=GTIN, cvx=cvx, said_by="u-nurse", said_at=NIGHT)


def send(client: Client, session: int, scan: str = "", **more: str) -> str:
    """What came of it: the text of the page that follows."""
    answer = client.post(
        f"/clinic/{session}/scan", {"scan": scan, "do": "scan", **more}, follow=True
    )
    return str(answer.content.decode())


def held(person: str) -> Person:
    return fold(get_people().entries(person), clock.now())


def written(person: str) -> list[dict[str, object]]:
    return [dict(e.body) for e in held(person).evidence]


def typed(nurse: Client, person: str, *days: str, product: str = "43") -> None:
    rows = {f"product-{n}": product for n in range(1, len(days) + 1)}
    rows |= {f"when-{n}": day for n, day in enumerate(days, 1)}
    assert nurse.post(f"/people/{person}/card", {**rows, "rows": "8"}).status_code == 302


def test_scan_the_vaccine_scan_the_person_press_enter(
    nurse: Client, session: int, person: str
) -> None:
    known()
    assert "Hepatitis B, adult · lot A12 · until Thu 31 Dec 2026" in send(nurse, session, VACCINE)
    page = send(nurse, session, person.lower().replace("-", ""))
    assert '<h2 id="open-name">Brindle, Inés</h2>' in page
    assert "First dose of hepatitis B that counts" in page
    assert re.search(r'id="scan"[^>]*autofocus', page)
    assert page.count("autofocus") == 1
    done = send(nurse, session, open=person)
    assert "Brindle, Inés: Hepatitis B, adult, lot A12, is written down." in done
    assert written(person) == [
        {"product": "43", "diseases": ["hepatitis_b"], "when": "2026-03-03", "lot": "A12",
         "where": "House C", "given_here": True, "gtin": GTIN, "session": session}
    ]  # fmt: skip
    assert get_clinic().of_session(session)[0].came == "came"
    assert "Given here, written down by Colleague" in nurse.get(f"/people/{person}/").text
    # The vaccine stays in hand for the next.
    assert "Hepatitis B, adult · lot A12" in nurse.get(f"/clinic/{session}/").text


def test_a_long_sheet_asks_the_database_no_more_often_than_a_short_one(
    nurse: Client, session: int, person: str
) -> None:
    def asked() -> int:
        nurse.get(f"/clinic/{session}/")
        with CaptureQueriesContext(connection) as found:
            assert "Brindle, Inés" in nurse.get(f"/clinic/{session}/").text
        return len(found)

    short = asked()
    for number, at in enumerate(("0910", "0920", "0920", "0930"), 2):
        who = enrolled(nurse, number=f"7{number}", family_name=f"Ash{number}")
        assert nurse.post(f"/clinic/for/{who}", {"time": f"{session}-{at}"}).status_code == 302
    assert asked() == short


def test_a_dose_is_taken_back_and_stays_in_the_history(
    nurse: Client, session: int, person: str
) -> None:
    known()
    send(nurse, session, VACCINE)
    send(nurse, session, open=person)
    (dose,) = held(person).evidence
    nurse.post(f"/clinic/{session}/undo/{person}/{dose.entry}")
    assert held(person).evidence == ()
    assert "taken back at the session" in nurse.get(f"/people/{person}/history").text
    again = nurse.post(f"/clinic/{session}/undo/{person}/{dose.entry}", follow=True)
    assert "Only what was written down here today" in again.text


def test_what_was_typed_from_a_card_is_not_taken_back_here(
    nurse: Client, session: int, person: str
) -> None:
    typed(nurse, person, "3.3.2026")
    (dose,) = held(person).evidence
    nurse.post(f"/clinic/{session}/undo/{person}/{dose.entry}")
    assert len(held(person).evidence) == 1


def test_a_number_that_nobody_knows_is_asked_once(nurse: Client, session: int, person: str) -> None:
    assert f"Which product is {GTIN}?" in send(nurse, session, VACCINE)
    refused = send(nurse, session, open=person)
    assert "Say which product is given" in refused
    for wrong in ("", "nothing such", "hep"):
        answer = nurse.post(f"/clinic/{session}/code", {"product": wrong, "open": person})
        assert answer.status_code == 422, wrong
    nurse.post(f"/clinic/{session}/code", {"product": "43", "open": person})
    assert "Hepatitis B, adult · lot A12" in send(nurse, session, VACCINE)


def test_it_works_without_a_scanner(nurse: Client, session: int, person: str) -> None:
    page = send(nurse, session, do="dose", open=person, product="43", lot="b 7")
    assert "is written down" in page
    assert written(person)[0]["lot"] == "B 7"


@pytest.mark.parametrize(
    ("sent", "said"),
    [
        ({"do": "dose", "product": "43", "lot": ""}, "Scan or type the lot."),
        ({"do": "dose", "product": "?", "lot": "A"}, "Say which product is given"),
        ({"do": "sample", "sample": "S-K7QM-2F49"}, "is no label that was printed for this person"),
        ({"scan": ""}, "Scan a vaccine, or choose below."),
        ({"scan": "K7QM"}, "This is no code of a person, vaccine or sample"),
        ({"scan": "S-K7QM-2F49"}, "No label with the number S-K7QM-2F49 was printed here."),
    ],
)
def test_what_cannot_be_done_is_said_and_nothing_is_written(
    nurse: Client, session: int, person: str, sent: dict[str, str], said: str
) -> None:
    answer = nurse.post(
        f"/clinic/{session}/scan", {"scan": "", "do": "scan", "open": person, **sent}
    )
    assert answer.status_code == 422
    assert said in answer.text
    if sent.get("lot"):
        assert f'value="{sent["lot"]}"' in answer.text
    assert written(person) == []
    assert held(person).samples == ()


@pytest.mark.parametrize(("day", "taken"), [("260303", True), ("260302", False)])
def test_a_lot_may_be_used_on_its_last_day_and_not_after(
    nurse: Client, session: int, person: str, day: str, *, taken: bool
) -> None:
    known()
    page = send(nurse, session, f"01{GTIN}17{day}\x1d10A12")
    assert ("that day has passed. Put it away." in page) is not taken
    assert ("In hand:" in page) is taken
    send(nurse, session, open=person)
    assert len(written(person)) == taken


def test_a_lot_that_was_recalled_is_refused_scanned_or_typed(
    nurse: Client, session: int, person: str
) -> None:
    known()
    recall = Movement(Move.RECALLED, "hepb_vaccine", lot="A12", reason="fault of the maker")
    send(nurse, session, VACCINE)
    get_stock().append([recall], by="u-nurse", now=NIGHT)
    assert "Lot A12 of hepb vaccine was recalled: fault of the maker. Nobody can say here" in send(
        nurse, session, VACCINE
    )
    assert "In hand:" not in nurse.get(f"/clinic/{session}/").text
    page = send(nurse, session, do="dose", open=person, product="43", lot="a12")
    assert "that this is another product. Take another." in page
    assert written(person) == []


def test_the_lot_of_one_vaccine_is_not_written_down_for_another(
    nurse: Client, session: int, person: str
) -> None:
    known()
    send(nurse, session, VACCINE)
    page = send(nurse, session, do="dose", open=person, product="03")
    assert "Scan or type the lot." in page
    assert written(person) == []


def test_too_early_is_said_with_the_day_and_given_only_with_a_reason(
    nurse: Client, session: int, person: str
) -> None:
    typed(nurse, person, "16.2.2026")
    page = send(nurse, session, do="dose", open=person, product="43", lot="A12")
    # US adult schedule, minimum between the first two doses: four weeks (clearance tables).
    assert "Too early against hepatitis B: a dose counts from Mon 16 Mar 2026 on." in page
    assert len(written(person)) == 1
    for half in (
        {"anyway": "yes"},
        {"reason": "leaves tomorrow"},
        {"anyway": "yes", "reason": " "},
    ):
        send(nurse, session, do="dose", open=person, product="43", lot="A12", **half)
        assert len(written(person)) == 1
    send(nurse, session, do="dose", open=person, product="43", lot="A12", anyway="yes",
         reason="leaves tomorrow")  # fmt: skip
    dose = written(person)[1]
    assert dose["reason"] == "leaves tomorrow"
    assert dose["despite"] == [
        "Too early against hepatitis B: a dose counts from Mon 16 Mar 2026 on"
    ]
    assert "given all the same" in nurse.get(f"/people/{person}/").text


def test_the_first_day_that_counts_is_not_too_early(
    nurse: Client, session: int, person: str
) -> None:
    typed(nurse, person, "3 Feb 2026")
    assert "is written down" in send(nurse, session, do="dose", open=person, product="43", lot="A")


def test_a_refusal_on_file_is_said_until_a_dose_came_after_it(
    nurse: Client, session: int, person: str
) -> None:
    declined = {"what": "vaccine", "disease": "hepatitis_b", "on": "2026-01-05", "informed": "yes",
                "signed": "on_paper", "signature": "", "reason": ""}  # fmt: skip
    assert nurse.post(f"/people/{person}/add/declined", declined).status_code == 302
    page = send(nurse, session, do="dose", open=person, product="43", lot="A12")
    assert "The hepatitis B vaccine was declined on Mon 5 Jan 2026" in page
    typed(nurse, person, "20.1.2026")
    page = send(nurse, session, do="dose", open=person, product="43", lot="A12")
    assert "was declined on" not in page


def test_a_contraindication_is_for_a_physician_to_decide_about(
    nurse: Client, session: int, person: str, signed_in: Callable[[Role], Client]
) -> None:
    told = {"disease": "hepatitis_b", "when": "2020", "reason": "Anaphylaxis to yeast", "until": ""}
    assert nurse.post(f"/people/{person}/add/contraindicated", told).status_code == 302
    sent = {"do": "dose", "open": person, "product": "43", "lot": "A12"}
    decided = {**sent, "anyway": "yes", "reason": "tested by the allergist"}
    page = send(nurse, session, **decided)
    assert "Anaphylaxis to yeast" in page
    assert "A physician decides." in page
    assert "a physician must write it." in page
    # What somebody may not decide is not offered to them.
    assert 'name="reason"' not in page
    assert 'name="anyway"' not in page
    assert len(written(person)) == 1
    physician = signed_in(Role.OCCUPATIONAL_PHYSICIAN)
    assert len(written(person)) == 1
    offered = send(physician, session, **sent)
    assert 'name="reason"' in offered
    assert "say why it is given, and tick that you decide it." in offered
    assert len(written(person)) == 1
    send(physician, session, **decided)
    assert len(written(person)) == 2
    # Against another disease it says nothing.
    assert "is written down" in send(
        nurse, session, do="dose", open=person, product="115", lot="T1"
    )


CAUTION = "A live vaccine: not in pregnancy or severe immunodeficiency. Ask before it is given."


@pytest.mark.parametrize("product", ["03", "94", "21", "111"])
def test_a_live_vaccine_is_written_down_only_once_it_was_asked(
    nurse: Client, session: int, person: str, product: str
) -> None:
    known(product)
    send(nurse, session, VACCINE)
    shown = send(nurse, session, person)
    assert CAUTION in shown
    assert "IMM: contraindications of varicella vaccine" in shown
    assert re.search(r'id="scan"[^>]*autofocus', shown)
    for answer in ("", "maybe"):
        page = send(nurse, session, open=person, asked=answer)
        assert "Ask about pregnancy or severe immunodeficiency first" in page
        # Space and Enter are enough.
        assert re.search(r'id="asked-no"[^>]*autofocus', page)
        assert page.count("autofocus") == 1
        assert written(person) == []
    assert "is written down" in send(nurse, session, open=person, asked="no")
    (dose,) = written(person)
    assert dose["asked"] == {"about": "pregnancy or severe immunodeficiency", "answer": "no"}
    assert "despite" not in dose
    assert "asked about pregnancy or severe immunodeficiency: no" in (
        nurse.get(f"/people/{person}/").text
    )


def test_a_vaccine_that_is_not_live_asks_nothing(nurse: Client, session: int, person: str) -> None:
    known()
    send(nurse, session, VACCINE)
    assert "Ask first" not in send(nurse, session, person)
    send(nurse, session, open=person)
    assert "asked" not in written(person)[0]


@pytest.mark.parametrize(("answer", "words"), [("yes", "yes"), ("not_known", "not known")])
def test_a_live_vaccine_after_another_answer_is_for_a_physician(
    nurse: Client,
    session: int,
    person: str,
    signed_in: Callable[[Role], Client],
    answer: str,
    words: str,
) -> None:
    sent = {"do": "dose", "open": person, "product": "03", "lot": "M1", "asked": answer}
    decided = {**sent, "anyway": "yes", "reason": "looked at"}
    page = send(nurse, session, **decided)
    said = f"Before a live vaccine it was asked about pregnancy or severe immunodeficiency: {words}"
    assert f"{said}. <b>A physician decides.</b>" in page
    assert re.search(rf'value="{answer}" checked', page)
    assert written(person) == []
    physician = signed_in(Role.OCCUPATIONAL_PHYSICIAN)
    send(physician, session, **sent)
    assert written(person) == []
    send(physician, session, **decided)
    (dose,) = written(person)
    assert said in dose["despite"]  # type: ignore[operator]
    assert dose["asked"]["answer"] == answer  # type: ignore[index]


def test_an_answer_is_one_person_s(nurse: Client, session: int, person: str) -> None:
    other = enrolled(nurse, number="8", given_name="Oda")
    known("03")
    send(nurse, session, VACCINE)
    page = send(nurse, session, other, open=person, asked="no")
    assert 'value="no" checked' not in page
    send(nurse, session, open=other)
    assert written(other) == []


@pytest.mark.parametrize(
    ("typed", "words"), [("43", "Hepatitis B, adult"), ("8", "Hepatitis B, paediatric"),
                         ("cvx 115", "Tdap"), ("mmrv", "varicella (MMRV)")],
)  # fmt: skip
def test_a_product_is_taken_in_hand_by_its_code_or_name(
    nurse: Client, session: int, person: str, typed: str, words: str
) -> None:
    page = send(nurse, session, typed, open=person)
    assert f"{words}" in page.split("In hand:")[1].split("Put it away")[0]
    assert "typed, not scanned" in page
    assert '<h2 id="open-name">Brindle, Inés</h2>' in page
    # The lot is typed; without it nothing is written down.
    assert "Scan or type the lot." in send(nurse, session, open=person, asked="no")
    send(nurse, session, open=person, lot="l1", asked="no")
    (dose,) = written(person)
    assert (dose["lot"], "gtin" in dose) == ("L1", False)


def test_the_number_of_a_person_is_theirs_before_it_is_a_code(nurse: Client, session: int) -> None:
    enrolled(nurse, number="43", given_name="Oda")
    page = send(nurse, session, "43")
    assert '<h2 id="open-name">Brindle, Oda</h2>' in page
    assert "43 is this person’s number: they are opened." in page
    assert "Hepatitis B, adult" in page
    assert "In hand:" not in page


def test_what_several_products_are_called_is_asked(nurse: Client, session: int) -> None:
    page = send(nurse, session, "hepb")
    assert "Which product? 08 Hepatitis B, paediatric" in page
    assert "In hand:" not in page


def test_who_came_without_a_booking_has_a_row_with_undo(
    nurse: Client, session: int, person: str
) -> None:
    other = enrolled(nurse, number="8", family_name="Ash", given_name="Oda")
    third = enrolled(nurse, number="9", family_name="Elm", given_name="Uta")
    assert "not booked" not in nurse.get(f"/clinic/{session}/").text
    send(nurse, session, do="dose", open=other, product="43", lot="A1")
    send(nurse, session, do="sample", open=third)
    send(nurse, session, do="dose", open=person, product="43", lot="A1")
    page = nurse.get(f"/clinic/{session}/").text
    assert "1 booked, 1 came, 2 came not booked" in page
    below = page.split("Came without a booking")[1]
    assert below.index("Ash, Oda") < below.index("Elm, Uta")
    assert "Brindle" not in below
    (dose,) = held(other).evidence
    undo = f"/clinic/{session}/undo/{other}/{dose.entry}"
    assert undo in below
    assert models.IdentityLook.objects.filter(case=third, where="clinic").exists()
    # Those of another session are not this one's.
    made = Session(0, date(2026, 3, 3), time(9), time(12), "House C", "vaccination", 2, 10)
    (another,) = get_clinic().add_sessions([made], by="u-nurse", now=NIGHT)
    assert "Came without" not in nurse.get(f"/clinic/{another}/").text
    nurse.post(undo)
    page = nurse.get(f"/clinic/{session}/").text
    assert "1 booked, 1 came, 1 came not booked" in page
    assert "Ash, Oda" not in page


def test_one_that_is_over_says_nothing(nurse: Client, session: int, person: str) -> None:
    told = {"disease": "hepatitis_b", "when": "2020", "reason": "fever", "until": "2.2026"}
    assert nurse.post(f"/people/{person}/add/contraindicated", told).status_code == 302
    page = send(nurse, session, do="dose", open=person, product="43", lot="A12")
    assert "Contraindication on file" not in page


def test_no_second_dose_against_the_same_on_one_day(
    nurse: Client, session: int, person: str
) -> None:
    send(nurse, session, do="dose", open=person, product="03", lot="M1", asked="no")
    page = send(nurse, session, do="dose", open=person, product="94", lot="M2", asked="no")
    assert "A dose against the same disease is on record for today already." in page
    assert len(written(person)) == 1


def test_without_a_birth_date_the_rules_cannot_say(nurse: Client, session: int) -> None:
    who = enrolled(nurse, birth_date="", number="9")
    page = send(nurse, session, do="dose", open=who, product="43", lot="A12")
    assert "The birth date is missing: the rules cannot say whether a dose is due." in page
    assert "Not booked" in page


def test_a_sample_has_a_number_of_its_own_and_is_taken_back(
    nurse: Client, session: int, person: str
) -> None:
    send(nurse, session, do="sample", open=person, identified="yes")
    (sample,) = held(person).samples
    assert re.fullmatch(r"S-\w{4}-\w{4}", sample.number)
    assert (sample.on, sample.identified) == (date(2026, 3, 3), "yes")
    assert models.SampleNumber.objects.get(number=sample.number).person == person
    nurse.post(f"/clinic/{session}/undo/{person}/{sample.entry}")
    assert held(person).samples == ()
    send(nurse, session, do="sample", open=person)
    assert held(person).samples[0].identified == "not_known"


def test_a_printed_label_opens_its_person_and_is_refused_for_another(
    nurse: Client, session: int, person: str
) -> None:
    other = enrolled(nurse, number="8", given_name="Oda")
    number = new_number(person, session, by="u-nurse", now=NIGHT)
    assert '<h2 id="open-name">Brindle, Inés</h2>' in send(nurse, session, number.lower())
    page = send(nurse, session, number, open=other)
    assert f"Label {number} is another person&#x27;s." in page
    assert held(other).samples == ()
    assert "is written down" in send(nurse, session, number, open=person)
    assert [s.number for s in held(person).samples] == [number]
    assert f"Sample {number} is on record already." in send(nurse, session, number, open=person)


def test_a_number_of_the_house_opens_its_person(nurse: Client, session: int, person: str) -> None:
    assert '<h2 id="open-name">Brindle, Inés</h2>' in send(nurse, session, "00421")


def test_who_did_not_attend_is_marked(nurse: Client, session: int, person: str) -> None:
    assert "Did not attend" in send(nurse, session, do="missed", open=person)
    assert get_clinic().of_session(session)[0].came == "missed"
    # Nobody who was not booked is marked.
    other = enrolled(nurse, number="8", given_name="Oda")
    assert "They have no booking" in send(nurse, session, do="missed", open=other)


def test_in_order_of_time_or_of_name_with_what_is_due(
    nurse: Client, session: int, person: str
) -> None:
    first = enrolled(nurse, number="8", family_name="Zebedee", given_name="Oda")
    nurse.post(f"/clinic/for/{first}", {"time": f"{session}-0900"})
    by_time = nurse.get(f"/clinic/{session}/").text
    by_name = nurse.get(f"/clinic/{session}/?by=name").text
    assert by_time.index("Zebedee") < by_time.index("Brindle")
    assert by_name.index("Brindle") < by_name.index("Zebedee")
    assert "First dose of hepatitis B vaccine, now." in by_time


@pytest.mark.parametrize("opened", ["P-NONE-NONE", "x" * 300, "%00"])
def test_nobody_is_opened_who_is_not_in_the_register(
    nurse: Client, session: int, opened: str
) -> None:
    assert nurse.get(f"/clinic/{session}/?open={opened}").status_code == 404
    assert nurse.post(f"/clinic/{session}/scan", {"do": "dose", "open": opened}).status_code in {
        404,
        422,
    }


def test_a_session_of_another_day_says_that_today_s_date_is_written(
    nurse: Client, session: int
) -> None:
    words = "carries today’s date"
    assert words not in nurse.get(f"/clinic/{session}/").text
    with clock.standing_at(datetime.combine(date(2026, 3, 4), time(9), tzinfo=MORNING.tzinfo)):
        client = Client()
        client.force_login(models.Account.objects.get())
        assert words in client.get(f"/clinic/{session}/").text


def test_labels_keep_a_sample_s_number_and_the_sample_takes_it(
    nurse: Client, session: int, person: str
) -> None:
    sent = {"kind": "samples", "copies": "2", "first": "3"}
    for _ in range(2):
        answer = nurse.post(f"/clinic/{session}/labels", sent)
        assert answer["Content-Type"] == "application/pdf"
        assert answer.content.startswith(b"%PDF")
    # A viewer would ask again with GET, and find no page.
    assert answer["Content-Disposition"].startswith('attachment; filename="')
    assert "labels" in answer["Content-Disposition"]
    (row,) = models.SampleNumber.objects.all()
    assert (row.person, row.session_id) == (person, session)
    send(nurse, session, do="sample", open=person)
    send(nurse, session, do="sample", open=person)
    numbers = [sample.number for sample in held(person).samples]
    assert numbers[0] == row.number
    assert len(set(numbers)) == 2
    assert models.IdentityLook.objects.filter(case=person, where="labels").exists()


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ({"kind": "x"}, "Choose what is printed"),
        ({"copies": "0"}, "1 to 6 for each person"),
        ({"copies": "7"}, "1 to 6 for each person"),
        ({"first": "25"}, "The first free label is 1 to 24."),
    ],
)
def test_labels_that_cannot_be_are_refused_and_no_number_is_used_up(
    nurse: Client, session: int, person: str, change: dict[str, str], said: str
) -> None:
    sent = {"kind": "samples", "copies": "1", "first": "1"}
    assert said in nurse.post(f"/clinic/{session}/labels", {**sent, **change}, follow=True).text
    assert not models.SampleNumber.objects.exists()


def test_codes_of_people_use_up_no_number(nurse: Client, session: int, person: str) -> None:
    nurse.post(f"/clinic/{session}/labels", {"kind": "people", "copies": "1", "first": "1"})
    assert not models.SampleNumber.objects.exists()


def test_the_second_enter_of_a_scanner_writes_nothing_down(
    nurse: Client, session: int, person: str
) -> None:
    known()
    send(nurse, session, VACCINE)
    page = send(nurse, session, person)
    shown = int(re.findall(r'name="shown" value="(\d+)"', page)[0])
    assert "press Enter" in send(nurse, session, open=person, shown=str(shown))
    assert written(person) == []
    send(nurse, session, open=person, shown=str(shown - 1000))
    assert len(written(person)) == 1
