"""Bookings: never more than fit and never two of one person, whoever asks at once; by hand and by nurse."""

from __future__ import annotations

import random
import threading
from collections.abc import Callable
from datetime import UTC, date, datetime, time, timedelta
from itertools import pairwise

import pytest
import vobject
from django.db import IntegrityError, connection
from django.test import Client

from thimble.actions import Refused
from thimble.actions import clinic as acts
from thimble.actions import people as people_acts
from thimble.people.entries import THEMSELF
from thimble.people.identity import PersonIdentity
from thimble.people.sessions import Session
from thimble.web import clock, context, models
from thimble.web.clinic.choosing import closed
from thimble.web.clinic.store import get_clinic
from thimble.web.context import get_people, get_people_identities, get_site
from thimble.web.roles import Role

from .conftest import NIGHT, SITE
from .test_own_page import make, opened
from .test_people import FORM, enrolled

pytestmark = pytest.mark.django_db
DAY = date(2026, 3, 10)
FORM_OF_SESSION = {
    "purpose": "vaccination", "day": "2026-03-10", "opens": "09:00", "closes": "10:00",
    "place": "House C, room 4", "slot_minutes": "20", "capacity": "1", "until": "",
}  # fmt: skip


def session(**changes: object) -> int:
    told = {"day": DAY, "opens": time(9), "closes": time(10), "place": "House C", "purpose": "sample",
            "capacity": 1, "slot_minutes": 20} | changes  # fmt: skip
    (made,) = get_clinic().add_sessions([Session(0, **told)], by="u-nurse", now=NIGHT)  # type: ignore[arg-type]
    return made


def person(number: int) -> str:
    employment = {"works_as": "student", "role": "", "site": "", "department": "", "cohort": "",
                  "starts_on": None, "ends_on": None, "exposure_prone": "not_known",
                  "categories": {}}  # fmt: skip
    who = PersonIdentity(str(number), f"Example{number}", "", date(1999, 1, 1))
    return people_acts.enrol(
        get_people(),
        get_people_identities(),
        who,
        employment,
        not_the_same_as=get_people_identities().all_identities(),
        now=NIGHT,
        by="u-nurse",
        role="nurse",
    )


def book(session: int, person: str, at: time = time(9), **more: object) -> int:
    return acts.book(
        get_clinic(), get_people(), session, person, at, closed=closed, zone=get_site().zone,
        now=NIGHT, by=THEMSELF, **more,  # type: ignore[arg-type]
    )  # fmt: skip


def at_once(*tries: Callable[[], object]) -> list[str]:
    """What came of tries that are made at the same moment: "" or the refusal."""
    gate, said = threading.Barrier(len(tries)), [""] * len(tries)

    def run(number: int) -> None:
        try:
            gate.wait(10)
            # The clock stands still in the thread of the test alone.
            with clock.standing_at(NIGHT):
                tries[number]()
        except Refused as refused:
            said[number] = " ".join(refused.faults)
        finally:
            connection.close()

    threads = [threading.Thread(target=run, args=(n,)) for n in range(len(tries))]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    return said


@pytest.mark.usefixtures("append_only_db")
def test_a_last_place_that_many_ask_for_at_once_is_given_once() -> None:
    one = session(capacity=2)
    people = [person(n) for n in range(8)]

    said = at_once(*(lambda p=p: book(one, p) for p in people))  # type: ignore[misc]

    assert sorted(said) == ["", ""] + ["This time is full. Choose another."] * 6
    standing = get_clinic().of_session(one)
    assert sorted(b.number for b in standing) == [1, 2]


@pytest.mark.usefixtures("append_only_db")
def test_one_person_who_asks_twice_at_once_is_booked_once() -> None:
    one, other = session(capacity=9), session(capacity=9, slot_minutes=0)
    who = person(1)

    said = at_once(*[lambda: book(one, who)] * 3, *[lambda: book(other, who)] * 3)

    assert said.count("") == 1
    assert len(get_clinic().of_person(who)) == 1


