"""The page of a course: every form writes its entry, keeps what was typed, and says what is due."""

from __future__ import annotations

from collections.abc import Callable
from datetime import timedelta
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from thimble import actions
from thimble.clinical.vocabulary import VOCABULARY
from thimble.ledger.entries import Kind
from thimble.ledger.plan import TO_DO
from thimble.ledger.stock.movements import Move
from thimble.ledger.stock.shelf import fold as shelf_of
from thimble.web.context import get_stock, get_store
from thimble.web.desk.handling import read
from thimble.web.roles import Role

from .conftest import NIGHT
from .test_stock import _shelves, new_case, put  # noqa: F401 (a fixture)

pytestmark = pytest.mark.django_db
SignIn = Callable[[Role], Client]
BEGAN = NIGHT - timedelta(days=3)
WHO = {"by": "u-1", "role": "emergency_clinician"}


@pytest.fixture
def case() -> str:
    ref = new_case(at=BEGAN)
    actions.give_dose(
        get_store(), ref, "hiv_pep_first_dose", product="Pack: bictegravir/FTC/TAF", batch="A1",
        days=5, now=BEGAN, **WHO,
    )  # fmt: skip
    return ref


def page(client: Client, case: str, **query: str) -> str:
    return client.get(reverse("course:course", args=[case]), query).content.decode()


def post(client: Client, case: str, do: str, **typed: str) -> Any:
    position = len(get_store().entries(case))
    given = {"do": do, "position": position, "when": "now", **typed}
    return client.post(reverse("course:course", args=[case]), given)


def to_do(case: str) -> set[str]:
    return {a.id for a in read(case).plan.actions if a.state in TO_DO}


REVIEW = {
    "adherence": "all_taken", "baseline_bloods": "normal", "source_result": "awaited",
    "decision": "go_on", "text": "well",
}  # fmt: skip


@pytest.mark.parametrize(
    ("do", "typed", "kind", "said"),
    [
        ("review", REVIEW, Kind.COURSE_REVIEWED, {"decision": "go_on", "action": "review_72h"}),
        ("hand_out", {"product": "Rest", "days": "23", "batch": "r1"}, Kind.TABLETS_HANDED_OUT,
         {"product": "Rest", "days": 23, "batch": "r1"}),
        ("missed", {"count": "2", "last_day": "2026-03-02", "last_clock": "08:00"},
         Kind.DOSES_MISSED, {"count": 2, "taken_again": None}),
        ("side_effect", {"words": "sick", "severity": "mild"}, Kind.SIDE_EFFECT, {"words": "sick"}),
        ("change", {"product": "Other", "why": "rash"}, Kind.COURSE_CHANGED, {"reason": "rash"}),
        ("ask", {"of": "HIV physician", "about": "hiv_expert_advice"}, Kind.ADVICE_SOUGHT,
         {"from": "HIV physician", "advice": "", "action": "hiv_expert_advice"}),
        ("stop", {"reason": "worker_wish"}, Kind.COURSE_STOPPED, {"reason": "worker_wish"}),
    ],
)  # fmt: skip
def test_each_form_writes_its_entry_once(
    nurse: Client, case: str, do: str, typed: dict[str, str], kind: Kind, said: dict[str, Any]
):
    position = str(len(get_store().entries(case)))
    first = post(nurse, case, do, **typed, position=position)
    again = post(nurse, case, do, **typed, position=position)

    assert (first.status_code, again.status_code) == (302, 302)
    entries = get_store().entries(case)
    assert [e.kind for e in entries[2:]] == [kind]
    assert said.items() <= entries[-1].body.items()


@pytest.mark.parametrize(
    ("do", "typed", "said"),
    [
        ("review", {**REVIEW, "decision": ""}, "Say what is decided."),
        ("hand_out", {"product": "Rest"}, "Enter for how many days"),
        ("hand_out", {"product": "Rest", "days": "many"}, "in digits, for example 23"),
        ("hand_out", {"days": "3"}, "Choose the lot it came from"),
        ("missed", {"count": "0"}, "how many doses were missed, in digits"),
        ("missed", {"count": "1", "last_day": "2026-03-02"}, "Enter the time"),
        (
            "missed",
            {"count": "1", "last_day": "2026-03-02", "last_clock": "08:00",
             "again_day": "2026-03-02", "again_clock": "08:00"},
            "lies after the last one before it",
        ),
        ("side_effect", {"words": "", "severity": "mild"}, "what is felt"),
        ("side_effect", {"words": "sick"}, "how bad it is"),
        ("change", {"product": "Other"}, "Say why the medicine is changed"),
        ("ask", {}, "Say whom you asked"),
        ("stop", {"reason": "other", "text": ""}, "Say why the course ended"),
        ("stop", {"reason": "complete", "when": "then", "day": "2026-02-27", "clock": "08:00"},
         "lies before the first dose"),
        ("dance", {}, "This page was not complete"),
    ],
)  # fmt: skip
def test_what_is_missing_is_said_and_nothing_typed_is_lost(
    nurse: Client, case: str, do: str, typed: dict[str, str], said: str
):
    answer = post(nurse, case, do, **{"text": "kept words", **typed})

    text = answer.content.decode()
    assert answer.status_code == 422
    assert said in text
    assert len(get_store().entries(case)) == 2
    for value in (v for k, v in typed.items() if k in ("product", "words", "last_day") and v):
        assert f'value="{value}"' in text


