"""A non-responder's counselling: asked for on the person's page, written down, and read in an open case."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date
from typing import Any

import pytest
from django.test import Client

from thimble.actions import people as acts
from thimble.people.entries import Kind
from thimble.web import clock
from thimble.web.context import get_people
from thimble.web.roles import Role
from web.test_immunity_on_record import case_of
from web.test_people import enrolled

pytestmark = pytest.mark.django_db

POINTS = ("The vaccine has not protected: hepatitis B can still be caught",)
FORM = {"on": "2026-03-02", "points": POINTS, "material": "leaflet, card for the emergency department",
        "who": "", "text": ""}  # fmt: skip


@pytest.fixture
def nurse(signed_in: Callable[[Role], Client]) -> Client:
    return signed_in(Role.OCCUPATIONAL_NURSE)


def non_responder(nurse: Client) -> str:
    person = enrolled(nurse, starts_on="2026-02-02")
    sample = dict.fromkeys(("identified", "drawn_here", "direct"), "yes")

    def dose(when: str) -> tuple[Kind, dict[str, Any]]:
        return Kind.DOSE_RECORDED, {"product": "43", "diseases": ["hepatitis_b"], "when": when,
                                    "lot": "", "where": ""}  # fmt: skip

    def result(test: str, when: str, word: str | None, number: float | None = None) -> Any:
        return Kind.RESULT_RECORDED, {
            "test": test, "word": word, "number": number, "comparator": "=",
            "unit": "" if number is None else "m[IU]/mL", "when": when, "laboratory": "",
            "as_written": "", "sample": sample,
        }  # fmt: skip

    acts.record_evidence(
        get_people(),
        person,
        [
            *(dose(day) for day in ("2024-01-08", "2024-02-12", "2024-08-12")),
            result("anti_hbs", "2024-09-23", None, 3),
            *(dose(day) for day in ("2024-10-07", "2024-11-11", "2025-05-12")),
            result("anti_hbs", "2025-06-23", None, 3),
            result("hbsag", "2025-06-23", "negative"),
            result("anti_hbc_total", "2025-06-23", "negative"),
        ],
        today=clock.now().date(),
        now=clock.now(),
        by="u-nurse",
        role="occupational_nurse",
    )
    return person


def test_it_is_asked_for_with_what_to_say_until_it_is_written_down(nurse: Client) -> None:
    person = non_responder(nurse)
    page = nurse.get(f"/people/{person}/").content.decode()

    assert "Hepatitis B: Non-responder" in page
    assert "two doses, the first as soon as possible" in page
    assert f'href="/people/{person}/add/counselled"' in page
    assert "Brindle" in nurse.get("/rechecks/?topic=non_responder").content.decode()

    answer = nurse.post(f"/people/{person}/add/counselled", FORM)
    assert answer.status_code == 302, answer.content.decode()
    (talk,) = acts.person_of(get_people(), person, clock.now()).of(Kind.COUNSELLED)
    assert talk.body["points"] == list(POINTS)
    assert talk.body["on"] == "2026-03-02"
    page = nurse.get(f"/people/{person}/").content.decode()
    assert "<b>Next:</b> nothing more; counselled Mon 2 Mar 2026." in page
    assert "handed out: leaflet, card for the emergency department" in page
    assert "Told here, written down by" in page
    assert "What to say" not in page
    assert "Brindle" not in nurse.get("/rechecks/?topic=non_responder").content.decode()
    assert "Counselling written down" in nurse.get(f"/people/{person}/history").content.decode()


@pytest.mark.parametrize(
    ("wrong", "said"),
    [
        ({"points": ()}, "Tick what was said."),
        ({"points": ("something else",)}, "something else"),
        ({"material": ""}, "Say what was handed out, or “nothing”."),
        ({"on": "2099-01-01"}, "lies ahead"),
    ],
)
def test_a_form_with_a_fault_writes_nothing_and_keeps_what_was_typed(
    nurse: Client, wrong: dict[str, Any], said: str
) -> None:
    person = non_responder(nurse)
    answer = nurse.post(f"/people/{person}/add/counselled", {**FORM, "text": "came late", **wrong})

    assert answer.status_code == 422
    assert said in answer.content.decode()
    assert "came late" in answer.content.decode()
    assert acts.person_of(get_people(), person, clock.now()).of(Kind.COUNSELLED) == ()


def test_whoever_opens_the_case_at_night_reads_that_they_know(
    nurse: Client, signed_in: Callable[[Role], Client]
) -> None:
    nurse.post(f"/people/{non_responder(nurse)}/add/counselled", FORM)
    night = signed_in(Role.EMERGENCY_CLINICIAN)
    page = night.get(f"/case/{case_of()}/on-record/").content.decode()

    assert "Counselled as a non-responder" in page
    assert "handed out: leaflet, card for the emergency department" in page
    assert "Written down by whoever was there" in page


def test_a_talk_is_taken_back_with_a_reason_and_asked_for_again(nurse: Client) -> None:
    person = non_responder(nurse)
    nurse.post(f"/people/{person}/add/counselled", FORM)
    (talk,) = acts.person_of(get_people(), person, clock.now()).of(Kind.COUNSELLED)
    nurse.post(f"/people/{person}/withdraw/{talk.entry}", {"reason": "another person's"})

    assert "What to say" in nurse.get(f"/people/{person}/").content.decode()
    assert date.fromisoformat(talk.body["on"]) == date(2026, 3, 2)