@pytest.mark.usefixtures("append_only_db")
def test_two_who_exchange_their_times_at_once_both_keep_one() -> None:
    one = session()
    first, second = person(1), person(2)
    a, b = book(one, first, time(9)), book(one, second, time(9, 20))

    at_once(
        lambda: book(one, first, time(9, 20), instead=a),
        lambda: book(one, second, time(9), instead=b),
    )

    assert {x.person for x in get_clinic().of_session(one)} == {first, second}


def test_the_database_itself_refuses_what_no_rule_stopped() -> None:
    one = get_clinic().session(session(capacity=5))
    assert one is not None
    kept = {"uid": None, "sequence": 0, "by": "x", "now": NIGHT}
    get_clinic().add(one, "P-1", time(9), 1, **kept)  # type: ignore[arg-type]
    for who, number in (("P-1", 2), ("P-2", 1)):
        with pytest.raises(IntegrityError), get_clinic().alone():
            get_clinic().add(one, who, time(9), number, **kept)  # type: ignore[arg-type]


def test_whatever_is_booked_moved_and_cancelled_nothing_is_ever_over_full() -> None:
    """Steps by chance against a count made by hand after each."""
    chance = random.Random(7)
    sessions = [session(capacity=2), session(capacity=3, slot_minutes=0),
                session(capacity=1, opens=time(9, 30), closes=time(10, 30))]  # fmt: skip
    people = [person(n) for n in range(6)]
    for _ in range(250):
        who, one = chance.choice(people), chance.choice(sessions)
        theirs = get_clinic().of_person(who)
        try:
            if theirs and chance.random() < 0.3:
                acts.cancel(get_clinic(), who, chance.choice(theirs).id, zone=get_site().zone,
                            now=NIGHT, by=who)  # fmt: skip
            else:
                found = get_clinic().session(one)
                assert found is not None
                instead = chance.choice(theirs).id if theirs and chance.random() < 0.5 else None
                book(one, who, chance.choice(found.times), instead=instead)
        except Refused:
            pass
        rows = list(models.Booking.objects.filter(ended_at__isnull=True).select_related("session"))
        for row in rows:
            same = [r for r in rows if (r.session_id, r.at) == (row.session_id, row.at)]
            assert len(same) <= row.session.capacity
        spans = {
            who: sorted((b.at, b.until) for b in get_clinic().of_person(who)) for who in people
        }
        for each in spans.values():
            assert all(end <= start for (_, end), (start, _) in pairwise(each))
    assert rows


def test_moving_keeps_the_old_time_where_the_new_one_cannot_be() -> None:
    one = session()
    first, second = person(1), person(2)
    mine = book(one, first, time(9))
    book(one, second, time(9, 20))
    with pytest.raises(Refused, match="full"):
        book(one, first, time(9, 20), instead=mine)
    assert [b.at for b in get_clinic().of_person(first)] == [time(9)]
    book(one, first, time(9, 40), instead=mine)
    (now,) = get_clinic().of_person(first)
    assert (now.at, now.sequence) == (time(9, 40), 1)
    with pytest.raises(Refused, match="does not stand any more"):
        book(one, first, time(9), instead=mine)


def test_nobody_moves_or_cancels_what_is_another_person_s() -> None:
    one = session()
    first, second = person(1), person(2)
    theirs = book(one, first)
    with pytest.raises(Refused):
        book(one, second, time(9, 20), instead=theirs)
    with pytest.raises(Refused):
        acts.cancel(get_clinic(), second, theirs, zone=get_site().zone, now=NIGHT, by=second)
    assert len(get_clinic().of_person(first)) == 1


def test_once_it_has_begun_it_is_neither_moved_nor_cancelled() -> None:
    one = session()
    who = person(1)
    begun = datetime(2026, 3, 10, 8, tzinfo=UTC)  # 09:00 in Lindenfels
    zone = get_site().zone
    booking = book(one, who)
    with pytest.raises(Refused, match="is over"):
        acts.cancel(get_clinic(), who, booking, zone=zone, now=begun, by=who)
    before = begun - timedelta(seconds=1)
    acts.cancel(get_clinic(), who, booking, zone=zone, now=before, by=who)
    assert get_clinic().of_person(who) == []


