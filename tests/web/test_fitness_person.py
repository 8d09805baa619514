"""Fitness beyond one case: on a person's own file, and from one case of a worker to the next."""

from __future__ import annotations

import re
from collections.abc import Callable
from datetime import UTC, date, datetime, timedelta
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from thimble import actions
from thimble.actions import Refused
from thimble.actions import people as acts
from thimble.actions.identity import WorkerIdentity
from thimble.clinical.vocabulary import VOCABULARY
from thimble.ledger.entries import Kind as CaseKind
from thimble.people.entries import Kind
from thimble.people.identity import PersonIdentity
from thimble.web import clock, context
from thimble.web.context import get_identities, get_people, get_people_identities, get_store
from thimble.web.fitness.joined import of_case, of_person
from thimble.web.fitness.monitoring import REVIEW, monitored
from thimble.web.roles import Role

from .conftest import NIGHT, SITE

pytestmark = pytest.mark.django_db
SignIn = Callable[[Role], Client]
PHYSICIAN, NURSE = Role.OCCUPATIONAL_PHYSICIAN, Role.OCCUPATIONAL_NURSE
WHO = {"by": "u-9", "role": "occupational_physician"}
TODAY = date(2026, 3, 3)
EARLIER = NIGHT - timedelta(hours=2)
"""Before what a test does by itself: the clock of the pages stands at NIGHT."""
HIV = {
    "rule_set": "uk_2023", "occasion": "clearance", "exposure_prone": "yes", "hbsag": "negative",
    "hbv_immunity": "immune", "anti_hcv": "negative", "hiv": "positive", "hiv_treatment": "on",
    "hiv_load_reported": "number", "hiv_load": "40", "hiv_clearance_so_far": "held",
    "hiv_load_is": "routine", "hiv_sample": "2025-06-02",
}  # fmt: skip
DECISION = {"do": "decide", "outcome": "fit_with_restriction", "review_on": "2099-09-01",
            "restriction": "no_exposure_prone_for_now", "reason": "load rose", "position": "1"}  # fmt: skip
ENROLLED = {
    "works_as": "staff", "role": "surgeon", "site": "", "department": "", "cohort": "",
    "starts_on": None, "ends_on": None, "exposure_prone": "yes", "categories": {"uk": "3"},
}  # fmt: skip
FILE_NUMBER = "S-4711"


def enrol(number: str = FILE_NUMBER, family: str = "Aalders") -> str:
    return acts.enrol(
        get_people(), get_people_identities(),
        PersonIdentity(number=number, family_name=family, given_name="Benedikt"), ENROLLED,
        now=EARLIER, **WHO,
    )  # fmt: skip


def report(number: str = FILE_NUMBER, name: str = "Benedikt Aalders") -> str:
    case = actions.report(
        get_store(), facts={"route": "percutaneous", "fluid": "blood"}, occurred_at=EARLIER,
        occurred_at_precision="minute", vocabulary=VOCABULARY, now=EARLIER,
    ).case  # fmt: skip
    get_identities().save_worker(
        case, WorkerIdentity(name=name, staff_number=number), by="u-x", now=EARLIER
    )
    return case


def decide(
    case: str,
    outcome: str = "not_fit",
    *,
    at: datetime = EARLIER + timedelta(minutes=1),
    **more: object,
) -> None:
    actions.decide_fitness(
        get_store(), case, actions.FitnessVerdict(outcome, "none", date(2026, 9, 1), "said so"), facts={
            "rule_set": "uk_2023", "occasion": "clearance"}, days={}, today=TODAY,
        now=at, **WHO, **more,
    )  # fmt: skip


def url(name: str, person: str) -> str:
    return reverse(f"fitness:{name}", args=[person])


@pytest.mark.parametrize("role", Role)
def test_the_physician_alone_opens_monitoring_and_sees_what_it_rests_on(
    role: Role, signed_in: SignIn
) -> None:
    person = enrol()
    allowed = role is PHYSICIAN
    client = signed_in(role)
    assert client.get(url("person", person)).status_code == (200 if allowed else 403)
    posted = client.post(url("person", person), HIV | DECISION)
    assert posted.status_code == (302 if allowed else 403)
    letter = client.get(url("person_letter", person))
    assert letter.status_code == (200 if allowed else 403)
    decided = [e for e in get_people().entries(person) if e.kind is Kind.FITNESS_DECIDED]
    assert bool(decided) is allowed
    if allowed:
        assert decided[0].body["fitness_facts"]["hiv_load"] == 40.0
        assert decided[0].body["days"] == {"hiv_sample": "2025-06-02"}


