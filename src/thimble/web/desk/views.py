"""One case at the desk: each writing view is one call into `actions`, then the case again."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.views.decorators.cache import never_cache
from django.views.decorators.debug import sensitive_post_parameters
from django.views.decorators.http import require_GET, require_http_methods, require_POST
from django.views.decorators.vary import vary_on_headers

from thimble import actions
from thimble.actions import Departing, PlanMoved, Refused
from thimble.ledger.clocks import HOURS
from thimble.ledger.compare import diff
from thimble.ledger.entries import Entry, Kind
from thimble.ledger.fold import standing_bodies
from thimble.ledger.plan import Action
from thimble.ledger.store import Overtaken
from thimble.protocol.vocabulary import Value
from thimble.web import clock, log
from thimble.web.access import needs
from thimble.web.context import get_identities, get_protocol, get_site, get_store
from thimble.web.desk.correcting import CorrectPage, read_correction
from thimble.web.desk.deciding import OtherwisePage, SignPage, read_departures
from thimble.web.desk.handling import (
    canonical,
    capabilities_of,
    go,
    is_htmx,
    last_look,
    looked,
    moment_of_form,
    names_of,
    overtaken_response,
    position_of,
    read,
    rule_link,
    who,
    worker_of,
    write,
)
from thimble.web.desk.new import NewCaseForm
from thimble.web.desk.page import CasePage, Change, Reading, Typed
from thimble.web.desk.questions import UNKNOWN, BadAnswer, read_answer, read_moment
from thimble.web.timeline import draw


@never_cache
@vary_on_headers("HX-Request")
@needs("view_case")
@require_GET
def case(request: HttpRequest, ref: str) -> HttpResponse:
    """The case: clock, next question, plan. With HX-Request only the parts that answering swaps."""
    reference = canonical(ref)
    if reference != ref:
        return go(request, reverse("desk:case", args=[reference]))
    return _show(request, read(reference), since=_since(request), ask=request.GET.get("ask", ""))


def _since(request: HttpRequest) -> int | None:
    text = request.GET.get("since", "")
    return int(text) if text.isascii() and text.isdigit() and len(text) < 7 else None


def _show(
    request: HttpRequest,
    reading: Reading,
    *,
    since: int | None = None,
    ask: str = "",
    typed: Typed | None = None,
) -> HttpResponse:
    seen = last_look(request, reading.case)
    page = CasePage.of(
        reading,
        protocol=get_protocol(),
        site=get_site(),
        capabilities=capabilities_of(request),
        account=str(request.user.pk),
        names=names_of(reading.entries),
        worker=worker_of(request, reading.case),
        seen=seen,
        since=since,
        ask=ask,
        typed=typed,
        link=rule_link,
    )
    if not page.written and seen != reading.position:
        # What others wrote stays marked as new until this account says that it has seen it.
        looked(request, reading.case, reading.position, reading.plan.now)
    context = {
        "page": page,
        "timeline": draw(reading.situation, reading.plan, reading.plan.now, get_site().zone),
        "focus": _focus(page),
        "swap": is_htmx(request),
    }
    if is_htmx(request):
        return render(request, "desk/_work.html", context)
    return render(request, "desk/case.html", context, status=422 if typed else 200)


def _focus(page: CasePage) -> str:
    """Where the keyboard stands after a swap: at a fault, else at the next question."""
    if page.typed is not None and page.typed.form != "answer":
        return "fault"
    return "question" if page.question is not None else "recorded"


def _written(request: HttpRequest, reading: Reading, position: int) -> HttpResponse:
    """The case again after something was recorded, with what that changed."""
    if is_htmx(request):
        response = _show(request, read(reading.case), since=position)
        response["HX-Replace-Url"] = reverse("desk:case", args=[reading.case])
        return response
    return go(request, f"{reverse('desk:case', args=[reading.case])}?since={position}")


def _record(
    request: HttpRequest,
    ref: str,
    act: Callable[[Reading, int], tuple[Callable[[], object], Callable[[Entry], bool]]],
    *,
    form: str,
    subject: str,
    said: Callable[[Reading], list[tuple[str, str]]],
) -> HttpResponse:
    """What every form of the case page does: one action, or the page again with all that was typed."""
    reading = read(canonical(ref))
    try:
        position = position_of(request)
        doing, mine = act(reading, position)
        came_first = write(doing, mine=mine, by=str(request.user.pk))
    except (Refused, BadAnswer) as fault:
        typed = Typed(form, subject, dict(request.POST.lists()), _sentence(fault))
        return _show(request, reading, typed=typed)
    if came_first:
        return overtaken_response(request, read(reading.case), came_first, said(reading))
    log.event(f"recorded_{form}", case=reading.case, account=str(request.user.pk))
    return _written(request, reading, position)


def _sentence(fault: Exception) -> str:
    text = " ".join(fault.faults) if isinstance(fault, Refused) else str(fault)
    text = text.strip()
    return f"{text[:1].upper()}{text[1:]}" + ("" if text.endswith((".", "!", "?")) else ".")


@needs("view_case", "record_facts")
@require_POST
def answer(request: HttpRequest, ref: str) -> HttpResponse:
    """An answer to a question, or that nobody can answer it."""
    protocol, site, store = get_protocol(), get_site(), get_store()
    fact_id = request.POST.get("fact", "")
    fact = protocol.vocabulary.get(fact_id)
    if fact is None:
        raise Http404("no such question")
    now = clock.now()
    common: dict[str, Any] = {"now": now, **who(request)}

    def act(
        reading: Reading, position: int
    ) -> tuple[Callable[[], object], Callable[[Entry], bool]]:
        if "unknown" in request.POST:
            reason = request.POST.get("reason", "")

            def doing() -> object:
                return actions.cannot_be_known(
                    store, reading.case, fact_id, vocabulary=protocol.vocabulary, reason=reason,
                    expected_position=position, **common,
                )  # fmt: skip

            return (
                doing,
                lambda e: (
                    e.body.get("fact") == fact_id
                    or (e.body.get("facts", {}).get(fact_id) == UNKNOWN)
                ),
            )
        if fact_id == HOURS:
            at = read_moment(
                request.POST.get("day", ""), request.POST.get("clock", ""), site.zone, now
            )
            precision = "hour" if request.POST.get("about") else "minute"
            body = {
                **(standing_bodies(reading.entries)[1] or {}),
                "occurred_at": at.isoformat(),
                "occurred_at_precision": precision,
            }
            return (
                lambda: actions.correct(
                    store,
                    reading.case,
                    1,
                    reason="The time of the exposure was asked again.",
                    body=body,
                    vocabulary=protocol.vocabulary,
                    expected_position=position,
                    **common,
                ),
                lambda e: e.body.get("body", {}).get("occurred_at") == body["occurred_at"],
            )
        value: Value = read_answer(
            fact, request.POST.getlist("value"), none=bool(request.POST.get("none"))
        )
        return (
            lambda: actions.learn_facts(
                store,
                reading.case,
                {fact_id: value},
                said_by="clinician",
                vocabulary=protocol.vocabulary,
                expected_position=position,
                **common,
            ),
            lambda e: fact_id in e.body.get("facts", {}),
        )

    def said(_: Reading) -> list[tuple[str, str]]:
        if "unknown" in request.POST:
            return [(fact.question, f"Cannot be known. {request.POST.get('reason', '')}".strip())]
        if fact_id == HOURS:
            return [("When it happened", f"{request.POST.get('day')} {request.POST.get('clock')}")]
        values = request.POST.getlist("value")
        return [
            (fact.question, ", ".join(fact.labels.get(v, v) for v in values) or "None of these")
        ]

    return _record(request, ref, act, form="answer", subject=fact_id, said=said)


@needs("view_case", "record_facts")
@require_POST
def done(request: HttpRequest, ref: str) -> HttpResponse:
    """An action was done: now, or at another time."""
    action_id = request.POST.get("action", "")

    def act(
        reading: Reading, position: int
    ) -> tuple[Callable[[], object], Callable[[Entry], bool]]:
        action = next((a for a in reading.plan.actions if a.id == action_id), None)
        if action is None:
            raise Refused("This action is not part of the plan any more. Nothing was recorded.")
        doing = _doing(request, reading, action, position)
        return doing, lambda e: e.body.get("action") == action_id

    def said(reading: Reading) -> list[tuple[str, str]]:
        named = {"product": "Product", "amount": "Amount", "batch": "Batch", "of": "Asked",
                 "text": "What was said"}  # fmt: skip
        what = next((a.what for a in reading.plan.actions if a.id == action_id), action_id)
        when = "now"
        if request.POST.get("when") == "then":
            when = f"{request.POST.get('day')} {request.POST.get('clock')}"
        typed = [(label, request.POST.get(name, "")) for name, label in named.items()]
        return [("Done", what), ("When", when), *typed]

    return _record(request, ref, act, form="done", subject=action_id, said=said)


def _doing(
    request: HttpRequest, reading: Reading, action: Action, position: int
) -> Callable[[], object]:
    """The one call that records an action as done, by its kind."""
    post, store, case_, now = request.POST, get_store(), reading.case, clock.now()
    common: dict[str, Any] = {
        "now": now,
        "happened_at": moment_of_form(request, now),
        "expected_position": position,
        **who(request),
    }
    text = post.get("text", "").strip()
    if action.kind == "dose":
        product = post.get("product", "").strip()
        if not product:
            raise BadAnswer("Enter what was given: the product as it stands on the box.")
        return lambda: actions.give_dose(
            store, case_, action.id, product=product, amount=post.get("amount", "").strip(),
            batch=post.get("batch", "").strip(), **common,
        )  # fmt: skip
    if action.kind == "first_aid":
        steps = [c.text for c in reading.plan.cautions if c.topic == "first_aid" and c.certain]
        given = [step for step in post.getlist("step") if step in steps] or [action.what]
        return lambda: actions.give_first_aid(store, case_, steps=given, action=action.id, **common)
    if action.whom == "source" and action.kind == "sample":
        return lambda: actions.sample_source(store, case_, action=action.id, note=text, **common)
    if action.whom == "source" and action.kind == "ask":
        return lambda: actions.ask_source(store, case_, action=action.id, note=text, **common)
    if action.kind == "sample":
        return lambda: actions.take_sample(store, case_, action.id, **common)
    asked = post.get("of", "").strip()
    if action.kind == "advice" and asked:
        return lambda: actions.seek_advice(
            store, case_, of=asked, advice=text, action=action.id, **common
        )
    return lambda: actions.counsel(store, case_, action.id, text=text, **common)


@needs("view_case")
@require_POST
def seen(request: HttpRequest, ref: str) -> HttpResponse:
    """This account has read what others wrote."""
    reading = read(canonical(ref))
    try:
        position = min(position_of(request), reading.position)
    except Refused:
        position = reading.position
    looked(request, reading.case, position, reading.plan.now)
    if is_htmx(request):
        return _show(request, reading)
    return go(request, reverse("desk:case", args=[reading.case]))


@never_cache
@needs("view_case", "depart")
@require_http_methods(["GET", "POST"])
def otherwise(request: HttpRequest, ref: str, subject: str) -> HttpResponse:
    """Decide what is left to a clinician, or otherwise than advised; with the reason."""
    reading = read(canonical(ref))
    page = OtherwisePage.of(
        reading, subject, protocol=get_protocol(), site=get_site(), names=names_of(reading.entries),
        link=rule_link,
    )  # fmt: skip
    if page is None:
        raise Http404("no such decision or action")
    if request.method == "GET":
        return render(request, "desk/otherwise.html", {"page": page})
    decided = request.POST.get("decided", "").strip() or request.POST.get("other", "").strip()
    reason = request.POST.get("reason", "").strip()
    try:
        if not decided:
            raise BadAnswer("Say what you decide.")
        if not reason:
            raise BadAnswer("Say why: a decision of yours needs its reason in your words.")
        position = position_of(request)
        came_first = write(
            lambda: actions.depart(
                get_store(),
                reading.case,
                subject=subject,
                advised=page.advised,
                decided=decided,
                reason=reason,
                now=clock.now(),
                expected_position=position,
                **who(request),
            ),
            mine=lambda e: e.kind is Kind.DEPARTED and e.body["subject"] == subject,
            by=str(request.user.pk),
        )
    except (Refused, BadAnswer) as fault:
        context = {"page": page, "fault": _sentence(fault), "typed": request.POST}
        return render(request, "desk/otherwise.html", context, status=422)
    if came_first:
        said = [("About", page.label), ("You decide", decided), ("Because", reason)]
        return overtaken_response(request, read(reading.case), came_first, said)
    log.event("departed", case=reading.case, account=str(request.user.pk))
    return _written(request, reading, position)


@never_cache
@needs("view_case", "sign_plan")
@require_http_methods(["GET", "POST"])
def sign(request: HttpRequest, ref: str) -> HttpResponse:
    """Exactly what is signed; then the signature, unless the case has moved."""
    reading = read(canonical(ref))
    if request.method == "GET":
        return _sign_page(request, reading)
    departures: list[Departing] = []
    try:
        position = position_of(request)
        departures = read_departures(request.POST, reading, get_protocol())
        actions.sign_plan(
            get_store(),
            reading.case,
            protocol=get_protocol(),
            site=get_site(),
            seen_position=position,
            seen_plan=request.POST.get("seen_plan", ""),
            departures=departures,
            now=reading.plan.now,
            **who(request),
        )
    except Overtaken as overtaken:
        mine = [e for e in overtaken.new_entries if e.by == str(request.user.pk)]
        if len(mine) == len(overtaken.new_entries) and mine[-1].kind is Kind.PLAN_SIGNED:
            return _written(request, reading, position)
        now = read(reading.case)
        before = now.plan_at(position, get_protocol(), get_site())
        words = diff(before, now.plan).words(get_protocol().outputs) if before else ()
        return _sign_page(
            request, now, moved=overtaken.new_entries, change=Change.of("What that changed", words)
        )
    except PlanMoved:
        return _sign_page(request, read(reading.case), time_passed=True)
    except ValueError as fault:
        return _sign_page(request, reading, fault=_sentence(fault))
    log.event("signed", case=reading.case, account=str(request.user.pk))
    return _written(request, reading, position)


def _sign_page(
    request: HttpRequest,
    reading: Reading,
    *,
    moved: tuple[Entry, ...] = (),
    change: Change | None = None,
    time_passed: bool = False,
    fault: str = "",
) -> HttpResponse:
    page = SignPage.of(
        reading,
        protocol=get_protocol(),
        site=get_site(),
        names=names_of(reading.entries),
        typed={name: request.POST.get(name, "") for name in request.POST},
        moved=moved,
        change=change,
        time_passed=time_passed,
        fault=fault,
        link=rule_link,
    )
    status = 409 if moved or time_passed else 422 if fault else 200
    return render(request, "desk/sign.html", {"page": page}, status=status)


@never_cache
@needs("view_case", "record_facts")
@require_POST
def note(request: HttpRequest, ref: str) -> HttpResponse:
    """Words for the record."""
    text = request.POST.get("text", "").strip()

    def act(
        reading: Reading, position: int
    ) -> tuple[Callable[[], object], Callable[[Entry], bool]]:
        if not text:
            raise BadAnswer("Write the note first.")
        return (
            lambda: actions.note(
                get_store(),
                reading.case,
                text,
                now=clock.now(),
                expected_position=position,
                **who(request),
            ),
            lambda e: e.body.get("text") == text,
        )

    return _record(request, ref, act, form="note", subject="", said=lambda _: [("Note", text)])


@never_cache
@needs("view_case", "close_case")
@require_POST
def close(request: HttpRequest, ref: str) -> HttpResponse:
    """End the follow-up."""
    reason, text = request.POST.get("reason", ""), request.POST.get("text", "").strip()

    def act(
        reading: Reading, position: int
    ) -> tuple[Callable[[], object], Callable[[Entry], bool]]:
        if not reason:
            raise BadAnswer("Choose why the case is closed.")
        return (
            lambda: actions.close(
                get_store(),
                reading.case,
                reason=reason,
                text=text,
                protocol=get_protocol(),
                site=get_site(),
                now=clock.now(),
                expected_position=position,
                **who(request),
            ),
            lambda e: e.kind is Kind.CLOSED,
        )

    return _record(
        request,
        ref,
        act,
        form="close",
        subject="",
        said=lambda _: [("Close", reason), ("Why", text)],
    )


@never_cache
@needs("view_case", "close_case")
@require_POST
def reopen(request: HttpRequest, ref: str) -> HttpResponse:
    """Take up a closed case again."""
    reason = request.POST.get("reason", "").strip()

    def act(
        reading: Reading, position: int
    ) -> tuple[Callable[[], object], Callable[[Entry], bool]]:
        if not reason:
            raise BadAnswer("Say why the case is taken up again.")
        return (
            lambda: actions.reopen(
                get_store(),
                reading.case,
                reason=reason,
                vocabulary=get_protocol().vocabulary,
                now=clock.now(),
                expected_position=position,
                **who(request),
            ),
            lambda e: e.kind is Kind.REOPENED,
        )

    return _record(request, ref, act, form="reopen", subject="", said=lambda _: [("Why", reason)])


@never_cache
@needs("view_case", "correct_entry")
@require_http_methods(["GET", "POST"])
def correct(request: HttpRequest, ref: str, position: int) -> HttpResponse:
    """Set right an earlier entry: its time, a fact taken back, or the entry withdrawn."""
    reading = read(canonical(ref))
    page = CorrectPage.of(
        reading, position, protocol=get_protocol(), site=get_site(), names=names_of(reading.entries)
    )
    if page is None:
        raise Http404("no such entry")
    if request.method == "GET":
        return render(request, "desk/correct.html", {"page": page})
    now = clock.now()
    try:
        correction = read_correction(request.POST, page, get_site().zone, now)
        seen_position = position_of(request)
        came_first = write(
            lambda: actions.correct(
                get_store(),
                reading.case,
                position,
                vocabulary=get_protocol().vocabulary,
                now=now,
                expected_position=seen_position,
                **correction,
                **who(request),
            ),
            mine=lambda e: e.kind is Kind.CORRECTED and e.body["corrects"] == position,
            by=str(request.user.pk),
        )
    except (Refused, BadAnswer) as fault:
        context = {"page": page, "fault": _sentence(fault), "typed": request.POST}
        return render(request, "desk/correct.html", context, status=422)
    if came_first:
        said = [("Correction of", page.label), ("Reason", request.POST.get("reason", ""))]
        return overtaken_response(request, read(reading.case), came_first, said)
    log.event("corrected", case=reading.case, account=str(request.user.pk))
    return _written(request, reading, seen_position)


@never_cache
@needs("view_case", "record_facts")
@sensitive_post_parameters()
@require_http_methods(["GET", "POST"])
def new(request: HttpRequest) -> HttpResponse:
    """A report taken at the desk, on behalf of the worker."""
    protocol, site, now = get_protocol(), get_site(), clock.now()
    form = NewCaseForm(
        request.POST or None, vocabulary=protocol.vocabulary, now=now, zone=site.zone
    )
    if request.method == "GET" or not form.is_valid():
        status = 200 if request.method == "GET" else 422
        return render(request, "desk/new.html", {"form": form}, status=status)
    store = get_store()
    try:
        with store.transaction():
            reported = actions.report(
                store,
                facts=form.facts(),
                occurred_at=form.at,
                occurred_at_precision=form.how_well,
                vocabulary=protocol.vocabulary,
                now=now,
                reported_by="clinician",
                place=form.cleaned_data["place"],
                task=form.cleaned_data["task"],
                account=form.cleaned_data["account"],
                token=form.cleaned_data["once"],
                identities=get_identities(),
                worker=form.worker(),
                **who(request),
            )
    except Refused as fault:
        form.add_error(None, _sentence(fault))
        return render(request, "desk/new.html", {"form": form}, status=422)
    log.event("reported_at_desk", case=reported.case, account=str(request.user.pk))
    return go(request, reverse("desk:case", args=[reported.case]))