# --- on the screens -------------------------------------------------------------------------------


@pytest.fixture
def nurse(signed_in: Callable[[Role], Client], _fresh_limits: None) -> Client:
    return signed_in(Role.OCCUPATIONAL_NURSE)


def test_a_session_is_made_each_week_without_the_days_that_are_closed(nurse: Client) -> None:
    # Thursdays: 14 May 2026 is Ascension Day in Switzerland.
    sent = {**FORM_OF_SESSION, "day": "2026-05-07", "until": "2026-05-28"}
    answer = nurse.post("/clinic/new", sent, follow=True)
    assert "3 sessions made. Left out Thu 14 May 2026: Ascension Day." in answer.text
    days = models.ClinicSession.objects.values_list("day", flat=True)
    assert [day.day for day in days] == [7, 21, 28]


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ({"closes": "09:00"}, "It ends after it begins"),
        ({"slot_minutes": "90"}, "Not even one time"),
        ({"day": "2026-03-02"}, "The day lies behind"),
        ({"until": "2026-03-09"}, "until a day after the first"),
        ({"until": "2029-03-09"}, "At most 53 weeks"),
        ({"day": "2926-03-10"}, "Look at the year"),
        ({"day": "2026-05-14"}, "The department is closed that day: Ascension Day"),
        ({"capacity": "0"}, ""),
        ({"place": " "}, "Say where people come"),
        ({"opens": "25:00"}, "Give an hour"),
    ],
)
def test_a_session_that_cannot_be_is_refused_and_what_was_typed_stays(
    nurse: Client, change: dict[str, str], said: str
) -> None:
    answer = nurse.post("/clinic/new", {**FORM_OF_SESSION, **change})
    assert answer.status_code == 422
    assert said in answer.text
    if "place" not in change:
        assert 'value="House C, room 4"' in answer.text
    assert not models.ClinicSession.objects.exists()


def test_a_day_that_the_site_closes_later_can_no_longer_be_booked(nurse: Client) -> None:
    one = session()
    who = enrolled(nurse)
    folder = context.settings.DATA
    day = '\n[[closed_days]]\ndate = 2026-03-10\nreason = "Move of the house"\n'
    (folder / "site.toml").write_text(SITE + day, encoding="utf-8")
    context.forget()
    visitor = opened(make(nurse, who))
    assert "closed that day (Move of the house)" in visitor.get("/own/book").text
    answer = visitor.post("/own/book", {"time": f"{one}-0900"})
    assert answer.status_code == 422
    assert not models.Booking.objects.exists()


def test_a_person_books_moves_and_cancels_by_themself(nurse: Client) -> None:
    one = session()
    who, other = enrolled(nurse), enrolled(nurse, number="8", given_name="Oda")
    book(one, other, time(9, 20))
    visitor = opened(make(nurse, who))
    page = visitor.get("/own/book").text
    assert f'value="{one}-0920" disabled' in page
    assert "09:20 full" in page
    for told in ("Oda", "Brindle", other):
        assert told not in page
    done = visitor.post("/own/book", {"time": f"{one}-0900"}, follow=True)
    assert "Tue 10 Mar 2026, 09:00" in done.text
    (booking,) = get_clinic().of_person(who)
    assert models.Booking.objects.get(pk=booking.id).made_by == THEMSELF
    assert (
        "It stays yours until you book another"
        in visitor.get(f"/own/book?instead={booking.id}").text
    )
    moved = visitor.post(
        "/own/book", {"time": f"{one}-0940", "instead": str(booking.id)}, follow=True
    )
    assert "Moved." in moved.text
    (booking,) = get_clinic().of_person(who)
    assert booking.at == time(9, 40)
    assert "Cancelled." in visitor.post(f"/own/booking/{booking.id}/cancel", follow=True).text
    assert get_clinic().of_person(who) == []


