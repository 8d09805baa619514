"""An offer that a law asks for, made by letter: on record once, and only where it is known to be made."""

from __future__ import annotations

from datetime import date, timedelta
from typing import Any

import pytest
from django.core import mail
from django.test import Client

from thimble.actions import people as acts
from thimble.clinical.offers import offer_law
from thimble.people.fold import Offer
from thimble.people.rechecks import Topic
from thimble.web import clock, context
from thimble.web.context import get_people
from thimble.web.models import LetterRun, LetterTo
from thimble.web.people.roster import roster
from thimble.web.rechecks.board import Board
from thimble.web.rechecks.views import house_of
from web.conftest import NIGHT
from web.test_cohort import WRITER
from web.test_letters_many import (  # noqa: F401
    GET_CONNECTION,
    _site_with_mail,
    _work_at_once,
    cohort,
    enrolled,
    made,
    nurse_account,
    states,
)

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("_fresh_limits")]
TODAY = NIGHT.date()
BORN = date(2001, 5, 6)


def offers(person: str) -> tuple[Offer, ...]:
    return acts.person_of(get_people(), person, clock.now()).offers


def due(person: str) -> bool:
    """Whether the list of rechecks asks for the offer on the first day."""
    found = acts.person_of(get_people(), person, clock.now())
    start = found.employment.starts_on
    assert start is not None
    lines = Board().lines([found], {person: BORN}, start, house_of(context.get_site()))
    return any(line.topic is Topic.OFFER for line in lines)


def hand_out(client: Client, run: LetterRun, on: str = "2026-03-03") -> str:
    where = f"/cohorts/letters/{run.pk}/handed-out"
    return client.post(where, {"on": on}, follow=True).content.decode()


def own_page(sent: Any) -> Client:
    path = sent.body.partition("https://thimble.example")[2].split()[0]
    client = Client()
    client.get(path)
    client.post("/own/birth-date", {"born": "6 May 2001"})
    return client


def test_a_letter_on_paper_is_the_offer_once_it_was_handed_out_and_counts_once(
    nurse: Client,
) -> None:
    people = cohort()
    run = made(nurse, about="offer", way="paper")
    page = nurse.get(f"/cohorts/letters/{run.pk}").content.decode()
    assert "29 CFR 1910.1030(f)(2)(i)" in page
    assert "Whether the training came before is not known here." in page
    assert offers(people["paper"]) == ()
    assert due(people["paper"])

    written_to = [person for person, (_, state) in states(run).items() if state == "sent"]
    assert people["paper"] in written_to
    assert f"On record: {len(written_to)} offers made." in hand_out(nurse, run)
    for person in written_to:
        (offer,) = offers(person)
        assert (offer.disease, offer.on, offer.how) == ("hepatitis_b", TODAY, "paper")
        # No letter shows that somebody was trained before.
        assert not offer.informed
        assert not due(person)
    page = nurse.get(f"/people/{people['paper']}/").content.decode()
    assert "offered Tue 3 Mar 2026, by letter, no information on record" in page
    assert "On record: 0 offers made." in hand_out(nurse, run)
    assert len(offers(people["paper"])) == 1
    assert "Posted or handed out on Tue 3 Mar 2026" in nurse.get(f"/cohorts/letters/{run.pk}").text


def test_letters_that_are_made_after_the_others_went_out_are_handed_out_by_themselves(
    nurse: Client,
) -> None:
    people = cohort()
    run = made(nurse, about="offer", way="paper")
    LetterTo.objects.filter(run=run, person=people["odd"]).update(state="failed", reason="x")
    hand_out(nurse, run)
    assert offers(people["odd"]) == ()
    nurse.post(f"/cohorts/letters/{run.pk}/go-on", {"again": "1"})
    assert "Record the offers" in nurse.get(f"/cohorts/letters/{run.pk}").content.decode()
    assert "On record: 1 offer made." in hand_out(nurse, run)
    assert [len(offers(people[who])) for who in ("paper", "odd")] == [1, 1]


def test_the_letter_says_in_its_words_what_the_law_asks_of_an_offer(nurse: Client) -> None:
    cohort()
    law = offer_law("us")
    assert law is not None
    ask = {"about": "offer", "way": "paper", "look": "1"}
    page = nurse.post("/cohorts/letters?cohort=Spring&show=not_ready", ask).content.decode()
    for part in (law.told, "costs you nothing", "You may decline", "dose of hepatitis B vaccine"):
        assert part in page