def test_the_file_tells_a_nurse_the_restriction_and_its_review_and_no_diagnosis(
    signed_in: SignIn,
) -> None:
    person = enrol()
    assert signed_in(PHYSICIAN).post(url("person", person), HIV | DECISION).status_code == 302
    nurse = signed_in(NURSE)
    page = nurse.get(reverse("people:person", args=[person])).text
    history = nurse.get(reverse("people:history", args=[person])).text

    for text in (page, history):
        assert "no exposure-prone procedures until further notice" in text
        assert "Tue 1 Sep 2099" in text
        assert "load rose" not in text
        assert not re.search(r"\bHIV\b|uk_2023|hiv_load|2025-06-02", text)
    assert url("person", person) not in page


def test_the_page_says_what_is_due_by_the_table_of_the_rule_set(signed_in: SignIn) -> None:
    """Sample of Mon 2 Jun 2025, every 12 weeks, two weeks before and after (tables of fitness)."""
    person = enrol()
    client = signed_in(PHYSICIAN)
    opened = client.get(url("person", person)).text
    assert '<option value="yes" selected>' in opened  # exposure-prone, from the file
    page = client.post(url("person", person), HIV | {"do": "look"}).text
    assert "due Mon 25 Aug 2025; in time from Mon 11 Aug 2025 to Mon 8 Sep 2025" in page
    assert "overdue" in page
    assert len(get_people().entries(person)) == 1
    client.post(url("person", person), HIV | DECISION)

    now = NIGHT + timedelta(days=1)
    test, review = sorted(monitored(now), key=lambda one: one.due)
    assert (test.person, test.due, test.opens, test.closes) == (
        person, date(2025, 8, 25), date(2025, 8, 11), date(2025, 9, 8),
    )  # fmt: skip
    assert [test.overdue(day) for day in (date(2025, 9, 8), date(2025, 9, 9))] == [False, True]
    assert (review.what, review.due) == (REVIEW, date(2099, 9, 1))
    assert "Aalders" in client.get(reverse("fitness:reviews")).text
    reopened = client.get(url("person", person)).text
    assert "Next test by it, HIV: due Mon 25 Aug 2025" in reopened
    assert "What is the latest HIV load? 40 copies/mL" in reopened
    assert "Last sample for HIV monitoring: Mon 2 Jun 2025" in reopened
    acts.leave(get_people(), person, date(2026, 3, 4), now=now, **WHO)
    assert len(monitored(now)) == 2
    assert monitored(now + timedelta(days=2)) == ()


def test_who_is_monitored_is_listed_for_the_physician_alone_and_in_no_file(
    signed_in: SignIn,
) -> None:
    person = enrol()
    physician = signed_in(PHYSICIAN)
    physician.post(url("person", person), HIV | DECISION)
    line = "Monitoring of fitness, next test: HIV"

    assert line in physician.get(reverse("rechecks:listed") + "?topic=monitored").text
    exported = physician.get(reverse("rechecks:export_csv"))
    assert exported.status_code == 200
    assert "Monitoring" not in exported.content.decode()
    nurse = signed_in(NURSE).get(reverse("rechecks:listed"))
    assert nurse.status_code == 200
    assert "Monitor" not in nurse.text


def test_a_new_case_of_the_same_worker_finds_the_restriction_and_lifts_it_for_a_reason_alone(
    signed_in: SignIn,
) -> None:
    person, first, second = enrol(), report(), report()
    decide(first)
    client = signed_in(PHYSICIAN)
    exposed = {"rule_set": "uk_2023", "occasion": "after_exposure", "exposure_prone": "yes",
               "exposed_to_hiv": "no", "exposed_to_hbv": "no", "exposed_to_hcv": "no"}  # fmt: skip
    page = client.post(reverse("fitness:fitness", args=[second]), exposed | {"do": "look"}).text

    assert "In force from before: <b>Not fit</b>" in page
    assert f"in case {first}" in page
    fit = {
        "do": "decide",
        "outcome": "fit",
        "restriction": "none",
        "review_on": "",
        "position": "1",
    }
    refused = client.post(reverse("fitness:fitness", args=[second]), exposed | fit)
    assert refused.status_code == 422
    assert "lifts no restriction" in refused.text
    done = client.post(
        reverse("fitness:fitness", args=[second]), exposed | fit | {"reason": "seen anew"}
    )
    assert done.status_code == 302
    joined = of_person(person, NIGHT + timedelta(days=1))
    assert [d.of for d in joined.decisions] == [first, second]
    assert joined.holds is not None
    assert joined.holds.outcome == "fit"