@pytest.mark.parametrize("sent", ["", "x", "1", "1-2500", "-1-0900", "9999-0900", "1-09"])
def test_a_choice_that_is_none_is_told(nurse: Client, sent: str) -> None:
    session()
    visitor = opened(make(nurse, enrolled(nurse)))
    assert visitor.post("/own/book", {"time": sent}).status_code == 422


def test_another_person_s_booking_is_neither_cancelled_nor_downloaded(nurse: Client) -> None:
    one = session()
    who, other = enrolled(nurse), enrolled(nurse, number="8", given_name="Oda")
    theirs = book(one, other)
    visitor = opened(make(nurse, who))
    visitor.post(f"/own/booking/{theirs}/cancel")
    assert visitor.get(f"/own/booking/{theirs}/appointment.ics").status_code == 404
    assert visitor.get(f"/own/book?instead={theirs}").text.count("It stays yours") == 0
    assert len(get_clinic().of_person(other)) == 1


def test_the_calendar_file_tells_a_time_and_nothing_of_what_it_is_for(nurse: Client) -> None:
    one = session(place="Vaccination room")
    who = enrolled(nurse)
    booking = book(one, who, time(9, 20))
    visitor = opened(make(nurse, who))
    answer = visitor.get(f"/own/booking/{booking}/appointment.ics")
    event = vobject.readOne(answer.text).vevent
    assert event.dtstart.value == datetime(2026, 3, 10, 8, 20, tzinfo=UTC)
    assert event.dtend.value == datetime(2026, 3, 10, 8, 40, tzinfo=UTC)
    assert event.summary.value == "Appointment"
    for told in ("accin", "lood", "ample", who, "Brindle", "Inés"):
        assert told not in answer.text
    first = event.uid.value
    moved = book(one, who, time(9, 40), instead=booking)
    event = vobject.readOne(visitor.get(f"/own/booking/{moved}/appointment.ics").text).vevent
    assert (event.uid.value, event.sequence.value) == (first, "1")


def test_one_called_off_is_told_on_the_own_page_and_can_be_replaced(nurse: Client) -> None:
    one, other = session(), session(opens=time(11), closes=time(12))
    who = enrolled(nurse)
    book(one, who)
    visitor = opened(make(nurse, who))
    said = nurse.post(f"/clinic/{one}/call-off", follow=True).text
    assert "1 person is booked: tell them" in said
    assert "Called off:</b> Tue 10 Mar 2026, 09:00" in visitor.get("/own/").text
    assert visitor.post("/own/book", {"time": f"{one}-0900"}).status_code == 422
    assert visitor.post("/own/book", {"time": f"{other}-1100"}).status_code == 302


def test_a_nurse_books_for_a_person_and_sees_who_is_booked(nurse: Client) -> None:
    one = session()
    who = enrolled(nurse)
    assert nurse.post(f"/clinic/for/{who}", {"time": f"{one}-0900"}).status_code == 302
    (booking,) = get_clinic().of_person(who)
    assert "Brindle, Inés" in nurse.get(f"/clinic/{one}/").text
    assert "1 of 3" in nurse.get("/clinic/").text
    looks = models.IdentityLook.objects.filter(case=who, where="clinic")
    assert looks.exists()
    nurse.post(f"/clinic/for/{who}/cancel/{booking.id}")
    assert get_clinic().of_person(who) == []


def test_after_the_last_day_here_nothing_is_booked(nurse: Client) -> None:
    one = session()
    who = enrolled(nurse, **{**FORM, "starts_on": "2026-01-01", "ends_on": "2026-03-09"})
    answer = nurse.post(f"/clinic/for/{who}", {"time": f"{one}-0900"})
    assert "after the last day here" in answer.text


def test_nothing_is_booked_without_the_birth_date(nurse: Client) -> None:
    session()
    stranger = Client()
    assert stranger.get("/own/book").status_code == 403
    stranger.get(make(nurse, enrolled(nurse)))
    assert stranger.post("/own/book", {"time": "1-0900"})["Location"] == "/own/birth-date"