@pytest.mark.parametrize(
    ("on", "taken"),
    [("2026-03-02", False), ("2026-03-03", True), ("2026-03-05", True), ("2026-03-06", False),
     ("", False), ("5.3.", False)],
)  # fmt: skip
def test_it_is_handed_out_between_the_day_it_was_made_and_today(
    nurse: Client,
    on: str,
    taken: bool,
) -> None:
    people = cohort()
    run = made(nurse, about="offer", way="paper")
    with clock.standing_at(NIGHT + timedelta(days=2)):
        nurse.force_login(nurse_account())
        page = hand_out(nurse, run, on)
        assert ("Give a day between" in page) is not taken
        assert [offer.on.isoformat() for offer in offers(people["paper"])] == [on] * taken


def test_whoever_began_declined_or_left_meanwhile_is_not_offered_it_again(
    nurse: Client,
) -> None:
    people = cohort()
    run = made(nurse, about="offer", way="paper")
    told = {"what": "vaccine", "disease": "hepatitis_b", "on": "2026-03-03", "informed": "yes",
            "signed": "on_paper", "reason": ""}  # fmt: skip
    assert nurse.post(f"/people/{people['paper']}/add/declined", told).status_code == 302
    told = {"disease": "hepatitis_b", "on": "2026-03-03", "informed": "yes"}
    assert nurse.post(f"/people/{people['odd']}/add/offered", told).status_code == 302
    acts.leave(get_people(), people["mail"], date(2026, 4, 6), now=clock.now(), **WRITER)
    with clock.standing_at(NIGHT + timedelta(days=40)):
        nurse.force_login(nurse_account())
        assert "On record: 0 offers made." in hand_out(nurse, run, "2026-04-10")
        assert offers(people["paper"]) == offers(people["mail"]) == ()
        assert [offer.how for offer in offers(people["odd"])] == [""]


def test_a_mail_is_the_offer_once_the_person_has_read_it_on_their_own_page(nurse: Client) -> None:
    people = cohort()
    run = made(nurse, about="offer", way="mail_only")
    assert states(run)[people["mail"]] == ("mail", "sent")
    assert offers(people["mail"]) == ()
    assert due(people["mail"])
    # There is nothing on paper to hand out.
    assert "Record the offers" not in nurse.get(f"/cohorts/letters/{run.pk}").content.decode()
    assert "On record: 0 offers made." in hand_out(nurse, run)

    (sent,) = mail.outbox
    visitor = own_page(sent)
    for _ in range(2):
        page = visitor.get("/own/").content.decode()
        assert "An offer of vaccine" in page
        assert "costs you nothing" in page
    (offer,) = offers(people["mail"])
    assert (offer.how, offer.on, offer.informed) == ("own_page", TODAY, False)
    assert get_people().entries(people["mail"])[-1].by == "person"
    assert not due(people["mail"])
    # Once it is answered it is asked no more.
    told = {"what": "vaccine", "disease": "hepatitis_b", "on": "2026-03-03", "informed": "yes",
            "signed": "on_paper", "reason": ""}  # fmt: skip
    nurse.post(f"/people/{people['mail']}/add/declined", told)
    assert "An offer of vaccine" not in visitor.get("/own/").content.decode()


@pytest.mark.parametrize("about", ["missing", "offer"])
def test_no_offer_is_recorded_for_a_mail_that_failed_or_that_offered_nothing(
    nurse: Client,
    monkeypatch: pytest.MonkeyPatch,
    about: str,
) -> None:
    people = cohort()

    class Refusing:
        def open(self) -> None:
            raise OSError("refused")

    with monkeypatch.context() as patched:
        if about == "offer":
            patched.setattr(GET_CONNECTION, lambda *_: Refusing())
        made(nurse, about=about, way="mail_only")
    answer = nurse.post(f"/people/{people['mail']}/own-page").content.decode()
    path = answer.partition('value="https://thimble.example')[2].partition('"')[0]
    client = Client()
    client.get(path)
    client.post("/own/birth-date", {"born": "6 May 2001"})
    page = client.get("/own/").content.decode()
    assert "Hello Ada" in page
    assert "An offer of vaccine" not in page
    assert offers(people["mail"]) == ()
    assert due(people["mail"])


def test_where_no_law_is_known_nothing_is_recorded(
    nurse: Client,
    settings: Any,
) -> None:
    site = settings.DATA / "site.toml"
    text = site.read_text(encoding="utf-8")
    assert 'protocol = "us"' in text
    site.write_text(text.replace('protocol = "us"', 'protocol = "uk"'), encoding="utf-8")
    context.forget()
    people = cohort()
    run = made(nurse, about="offer", way="paper")
    assert "Offer by law" not in nurse.get(f"/cohorts/letters/{run.pk}").content.decode()
    hand_out(nurse, run)
    assert all(offers(person) == () for person in people.values())
    assert len(roster().people(clock.now())) == 4
