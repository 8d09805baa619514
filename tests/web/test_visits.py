"""The visits of a case on its page, the dates told, the visits missed; and whom to call."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from html import unescape

import pytest
from django.test import Client
from django.urls import reverse

from thimble import actions
from thimble.actions.identity import WorkerIdentity
from thimble.clinical.vocabulary import VOCABULARY
from thimble.ledger.entries import Kind
from thimble.ledger.follow_up.record import AgreedVisit
from thimble.web import clock
from thimble.web.context import get_identities, get_store
from thimble.web.models import IdentityLook
from thimble.web.roles import Role
from thimble.web.visits.recall.standing import Recalled, in_words
from thimble.web.visits.typed import stretch, typed_away

from .conftest import NIGHT

pytestmark = pytest.mark.django_db
SignIn = Callable[[Role], Client]
FACTS = {
    "route": "percutaneous", "fluid": "blood", "source_hiv": "negative",
    "source_hiv_acute_illness": "no", "source_hbsag": "negative", "source_hcv_rna": "positive",
    "worker_hiv": "negative", "worker_anti_hcv": "negative", "worker_hbv_infection": "none_known",
    "worker_hbv_series": "one_complete", "worker_hbv_response": "responder",
}  # fmt: skip
NURSE = {"by": "u-nurse", "role": "occupational_nurse"}
RNA = date(2026, 3, 24)
"""Three weeks after the exposure, a Tuesday: the clinic is open on Mondays and Tuesdays."""


@pytest.fixture
def case() -> str:
    return actions.report(
        get_store(), facts=FACTS, occurred_at=NIGHT, occurred_at_precision="minute",
        vocabulary=VOCABULARY, now=NIGHT, identities=get_identities(),
        worker=WorkerIdentity(name="Zoë Sampleworth", phone="555-0199"),
    ).case  # fmt: skip


def page(client: Client, case: str, query: str = "") -> str:
    response = client.get(reverse("visits:visits", args=[case]) + query)
    assert response.status_code == 200
    return response.text


def position(text: str) -> str:
    found = re.search(r'name="position" value="(\d+)"', text)
    assert found is not None
    return found[1]


def test_who_treats_sees_the_visits_and_nobody_else(case: str, signed_in: SignIn):
    for role in Role:
        treats = role not in (Role.SAFETY_OFFICER, Role.ADMINISTRATOR)
        client = signed_in(role)
        for address in (reverse("visits:visits", args=[case]), reverse("visits:recall")):
            assert client.get(address).status_code == (200 if treats else 403), role
    assert Client().get(reverse("visits:visits", args=[case])).status_code == 302


def test_the_first_open_day_of_the_window_is_offered_with_its_reasons(case: str, signed_in: SignIn):
    text = page(signed_in(Role.OCCUPATIONAL_NURSE), case)

    assert "Tue 24 Mar 2026" in text
    assert "Draw HCV RNA" in text
    assert "Not before Tue 24 Mar 2026" in text
    assert "Nothing is agreed with the worker yet" in text
    assert '<svg class="windows"' in text
    assert "style=" not in text


def test_dates_that_were_told_are_recorded_and_stand(case: str, signed_in: SignIn):
    client = signed_in(Role.OCCUPATIONAL_NURSE)
    before = page(client, case)
    response = client.post(
        reverse("visits:agree", args=[case]), {"position": position(before), "text": "by phone"}
    )
    assert response.status_code == 302

    entry = get_store().entries(case)[-1]
    assert entry.kind is Kind.VISITS_AGREED
    assert {"day": RNA.isoformat(), "actions": ["follow_up_hcv_rna"]} in entry.body["visits"]
    assert entry.body["text"] == "by phone"
    assert "The worker knows these dates" in page(client, case)


def test_another_day_of_the_workers_choice_is_taken(case: str, signed_in: SignIn):
    client = signed_in(Role.OCCUPATIONAL_NURSE)
    later = RNA + timedelta(days=7)
    client.post(
        reverse("visits:agree", args=[case]),
        {"position": position(page(client, case)), "day-follow_up_hcv_rna": later.isoformat()},
    )

    days = [visit["day"] for visit in get_store().entries(case)[-1].body["visits"]]
    assert later.isoformat() in days
    assert RNA.isoformat() not in days


@pytest.mark.parametrize(
    ("day", "said"),
    [
        ("2026-03-25", "closed on Wednesdays"),
        ("2026-06-02", "no later than"),
        ("soon", "is no day"),
    ],
)
def test_a_day_that_cannot_be_taken_is_refused_with_the_reason(
    case: str, signed_in: SignIn, day: str, said: str
):
    client = signed_in(Role.OCCUPATIONAL_NURSE)
    response = client.post(
        reverse("visits:agree", args=[case]),
        {"position": position(page(client, case)), "day-follow_up_hcv_rna": day},
    )

    assert response.status_code == 422
    assert said in response.text
    assert get_store().entries(case)[-1].kind is not Kind.VISITS_AGREED


def test_an_absence_is_planned_around_and_kept_with_the_dates(case: str, signed_in: SignIn):
    client = signed_in(Role.OCCUPATIONAL_NURSE)
    text = page(client, case, "?planned=1&first=2026-03-20&last=2026-03-29")
    assert 'class="visit-day">Mon 30 Mar 2026' in text
    assert 'class="visit-day">Tue 24 Mar 2026' not in text
    client.post(
        reverse("visits:agree", args=[case]),
        {"position": position(text), "away": "2026-03-20..2026-03-29"},
    )

    body = get_store().entries(case)[-1].body
    assert body["unavailable"] == [{"first": "2026-03-20", "last": "2026-03-29"}]
    assert "2026-03-30" in [visit["day"] for visit in body["visits"]]


@pytest.mark.parametrize(
    ("first", "last"), [("x", ""), ("2026-03-09", "2026-03-01"), ("2026-03-09", "2028-03-09")]
)
def test_an_absence_that_is_none_is_refused_in_a_sentence(first: str, last: str):
    with pytest.raises(ValueError, match=r"\.$"):
        stretch(first, last)


def test_an_absence_of_one_day_needs_no_last_day():
    assert typed_away(["2026-03-09.."]) == ((date(2026, 3, 9), date(2026, 3, 9)),)


def test_an_old_page_writes_nothing_over_what_came_first(case: str, signed_in: SignIn):
    client = signed_in(Role.OCCUPATIONAL_NURSE)
    old = position(page(client, case))
    actions.learn_facts(
        get_store(), case, {"source_hcv_rna": "negative"}, said_by="laboratory",
        vocabulary=VOCABULARY, now=NIGHT, **NURSE,
    )  # fmt: skip
    response = client.post(reverse("visits:agree", args=[case]), {"position": old})

    assert response.status_code == 409
    assert get_store().entries(case)[-1].kind is Kind.FACT_LEARNED


def agree(case: str, *days: date) -> None:
    actions.agree_visits(
        get_store(), case, [AgreedVisit(day, ("follow_up_hcv_rna",)) for day in days[:1]],
        now=NIGHT, **NURSE,
    )  # fmt: skip


def test_a_missed_visit_is_recorded_once_its_day_has_come(case: str, signed_in: SignIn):
    client = signed_in(Role.OCCUPATIONAL_NURSE)
    agree(case, RNA)
    url = reverse("visits:missed", args=[case])
    early = client.post(url, {"position": position(page(client, case)), "day": RNA.isoformat()})
    assert (early.status_code, "still to come" in early.text) == (422, True)

    with clock.standing_at(datetime(2026, 3, 25, 9, tzinfo=UTC)):
        client = signed_in(Role.OCCUPATIONAL_PHYSICIAN)
        text = page(client, case)
        assert "Did not come" in text
        client.post(url, {"position": position(text), "day": RNA.isoformat()})
        assert get_store().entries(case)[-1].kind is Kind.VISIT_MISSED
        listed = client.get(reverse("visits:recall")).text
    assert "Did not come, or nobody recorded it" in listed
    assert "1 day ago, missed" in listed


def test_an_attempt_to_reach_the_worker_needs_a_way_and_an_outcome(case: str, signed_in: SignIn):
    client = signed_in(Role.OCCUPATIONAL_NURSE)
    url = reverse("visits:contact", args=[case])
    at = position(page(client, case))
    refused = client.post(url, {"position": at, "how": "telephone", "text": "rang at noon"})
    assert refused.status_code == 422
    assert 'name="text" maxlength="500" value="rang at noon"' in refused.text
    assert 'value="telephone" checked' in refused.text
    assert refused.text.count("rang at noon") == 1
    assert (
        client.post(url, {"position": at, "how": "pigeon", "outcome": "reached"}).status_code == 422
    )

    client.post(url, {"position": at, "how": "telephone", "outcome": "no_answer"})
    assert "By telephone: no answer" in page(client, case).replace("by telephone", "By telephone")


def test_the_recall_list_names_nobody_until_asked_and_then_keeps_who_looked(
    case: str, signed_in: SignIn
):
    client = signed_in(Role.OCCUPATIONAL_NURSE)
    assert "Sampleworth" not in client.get(reverse("visits:recall")).text
    assert not IdentityLook.objects.filter(case=case, where="recall").exists()

    named = client.get(reverse("visits:recall") + "?names=1").text
    assert "Zoë Sampleworth" in named
    assert "555-0199" in named
    assert IdentityLook.objects.filter(case=case, where="recall").exists()


def test_the_longest_overdue_stands_first(signed_in: SignIn):
    with clock.standing_at(NIGHT):
        cases = [
            actions.report(
                get_store(), facts=FACTS, occurred_at=NIGHT, occurred_at_precision="minute",
                vocabulary=VOCABULARY, now=NIGHT,
            ).case
            for _ in range(3)
        ]  # fmt: skip
    for ref, day in zip(cases, (24, 30, 17), strict=True):
        agree(ref, date(2026, 3, day))
    with clock.standing_at(datetime(2026, 4, 2, 9, tzinfo=UTC)):
        text = signed_in(Role.OCCUPATIONAL_NURSE).get(reverse("visits:recall")).text

    places = [text.index(cases[at]) for at in (2, 0, 1)]
    assert places == sorted(places)


def test_a_missed_visit_leads_up_the_ladder_to_a_physicians_decision(case: str, signed_in: SignIn):
    agree(case, RNA)
    with clock.standing_at(datetime(2026, 3, 24, 15, tzinfo=UTC)):
        actions.miss_visit(get_store(), case, RNA, today=RNA, now=clock.now(), **NURSE)
        nurse = signed_in(Role.OCCUPATIONAL_NURSE)
        assert "<b>Telephone the worker</b>: due today" in page(nurse, case)
        assert (
            "Next: <b>Telephone the worker: due today</b>"
            in nurse.get(reverse("visits:recall")).text
        )
    for days, how in ((0, "telephone"), (3, "letter"), (10, "registered_letter")):
        at = datetime(2026, 3, 24, 16, tzinfo=UTC) + timedelta(days=days)
        actions.contact(get_store(), case, how=how, outcome="sent", now=at, **NURSE)
    url = reverse("visits:decide", args=[case])
    with clock.standing_at(datetime(2026, 4, 15, 9, tzinfo=UTC)):
        physician = signed_in(Role.OCCUPATIONAL_PHYSICIAN)
        text = page(physician, case)
        assert "Decide whether to keep trying" in text
        form = {"position": position(text), "decision": "keep_trying", "text": "on parental leave"}
        for changes, said in (
            ({"decision": ""}, "Say what you decide."),
            ({"text": ""}, "Say why."),
            ({"until": ""}, "on which day"),
            ({"until": "2026-04-15"}, "lies ahead of today"),
            ({"decision": "inform_gp", "until": "2026-05-01"}, "has not agreed"),
        ):
            refused = physician.post(url, {"until": "2026-05-04", **form, **changes})
            assert (refused.status_code, said in refused.text) == (422, True), said
        assert get_store().entries(case)[-1].kind is Kind.CONTACTED

        assert physician.post(url, {**form, "until": "2026-05-04"}).status_code == 302
        assert get_store().entries(case)[-1].body == {
            "decision": "keep_trying", "until": "2026-05-04", "text": "on parental leave",
        }  # fmt: skip
        after = page(physician, case)
        assert "keep trying to reach the worker, until Mon 4 May 2026: on parental leave" in after
        assert "To the letter" not in after

        actions.worker_agrees(
            get_store(), case, "gp_letter", agreed=True, now=clock.now(), **NURSE
        )  # fmt: skip
        told = {"position": position(page(physician, case)), "decision": "inform_gp"}
        assert (
            physician.post(url, {**told, "text": "agreed", "until": "2026-05-05"}).status_code
            == 302
        )
        assert reverse("papers:letters", args=[case]) in page(physician, case)


def test_who_may_not_decide_is_told_that_a_physician_does(case: str, signed_in: SignIn):
    agree(case, RNA)
    with clock.standing_at(datetime(2026, 4, 24, 15, tzinfo=UTC)):
        now = clock.now()
        actions.miss_visit(get_store(), case, RNA, today=now.date(), now=now, **NURSE)
        actions.contact(
            get_store(), case, how="telephone", outcome="declined", now=now, **NURSE
        )  # fmt: skip
        nurse = signed_in(Role.OCCUPATIONAL_NURSE)
        assert "A physician decides." in page(nurse, case)
        url = reverse("visits:decide", args=[case])
        assert nurse.post(url, {"decision": "close", "text": "x"}).status_code == 403

        physician = signed_in(Role.OCCUPATIONAL_PHYSICIAN)
        closing = physician.post(
            url,
            {"position": position(page(physician, case)), "decision": "close", "text": "declines"},
        )
        assert closing["Location"] == reverse("closing:closing", args=[case])
        assert "Close the case, as decided" in page(physician, case)


def test_support_is_asked_for_and_what_the_worker_said_is_kept_once(case: str, signed_in: SignIn):
    client = signed_in(Role.OCCUPATIONAL_NURSE)
    assert "Offer support" in client.get(reverse("desk:case", args=[case])).text
    assert "Asked after news that weighs." in page(client, case)
    url = reverse("support:offered", args=[case])
    form = {"moment": "offer_of_support_after_news", "answer": "declined"}
    for _ in range(2):
        assert client.post(url, form).status_code == 302
    said = [e for e in get_store().entries(case) if e.kind is Kind.COUNSELLED]
    assert [e.body["answer"] for e in said] == ["declined"]
    text = page(client, case)
    assert "after news that weighs: offered and declined" in text
    assert "Asked after" not in text
    assert "Offer support" not in client.get(reverse("desk:case", args=[case])).text
    for bad in ({**form, "answer": "perhaps"}, {**form, "moment": "lunch"}):
        assert client.post(url, bad).status_code == 404


def test_earlier_doses_of_a_vaccine_begun_before_are_asked_for_and_dates_follow(signed_in: SignIn):
    """Two doses before and one now: the titre follows. One: the third eight weeks after this one."""
    unfinished = {f: v for f, v in FACTS.items() if f != "worker_hbv_response"}
    case = actions.report(
        get_store(), facts=unfinished | {"worker_hbv_series": "incomplete"}, occurred_at=NIGHT,
        occurred_at_precision="minute", vocabulary=VOCABULARY, now=NIGHT,
        identities=get_identities(), worker=WorkerIdentity(name="Zoë Sampleworth"),
    ).case  # fmt: skip
    actions.give_dose(get_store(), case, "hbv_vaccine_dose", product="Vaccine", now=NIGHT, **NURSE)
    client = signed_in(Role.OCCUPATIONAL_NURSE)
    address = reverse("visits:earlier_doses", args=[case])
    text = page(client, case)
    assert "No earlier dose is on record" in text

    bad = client.post(address, {"position": position(text), "doses": "spring 2024"})
    assert bad.status_code == 422
    assert "A date is written 2019-03-14" in bad.text
    assert 'value="spring 2024"' in bad.text
    ahead = client.post(address, {"position": position(text), "doses": "2031-01"})
    assert "a dose of 2031-01 is still to come" in ahead.text

    typed = {"position": position(text), "doses": "2024-05, 2024-07-01"}
    assert client.post(address, typed).status_code == 302
    after = page(client, case)
    assert "May 2024; Mon 1 Jul 2024" in after
    assert "last dose" not in after.split("Record an attempt")[0]
    entry = get_store().entries(case)[-1]
    assert [dose["when"] for dose in entry.body["doses"]] == ["2024-05", "2024-07-01"]


def test_a_series_that_starts_with_the_exposure_asks_for_no_earlier_dose(
    case: str, signed_in: SignIn
):
    assert "before this exposure" not in page(signed_in(Role.OCCUPATIONAL_NURSE), case)


def test_an_hour_is_agreed_shown_kept_and_given_up(case: str, signed_in: SignIn):
    client = signed_in(Role.OCCUPATIONAL_NURSE)
    address = reverse("visits:agree", args=[case])
    field = "hour-follow_up_hcv_rna"

    def post(hour: str):
        return client.post(address, {"position": position(page(client, case)), field: hour})

    def agreed() -> dict[str, object]:
        visits = get_store().entries(case)[-1].body["visits"]
        return next(v for v in visits if v["day"] == RNA.isoformat())

    assert post("09:30").status_code == 302
    assert agreed()["at"] == "09:30"
    text = page(client, case)
    assert "Tue 24 Mar 2026, 09:30" in text
    assert f'name="{field}" value="09:30"' in text
    assert "Tue 24 Mar 2026, 09:30: " in client.get(reverse("history:history", args=[case])).text
    feed = client.get(reverse("calendars:download", args=[case])).text
    assert "DTSTART;TZID=Europe/Zurich:20260324T093000" in feed
    assert "SEQUENCE:0" in feed

    assert post("").status_code == 302
    assert "at" not in agreed()
    feed = client.get(reverse("calendars:download", args=[case])).text
    assert "DTSTART;VALUE=DATE:20260324" in feed
    assert "SEQUENCE:1" in feed


def test_the_recall_list_tells_the_hour():
    ahead = Recalled("ahead", RNA, ("Draw HCV RNA",), at="09:30")
    assert in_words(ahead, RNA - timedelta(days=3)) == "expected on Tue 24 Mar 2026 at 09:30"
    assert in_words(ahead, RNA) == "expected today at 09:30"
    assert in_words(replace(ahead, at=""), RNA) == "expected today"


@pytest.mark.parametrize(
    ("hour", "words"),
    [
        ("half past nine", "is no hour. Write it like 09:30"),
        ("07:59", "Tue 24 Mar 2026 at 07:59 cannot be: the clinic is open from"),
        ("20:00", "cannot be: the clinic is open from"),
    ],
)
def test_an_hour_at_which_nobody_is_there_is_refused_and_what_was_typed_stays(
    case: str, signed_in: SignIn, hour: str, words: str
):
    client = signed_in(Role.OCCUPATIONAL_NURSE)
    before = get_store().entries(case)
    typed = {"position": position(page(client, case)), "hour-follow_up_hcv_rna": hour}
    refused = client.post(reverse("visits:agree", args=[case]), {**typed, "text": "after work"})
    assert refused.status_code == 422
    assert 'value="after work"' in refused.text
    assert words in unescape(refused.text)
    assert f'value="{hour}"' in refused.text
    assert get_store().entries(case) == before