def test_tablets_from_a_shelf_leave_it_with_the_record(nurse: Client, case: str):
    put(quantity=2, lot="R1")
    assert "Lot R1, until the end of 01/2027, 2 there" in page(nurse, case)
    assert post(nurse, case, "hand_out", **{"from": "desk:starter:R1"}).status_code == 302
    assert "Tablets for today and 6 more days" in page(nurse, case)

    assert get_store().entries(case)[-1].body["days"] == 5
    assert shelf_of(get_stock().movements()).piles["desk", "starter", "R1"].there == 1


def test_tablets_handed_out_are_traced_like_doses(nurse: Client, case: str):
    post(nurse, case, "hand_out", product="Rest", days="23", batch=" r 9")

    found = nurse.get(reverse("stock:lot"), {"product": "starter", "lot": "R 9"}).content.decode()
    assert f">{case}</a>: Rest" in found


def test_a_recalled_lot_is_refused_and_recorded_if_it_was_handed_out(nurse: Client, case: str):
    put(quantity=2, lot="R1")
    put(Move.RECALLED, place="", lot="R1", quantity=0, reason="glass")
    chosen = {"from": "desk:starter:R1"}
    refused = post(nurse, case, "hand_out", **chosen)
    assert refused.status_code == 422
    assert "Lot R1 was recalled: glass" in refused.content.decode()
    assert "It was handed out all the same" in refused.content.decode()
    assert post(nurse, case, "hand_out", **chosen, anyway="1").status_code == 302


def test_the_page_says_what_is_left_missed_due_and_to_be_checked(nurse: Client, case: str):
    post(nurse, case, "side_effect", words="a rash", severity="moderate", done="antihistamine")
    post(nurse, case, "missed", count="1")
    text = page(nurse, case)

    for said in (
        "Day 4 of 28", "Tablets for today and 1 more day", "5 days: covers",
        "1 dose missed", "“a rash”", "antihistamine",
        "Ask an HIV expert about the side effect", "Hand out the next tablets",
        "within 18 hours of its usual time", "rule not yet confirmed against its source",
    ):  # fmt: skip
        assert said in text


def test_a_new_medicine_shows_on_the_page_as_a_difference_since_the_review(
    nurse: Client, case: str
):
    actions.learn_facts(
        get_store(), case, {"worker_medicines": frozenset()}, said_by="worker",
        vocabulary=VOCABULARY, now=NIGHT, **WHO,
    )  # fmt: skip
    post(nurse, case, "review", **REVIEW)
    assert "Metformin" not in page(nurse, case)
    actions.learn_facts(
        get_store(), case, {"worker_medicines": frozenset({"metformin"})}, said_by="worker",
        vocabulary=VOCABULARY, now=NIGHT, **WHO,
    )  # fmt: skip
    text = page(nurse, case)

    different, _, checks = text.partition('id="checks-title"')
    assert "Caution: Metformin" in different
    assert "Metformin: with dolutegravir" in checks


def test_a_course_that_was_stopped_is_taken_up_again_with_its_reason(nurse: Client, case: str):
    assert "taken up again" not in page(nurse, case)
    early = post(nurse, case, "resume", why="x", end="moved", in_hand="2")
    assert early.status_code == 422
    assert "there is nothing to take up again" in early.content.decode()
    post(nurse, case, "stop", reason="worker_wish")

    for typed, said in (
        ({"end": "moved"}, "Say why the course is taken up again"),
        ({"why": "thought again"}, "Choose where the course is to end"),
        ({"why": "thought again", "end": "moved", "in_hand": "some"}, "in digits, 0 for none"),
    ):
        answer = post(nurse, case, "resume", **typed)
        assert answer.status_code == 422
        assert said in answer.content.decode()
        assert "why" not in typed or 'value="thought again"' in answer.content.decode()
    typed = {"why": "thought again", "end": "not_decided", "in_hand": "1"}
    assert post(nurse, case, "resume", **typed).status_code == 302

    entry = get_store().entries(case)[-1]
    assert entry.kind is Kind.COURSE_RESUMED
    assert entry.body == {
        "reason": "thought again", "advised_by": "", "in_hand": 1, "end": "not_decided",
    }  # fmt: skip
    text = page(nurse, case)
    assert {"pep_resumed_advice", "pep_resumed_review", "pep_next_supply"} <= to_do(case)
    assert "taken up again: thought again" in text
    assert "No guideline on that could be read" in text
    assert "Today&#x27;s tablets are the last" in text
    post(nurse, case, "review", **REVIEW)
    assert "pep_resumed_review" not in to_do(case)