def test_a_decision_on_the_file_takes_the_place_of_one_in_a_case_and_its_address(
    signed_in: SignIn,
) -> None:
    person, case = enrol(), report()
    decide(case)
    client = signed_in(PHYSICIAN)
    made = client.post(reverse("fitness:make_link", args=[case]), {"shown": "none"})
    address = re.search(r'id="address" value="[^"]*?(/fitness/for-the-manager/[^"]+)"', made.text)
    assert address is not None
    assert "Not fit" in Client().get(address[1]).text
    client.post(url("person", person), HIV | DECISION)

    assert Client().get(address[1]).status_code == 404
    assert {one.decision.of for one in monitored(NIGHT + timedelta(days=1))} == {person}
    assert "on the worker&#x27;s file" in client.get(reverse("fitness:fitness", args=[case])).text


@pytest.mark.parametrize(
    ("number", "name"), [("S-9", "Benedikt Aalders"), (FILE_NUMBER, "Somebody Else"), ("", "")]
)
def test_another_number_or_name_joins_nothing(number: str, name: str) -> None:
    person, case = enrol(), report(number, name)
    decide(case)
    later = NIGHT + timedelta(days=1)

    assert of_person(person, later).holds is None
    assert of_case(case, later).person == ""
    assert [one.person for one in monitored(later)] == [""]


def test_what_does_not_fit_is_refused_whole_and_typed_words_stay(signed_in: SignIn) -> None:
    person = enrol()
    client = signed_in(PHYSICIAN)
    for changes, said in (
        ({"outcome": ""}, "Say what you decide"),
        ({"review_on": "soon"}, "Give the day of review"),
        ({"review_on": "2020-01-01"}, "day of review lies after"),
        ({"hiv_load": "many"}, "Give a number in"),
        ({"position": "0"}, "Somebody else wrote in this file meanwhile"),
    ):
        answer = client.post(url("person", person), HIV | DECISION | changes)
        assert answer.status_code == 422, changes
        assert said in answer.text
        assert "load rose" in answer.text
    assert len(get_people().entries(person)) == 1
    assert client.get(url("person", "P-K7QM-2F49")).status_code == 404


def test_deciding_of_nobody_is_refused() -> None:
    with pytest.raises(Refused):
        actions.decide_fitness_of_person(
            get_people(), "P-K7QM-2F49", actions.FitnessVerdict("fit", "none", None, "x"),
            facts={"rule_set": "uk_2023"}, days={}, today=TODAY, now=NIGHT, **WHO,
        )  # fmt: skip


def test_the_kinds_of_both_ledgers_are_called_the_same() -> None:
    assert Kind.FITNESS_DECIDED.value == CaseKind.FITNESS_DECIDED.value


@pytest.mark.parametrize(
    ("zone", "now"),
    [
        ("America/New_York", datetime(2026, 11, 28, 1, tzinfo=UTC)),
        ("Europe/Zurich", datetime(2026, 11, 27, 19, tzinfo=UTC)),
        ("Pacific/Auckland", datetime(2026, 11, 27, 7, tzinfo=UTC)),
        ("Pacific/Auckland", datetime(2026, 11, 26, 20, tzinfo=UTC)),
    ],
)
def test_a_decision_carries_the_site_s_day(
    signed_in: SignIn, settings: Any, zone: str, now: datetime
) -> None:
    """On Friday 27 November: at 20:00 west and east of Greenwich, and on a morning in the east."""
    there = SITE.replace("Europe/Zurich", zone)
    (settings.DATA / "site.toml").write_text(there, encoding="utf-8")
    context.forget()
    with clock.standing_at(now):
        person, case = enrol(), report("", "Somebody Else")
        physician = signed_in(PHYSICIAN)
        of_them = reverse("fitness:person", args=[person])
        answer = physician.post(of_them, {**HIV, **DECISION, "review_on": "2026-11-27"})
        assert "after 2026-11-27" in answer.content.decode()
        answer = physician.post(of_them, {**HIV, **DECISION, "review_on": "2026-11-28"})
        assert answer.status_code == 302
        decide(case, at=now)

        page = physician.get(of_them).content.decode()
        pages = [page, physician.get(reverse("fitness:fitness", args=[case])).content.decode()]
        for each in pages:
            assert "Fri 27 Nov 2026" in each
            assert "Thu 26 Nov 2026" not in each
        assert "Sat 28 Nov 2026" in page  # the review alone
        assert page.count("Sat 28 Nov 2026") == page.count("eview Sat 28") + page.count("on Sat 28")
        assert "Review was due" not in physician.get(f"/people/{person}/").content.decode()
