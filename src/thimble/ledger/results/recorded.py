"""Results of the laboratory as entries hold them, and the course around them."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from datetime import datetime, tzinfo
from typing import Any

from thimble.clinical.serology.analytes import Analyte
from thimble.clinical.serology.course import Course
from thimble.clinical.serology.results import Against, Quantity, Result, Status, Word
from thimble.ledger.plan import Action
from thimble.ledger.situation import LabResult, Situation
from thimble.protocol.protocol import Protocol

WEAK_IMMUNITY = "worker_weak_immunity_or_liver_disease"
HEPATITIS_SUSPECTED = "worker_hepatitis_suspected"
BASELINE = "baseline"
FOLLOW_UP = "follow_up"


def body_of(
    results: Sequence[Result],
    facts: Mapping[str, Any],
    *,
    drawn_for: str = "",
    text: str = "",
    laboratory: str = "",
    looked_at: str = "",
) -> dict[str, Any]:
    """The body of an entry for results of one sample of one person.

    Raises:
        ValueError: no result, or results of two people, two samples or two reports.
    """
    if not results:
        raise ValueError("An entry of results needs at least one")
    first = results[0]
    shared = {(r.of, r.taken_at, r.reported_at, r.request, r.specimen) for r in results}
    if len(shared) > 1:
        raise ValueError("One entry holds the results of one sample, reported together")
    body: dict[str, Any] = {
        "facts": dict(facts),
        "text": text,
        "of": first.of,
        "results": [_to_json(result) for result in results],
        "taken_at": None if first.taken_at is None else first.taken_at.isoformat(),
        "reported_at": first.reported_at.isoformat(),
        "request": first.request,
        "specimen": first.specimen,
        "laboratory": laboratory,
        "looked_at": looked_at,
    }
    if first.of == "worker":
        body["drawn_for"] = drawn_for or FOLLOW_UP
    return body


def _to_json(result: Result) -> dict[str, Any]:
    quantity = result.quantity
    against = result.against_range
    return ({} if against is None else {"against_range": against.value}) | {
        "analyte": result.analyte.value,
        "word": None if result.word is None else result.word.value,
        "number": None if quantity is None else quantity.number,
        "comparator": "=" if quantity is None else quantity.comparator,
        "unit": "" if quantity is None else quantity.unit,
        "status": result.status.value,
        "as_sent": result.as_sent,
    }


def results_in(body: Mapping[str, Any], entry: int) -> tuple[LabResult, ...]:
    """The results that a body of `result_received` holds; none where it only says facts."""
    if "results" not in body:
        return ()
    taken = body["taken_at"]
    shared: dict[str, Any] = {
        "of": body["of"],
        "taken_at": None if taken is None else datetime.fromisoformat(taken),
        "reported_at": datetime.fromisoformat(body["reported_at"]),
        "request": body.get("request", ""),
        "specimen": body.get("specimen", ""),
    }
    return tuple(
        LabResult(
            Result(
                analyte=Analyte(one["analyte"]),
                status=Status(one["status"]),
                word=None if one["word"] is None else Word(one["word"]),
                quantity=None
                if one["number"] is None
                else Quantity(one["number"], one["unit"], one["comparator"]),
                as_sent=one["as_sent"],
                against_range=Against(one["against_range"]) if "against_range" in one else None,
                **shared,
            ),
            body.get("drawn_for", ""),
            entry,
        )
        for one in body["results"]
    )


def said_of(result: Result) -> str:
    """What a result says, and how far the laboratory stands by it: "negative (preliminary)"."""
    if result.status is Status.RETRACTED:
        return "taken back by the laboratory"
    parts = [] if result.word is None else [result.word.value]
    if result.quantity is not None:
        parts.append(str(result.quantity))
    if result.against_range is not None:
        parts.append(f"{result.against_range.replace('_', ' ')} the laboratory's range")
    status = "" if result.status is Status.FINAL else f" ({result.status.value})"
    return f"{', '.join(parts)}{status}"


def course_around(
    situation: Situation, actions: Iterable[Action], protocol: Protocol, zone: tzinfo
) -> Course:
    """The course around the results of a case: `actions` are those of its plan.

    What no entry says is not known: a dose that somebody may have given elsewhere is not "none". An
    exposure known only to the day has no instant here: hours are then not counted.
    """
    named = protocol.named_actions

    def given(name: str) -> tuple[datetime, ...] | None:
        wanted = named.get(name, ())
        return tuple(dose.at for dose in situation.course.given if dose.action in wanted) or None

    exact = situation.occurred_at_precision in ("minute", "hour")
    final = [
        action.window.earliest
        for action in actions
        if action.id in named.get("final_hiv_test", ()) and action.window.earliest is not None
    ]
    known = situation.facts

    def answered(fact: str) -> bool | None:
        told = known[fact].value if fact in known else None
        return {"yes": True, "no": False}.get(str(told))

    excluded = known["source_hcv_rna"].value == "negative" if "source_hcv_rna" in known else None
    return Course(
        zone=zone,
        exposed_at=situation.occurred_at if exact else None,
        vaccine_doses=given("hepatitis_b_vaccine"),
        immunoglobulin=given("hepatitis_b_immunoglobulin"),
        hiv_final_from=max(final, default=None),
        source_excludes_hcv=excluded,
        weak_immunity_or_liver_disease=answered(WEAK_IMMUNITY),
        hepatitis_suspected=answered(HEPATITIS_SUSPECTED),
    )