def test_an_answer_is_put_to_its_question(nurse: Client, case: str):
    post(nurse, case, "ask", of="HIV physician", about="another")
    assert "Get the answer of HIV physician" in page(nurse, case)
    asked = get_store().entries(case)[-1].position
    assert post(nurse, case, "answer", asked=str(asked), advice="go on").status_code == 302
    text = page(nurse, case)

    assert "Get the answer" not in text
    assert "HIV physician: go on" in text


def test_asking_an_expert_says_which_open_question_it_answers(nurse: Client, case: str):
    post(nurse, case, "missed", count="1")
    post(nurse, case, "side_effect", words="rash", severity="moderate")
    assert {"pep_missed_advice", "pep_side_effect_advice"} <= to_do(case)
    answer = {"of": "HIV physician", "advice": "go on"}

    unsaid = post(nurse, case, "ask", **answer)
    assert unsaid.status_code == 422
    assert "Choose what they were asked about" in unsaid.content.decode()
    assert "go on</textarea>" in unsaid.content.decode()
    assert post(nurse, case, "ask", **answer, about="review_72h").status_code == 422
    assert post(nurse, case, "ask", **answer, about="another").status_code == 302
    assert {"pep_missed_advice", "pep_side_effect_advice"} <= to_do(case)

    assert post(nurse, case, "ask", **answer, about="pep_missed_advice").status_code == 302
    assert "pep_missed_advice" not in to_do(case)
    assert "pep_side_effect_advice" in to_do(case)


def test_a_question_to_the_expert_opens_its_form_with_what_it_is_about(nurse: Client, case: str):
    post(nurse, case, "missed", count="1")
    link = "?do=ask&amp;about=pep_missed_advice#ask"
    assert f'href="{link}"' in page(nurse, case)
    here = reverse("course:course", args=[case])
    text = nurse.get(f"{here}?do=ask&about=pep_missed_advice").content.decode()

    assert 'id="ask" open' in text
    assert 'name="about" value="pep_missed_advice" checked' in text


def test_an_awaited_answer_is_no_longer_a_question_to_ask(nurse: Client, case: str):
    post(nurse, case, "missed", count="1")
    post(nurse, case, "ask", of="HIV physician", about="pep_missed_advice")
    asked = get_store().entries(case)[-1].position

    assert 'value="pep_missed_advice"' not in page(nurse, case)
    assert f"expert_answer_{asked}" in to_do(case)
    post(nurse, case, "answer", asked=str(asked), advice="go on")
    assert not {f"expert_answer_{asked}", "pep_missed_advice"} & to_do(case)


def test_the_desk_leads_to_the_page_for_what_only_it_can_record(nurse: Client, case: str):
    desk = nurse.get(reverse("desk:case", args=[case])).content.decode()
    answer = nurse.post(
        reverse("desk:done", args=[case]),
        {"action": "pep_next_supply", "position": "2", "when": "now"},
    )

    assert reverse("course:course", args=[case]) + "?do=hand_out#hand_out" in desk
    assert answer.status_code == 422
    assert len(get_store().entries(case)) == 2


def test_a_case_without_a_first_dose_has_only_advice_to_record(nurse: Client):
    ref = new_case()

    text = page(nurse, ref)
    assert "No first dose is on record" in text
    assert 'id="ask"' in text
    assert 'id="stop"' not in text
    assert post(nurse, ref, "stop", reason="complete").status_code == 422


@pytest.mark.parametrize("role", [Role.SAFETY_OFFICER, Role.ADMINISTRATOR])
def test_who_sees_no_case_sees_no_course(signed_in: SignIn, case: str, role: Role):
    client = signed_in(role)

    assert client.get(reverse("course:course", args=[case])).status_code == 403
    assert post(client, case, "stop", reason="complete").status_code == 403
    assert len(get_store().entries(case)) == 2


def test_somebody_else_came_first_and_nothing_typed_is_lost(nurse: Client, case: str):
    actions.note(get_store(), case, "in between", now=NIGHT, **WHO)
    answer = post(nurse, case, "side_effect", words="sick", severity="mild", position="2")

    assert answer.status_code == 409
    assert "sick" in answer.content.decode()
    assert get_store().entries(case)[-1].kind is Kind.NOTED
