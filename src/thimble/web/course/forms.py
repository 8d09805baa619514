"""The forms of the page of a course: each read into the one action that it records."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.http import HttpRequest, QueryDict

from thimble import actions
from thimble.ledger.bodies import (
    ADHERENCE,
    BASELINE_BLOODS,
    RESUMED_END,
    REVIEW_DECISIONS,
    SEVERITIES,
    SOURCE_RESULT,
    STOP_REASONS,
)
from thimble.ledger.entries import Entry, Kind
from thimble.ledger.plan import TO_DO
from thimble.ledger.prophylaxis.record import STOP
from thimble.web.context import get_site, get_store
from thimble.web.course.places import RESUMED_REVIEW, REVIEW, open_questions
from thimble.web.desk.handling import moment_of_form, who
from thimble.web.desk.questions import BadAnswer, read_moment
from thimble.web.desk.reading import Reading
from thimble.web.stock.giving import Given, giving, taken_in

Doing = tuple[Callable[[], object], Callable[[Entry], bool]]
"""What a form does, and how an entry is known that says the same already."""

CHOICES = {
    "adherence": ADHERENCE,
    "baseline_bloods": BASELINE_BLOODS,
    "source_result": SOURCE_RESULT,
    "decision": REVIEW_DECISIONS,
    "severity": SEVERITIES,
    "reason": STOP_REASONS,
    "end": RESUMED_END,
}
ANOTHER = "another"
"""What an expert was asked about when it is nothing that the plan asks for."""
FORMS = ("review", "hand_out", "missed", "side_effect", "change", "ask", "answer", "stop", "resume")


@dataclass(frozen=True, slots=True)
class Posted:
    """A form as it came, with the case that it is about."""

    request: HttpRequest
    reading: Reading
    position: int
    now: datetime

    @property
    def post(self) -> QueryDict:
        """What was typed."""
        return self.request.POST

    def text(self, name: str) -> str:
        """A field without spaces around it."""
        return self.post.get(name, "").strip()[:2000]

    def said(self, name: str, sentence: str) -> str:
        """A field that must say something.

        Raises:
            BadAnswer: `sentence`.
        """
        if not self.text(name):
            raise BadAnswer(sentence)
        return self.text(name)

    def chosen(self, name: str, sentence: str) -> str:
        """One of a field's choices.

        Raises:
            BadAnswer: `sentence`.
        """
        if self.text(name) not in CHOICES[name]:
            raise BadAnswer(sentence)
        return self.text(name)

    def whole(self, name: str, sentence: str, most: int) -> int:
        """A whole number from 1 to `most`.

        Raises:
            BadAnswer: `sentence`.
        """
        typed = self.text(name)
        if not (typed.isascii() and typed.isdigit() and len(typed) < 5 and 1 <= int(typed) <= most):
            raise BadAnswer(sentence)
        return int(typed)

    def moment(self, name: str) -> datetime | None:
        """A day and time that may be left empty, both.

        Raises:
            BadAnswer: only one of them, or what cannot be.
        """
        day, clock = self.text(f"{name}_day"), self.text(f"{name}_clock")
        if not day and not clock:
            return None
        return read_moment(day, clock, get_site().zone, self.now)

    def common(self, *, timed: bool = True) -> dict[str, Any]:
        """What every action takes; `timed` ones also when it was so."""
        given: dict[str, Any] = {
            "now": self.now, "expected_position": self.position, **who(self.request),
        }  # fmt: skip
        if timed:
            given["happened_at"] = moment_of_form(self.request, self.now)
        return given

    def open_action(self, id_: str) -> str | None:
        """An action of the plan that this form does, if it is still to do."""
        ids = {a.id for a in self.reading.plan.actions if a.state in TO_DO}
        return id_ if id_ in ids else None


def doing(form: Posted, which: str) -> Doing:
    """The one call that a form makes.

    Raises:
        BadAnswer: what is missing or cannot be read, in a sentence.
    """
    forms: dict[str, Callable[[Posted], Doing]] = {
        "review": _review, "hand_out": _hand_out, "missed": _missed, "side_effect": _side_effect,
        "change": _change, "ask": _ask, "answer": _answer, "stop": _stop,
        "resume": _resume,
    }  # fmt: skip
    if which not in forms:
        raise BadAnswer("This page was not complete. Load it anew, then record it again.")
    return forms[which](form)


def _same(kind: Kind, **said: object) -> Callable[[Entry], bool]:
    return lambda e: e.kind is kind and all(e.body.get(k) == v for k, v in said.items())


def _review(form: Posted) -> Doing:
    said: dict[str, Any] = {
        "adherence": form.chosen("adherence", "Say how the doses were taken."),
        "baseline_bloods": form.chosen("baseline_bloods", "Say how the baseline blood is."),
        "source_result": form.chosen("source_result", "Say where the source's result stands."),
        "decision": form.chosen("decision", "Say what is decided."),
        "text": form.text("text"),
    }
    store, case, common = get_store(), form.reading.case, form.common()
    # After a resumption it is that review which is due, whatever became of the first one.
    action = form.open_action(RESUMED_REVIEW) or form.open_action(REVIEW)
    return (
        lambda: actions.review_course(store, case, action=action, **said, **common),
        _same(Kind.COURSE_REVIEWED, **said),
    )


def _hand_out(form: Posted) -> Doing:
    product, batch, days, taken = taken_in(form.post)
    if not product:
        raise BadAnswer(
            "Choose the lot it came from, or enter the product as it stands on the box."
        )
    if form.text("days"):
        days = form.whole("days", "Enter the days in digits, for example 23.", 366)
    if not days:
        raise BadAnswer("Enter for how many days tablets were handed out.")
    store, case, common = get_store(), form.reading.case, form.common()
    text = form.text("text")
    given = Given(product, "", batch, days, taken)
    return (
        giving(
            form.request, given, "",
            lambda: actions.hand_out(
                store, case, product=product, days=days, batch=batch, text=text, **common
            ),
        ),
        _same(Kind.TABLETS_HANDED_OUT, product=product, days=days, batch=batch),
    )  # fmt: skip


def _missed(form: Posted) -> Doing:
    count = form.whole("count", "Enter how many doses were missed, in digits.", 99)
    last, again, text = form.moment("last"), form.moment("again"), form.text("text")
    if last is not None and again is not None and again <= last:
        raise BadAnswer(
            "The dose after the gap lies after the last one before it: look at both times."
        )
    store, case, common = get_store(), form.reading.case, form.common(timed=False)
    return (
        lambda: actions.miss_doses(
            store, case, count=count, last_taken=last, taken_again=again, text=text, **common
        ),
        _same(Kind.DOSES_MISSED, count=count, text=text),
    )


def _side_effect(form: Posted) -> Doing:
    words = form.said("words", "Write down what is felt, in their own words.")
    severity = form.chosen("severity", "Say how bad it is.")
    done = form.text("done")
    store, case, common = get_store(), form.reading.case, form.common()
    return (
        lambda: actions.tell_side_effect(
            store, case, words=words, severity=severity, done=done, **common
        ),
        _same(Kind.SIDE_EFFECT, words=words, severity=severity),
    )


def _change(form: Posted) -> Doing:
    product = form.said("product", "Enter the new product as it stands on the box.")
    reason = form.said("why", "Say why the medicine is changed, and on whose advice.")
    store, case, common = get_store(), form.reading.case, form.common()
    return (
        lambda: actions.change_course(store, case, product=product, reason=reason, **common),
        _same(Kind.COURSE_CHANGED, product=product, reason=reason),
    )


def _ask(form: Posted) -> Doing:
    of = form.said("of", "Say whom you asked: a service or function, not a name.")
    advice = form.text("advice")
    questions, about = open_questions(form.reading.plan), form.text("about")
    # A double tap comes after its question was answered: its position, not this, says so.
    fresh = form.position == form.reading.position
    if fresh and questions and about not in (*questions, ANOTHER):
        raise BadAnswer("Choose what they were asked about, or “Something else”.")
    action = about if about in questions else None
    store, case, common = get_store(), form.reading.case, form.common()
    return (
        lambda: actions.seek_advice(store, case, of=of, advice=advice, action=action, **common),
        _same(Kind.ADVICE_SOUGHT, **{"from": of, "advice": advice}),
    )


def _answer(form: Posted) -> Doing:
    advice = form.said("advice", "Write down what the expert said.")
    asked = form.whole("asked", "This page was not complete. Load it anew.", 9999)
    sought = next((s for s in form.reading.situation.course.sought if s.entry == asked), None)
    of = sought.of if sought is not None else form.text("of")
    store, case, common = get_store(), form.reading.case, form.common()
    return (
        lambda: actions.receive_advice(store, case, asked=asked, of=of, advice=advice, **common),
        _same(Kind.ADVICE_GIVEN, asked=asked, advice=advice),
    )


def _stop(form: Posted) -> Doing:
    reason = form.chosen("reason", "Choose why the course ended.")
    text = form.text("text")
    if reason == "other" and not text:
        raise BadAnswer("Say why the course ended.")
    store, case, common = get_store(), form.reading.case, form.common()
    action = form.open_action(STOP)
    return (
        lambda: actions.stop_course(store, case, reason=reason, text=text, action=action, **common),
        _same(Kind.COURSE_STOPPED, reason=reason),
    )


def _resume(form: Posted) -> Doing:
    reason = form.said("why", "Say why the course is taken up again.")
    end = form.chosen("end", "Choose where the course is to end, or that it is not decided yet.")
    held = form.text("in_hand")
    if held and not (held.isascii() and held.isdigit() and len(held) < 4):
        raise BadAnswer(
            "Enter for how many days tablets are left in digits, 0 for none, or leave it empty."
        )
    in_hand, of = int(held) if held else None, form.text("of")
    store, case, common = get_store(), form.reading.case, form.common()
    return (
        lambda: actions.resume_course(
            store, case, reason=reason, in_hand=in_hand, end=end, advised_by=of, **common
        ),
        _same(Kind.COURSE_RESUMED, reason=reason, end=end),
    )
