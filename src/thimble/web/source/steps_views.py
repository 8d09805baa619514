"""Steps with the source patient: asked, consented, blood taken; and a step taken back."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from django.http import Http404, HttpRequest, HttpResponse
from django.urls import reverse
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_POST

from thimble import actions
from thimble.actions import Refused
from thimble.ledger.entries import Kind
from thimble.ledger.fold import SOURCE_STEPS
from thimble.web import clock
from thimble.web.access import needs
from thimble.web.context import get_protocol, get_store
from thimble.web.desk.handling import (
    canonical,
    go,
    moment_of_form,
    position_of,
    read,
    who,
    write,
)
from thimble.web.desk.questions import BadAnswer
from thimble.web.desk.reading import Reading
from thimble.web.source.chase import ASKED_OF, CHOICES, QUESTIONS
from thimble.web.source.page import source_tests
from thimble.web.source.responding import after, faulty
from thimble.web.source.steps import STEPS, entries_of_step


@never_cache
@needs("view_case", "see_source", "record_facts")
@require_POST
def step(request: HttpRequest, ref: str) -> HttpResponse:
    """One step: asked, consented, refused, cannot decide now, blood taken."""
    reading = read(canonical(ref))
    name = request.POST.get("step", "")
    if name not in STEPS:
        raise Http404("no such step")
    kind = next(kind for kind, step_name in SOURCE_STEPS.items() if step_name == name)
    said = _typed(request, name)
    try:
        position = position_of(request)
        came_first = write(
            lambda: _take(request, reading, name, position),
            mine=lambda entry: entry.kind is kind,
            by=str(request.user.pk),
        )
    except (Refused, BadAnswer) as fault:
        return faulty(request, reading, "step", name, fault)
    return after(request, reading, position, came_first, said, f"source_{name}")


def _typed(request: HttpRequest, name: str) -> list[tuple[str, str]]:
    """What was typed of a step, in words, for whoever finds that somebody else came first."""
    post = request.POST
    said = [(STEPS[name][0], post.get("note", "") or "yes")]
    for key in ASKED_OF[name]:
        if words := CHOICES[key].get(post.get(key, "")):
            said.append((QUESTIONS[key], words))
    for key, label in (
        ("decided_by", "Who decided?"),
        ("specimen", "Specimen number"),
        ("request", "Request number"),
    ):
        if post.get(key, "").strip():
            said.append((label, post[key]))
    if post.get("when") == "then":
        said.append(("When", f"{post.get('day', '')} {post.get('clock', '')}".strip()))
    return said


def _take(request: HttpRequest, reading: Reading, name: str, position: int) -> None:
    """Record a step, completing what the plan asks for by it: one transaction."""
    store, now = get_store(), clock.now()
    common: dict[str, Any] = {
        "now": now,
        "happened_at": moment_of_form(request, now),
        "note": request.POST.get("note", "").strip(),
        **who(request),
    }
    timed = {key: value for key, value in common.items() if key != "note"}
    if name in ("asked", "consented", "refused"):
        # The plan asks for the asking; an answer says that it was done.
        ask = next(
            (a.id for a in reading.plan.actions if a.whom == "source" and a.kind == "ask"), None
        )
        actions.source_step(
            store, reading.case, name, said=_said(request, name), action=ask,
            expected_position=position, **timed,
        )  # fmt: skip
    elif name == "sampled":
        offered = {action.id for action in source_tests(reading.plan.actions)}
        chosen = [test for test in request.POST.getlist("test") if test in offered]
        if offered and not chosen and not request.POST.get("other_test"):
            raise BadAnswer("Tick what the blood was taken for.")
        with store.transaction():
            at: int | None = position
            tests: list[str | None] = [*chosen] or [None]
            for test in tests:
                written = actions.sample_source(
                    store,
                    reading.case,
                    action=test,
                    expected_position=at,
                    specimen=request.POST.get("specimen", "").strip()[:60],
                    request=request.POST.get("request", "").strip()[:60],
                    **common,
                )
                at = written[-1].position
    else:
        actions.source_step(
            store, reading.case, name, said=_said(request, name), action=None,
            expected_position=position, **timed,
        )  # fmt: skip


def _said(request: HttpRequest, name: str) -> dict[str, str]:
    """What the form says of a step, of what belongs to it."""
    said = {key: request.POST.get(key, "") for key in ASKED_OF[name]}
    said["note"] = request.POST.get("note", "").strip()
    if name == "authorised":
        said["decided_by"] = request.POST.get("decided_by", "").strip()
        if not said["decided_by"] or not said["ground"]:
            raise BadAnswer("Write who decided (the function, no name) and choose on what ground.")
    return said


TAKEN_BACK = "Recorded by mistake; taken back on the page of the source."
"""The reason that stands in the history with what was taken back."""


@never_cache
@needs("view_case", "see_source", "correct_entry")
@require_POST
def take_back(request: HttpRequest, ref: str) -> HttpResponse:
    """Withdraw a step and what it said with it: all of what one tap wrote, or nothing."""
    reading = read(canonical(ref))
    entry = request.POST.get("entry", "")
    first = int(entry) if entry.isascii() and entry.isdigit() and len(entry) < 7 else 0
    kind = next((e.kind for e in reading.entries if e.position == first), None)
    if kind is None or kind not in SOURCE_STEPS:
        raise Http404("no such step")
    wrong = entries_of_step(reading.entries, first)
    if not wrong:  # a double tap: it is taken back already
        return go(request, reverse("source:source", args=[reading.case]))
    try:
        position = position_of(request)
        came_first = write(
            lambda: _withdraw(request, reading.case, wrong, position),
            mine=lambda e: e.kind is Kind.CORRECTED and e.body["corrects"] == first,
            by=str(request.user.pk),
        )
    except (Refused, BadAnswer) as fault:
        return faulty(request, reading, "take_back", "", fault)
    said = [("Take back", STEPS[SOURCE_STEPS[kind]][0])]
    return after(request, reading, position, came_first, said, "source_step_taken_back")


def _withdraw(request: HttpRequest, case: str, positions: Sequence[int], seen: int) -> None:
    store, now, at = get_store(), clock.now(), seen
    with store.transaction():
        for position in positions:
            written = actions.correct(
                store,
                case,
                position,
                reason=TAKEN_BACK,
                withdrawn=True,
                vocabulary=get_protocol().vocabulary,
                now=now,
                expected_position=at,
                **who(request),
            )
            at = written[-1].position
