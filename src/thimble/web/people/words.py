"""What is documented of a person, in words."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date
from typing import Any

from thimble.clinical.diseases import DISEASES
from thimble.clinical.saying import month_name, unit
from thimble.people import choices
from thimble.people.entries import RESULTS, Kind
from thimble.people.fold import Evidence, Person
from thimble.people.immunity import about
from thimble.people.products import product_name


def size(count: int) -> str:
    """`240 kB`; bytes where there are few."""
    return f"{count / 1024:.0f} kB" if count >= 1024 else f"{count} bytes"


UNITS = ("m[IU]/mL", "[IU]/mL", "{copies}/mL", "mm", "")
"""Units that results of people come in, in UCUM."""


def born(on: date) -> str:
    """`14 Mar 1999`: nobody asks on which day of the week."""
    return f"{on.day} {month_name(on.month)} {on.year}"


def day(text: str | None) -> str:
    """A day as exactly as it is known: `14 Mar 2019`, `Mar 2019`, `2019`, `date not known`."""
    if not text:
        return "date not known"
    if len(text) == 10:
        return born(date.fromisoformat(text))
    if len(text) == 7:
        return f"{month_name(int(text[5:]))} {text[:4]}"
    return text


def result_value(body: Mapping[str, Any]) -> str:
    """`145 mIU/mL`, `positive`, `positive, 12 mIU/mL`."""
    parts = []
    if body["word"]:
        questions = choices.QUESTIONS if body["test"] in choices.ASKED_OF_THE_PERSON else {}
        parts.append(questions.get(body["word"], str(body["word"])))
    if body["number"] is not None:
        sign = "" if body["comparator"] == "=" else body["comparator"]
        parts.append(f"{sign}{body['number']:g} {unit(body['unit'])}".strip())
    return ", ".join(parts)


def title(evidence: Evidence) -> str:
    """The evidence in a line, without its date."""
    body, kind = evidence.body, evidence.kind
    if kind is Kind.DOSE_RECORDED:
        return f"Dose: {product_name(body['product'])}"
    if kind in RESULTS:
        return f"{choices.TESTS[body['test']][1]}: {result_value(body)}"
    if kind is Kind.HISTORY_RECORDED:
        return choices.HISTORY[body["basis"]]
    if kind is Kind.DECLINED:
        signed = choices.SIGNED.get(body["signed"], "Not known whether it was signed")
        return f"Declined the {body['what']} · {signed[0].lower()}{signed[1:]}"
    if kind is Kind.COUNSELLED:
        return "Counselled as a non-responder"
    until = f", until {day(body['until'])}" if body["until"] else ""
    return f"Vaccine contraindicated{until}: {body['reason']}"


def remarks(evidence: Evidence) -> tuple[str, ...]:
    """What else is known of it."""
    body = evidence.body
    told = []
    if body.get("lot"):
        told.append(f"lot {body['lot']}")
    if body.get("where"):
        told.append(body["where"])
    if body.get("laboratory"):
        told.append(body["laboratory"])
    if body.get("asked"):
        answer = choices.YES_NO[body["asked"]["answer"]].lower()
        told.append(f"asked about {body['asked']['about']}: {answer}")
    if body.get("despite"):
        told.append(f"given all the same ({'; '.join(body['despite'])}): {body['reason']}")
    if body.get("reason") and evidence.kind is Kind.DECLINED:
        told.append(body["reason"])
    if body.get("looked_at"):
        told.append(body["looked_at"])
    if evidence.kind is Kind.COUNSELLED:
        told += [f"by {body['who']}"] if body["who"] else []
        told += [f"handed out: {body['material']}", f"said: {'; '.join(body['points'])}"]
    if body.get("text"):
        told.append(body["text"])
    if body.get("list"):
        told.append(f"from row {body['list']['row']} of a list")
    if evidence.kind in RESULTS and body["test"] not in choices.ASKED_OF_THE_PERSON:
        told.append(sample_words(body["sample"]))
    if evidence.kind is Kind.DECLINED and not body["informed"]:
        told.append("no information on record")
    return tuple(told)


def sample_words(sample: Mapping[str, str]) -> str:
    """What is known of the sample."""
    if choices.identified_and_validated(sample):
        return "identified and validated sample"
    if any(sample[check] == "no" for check in choices.SAMPLE_CHECKS):
        return "not an identified and validated sample"
    return "not known whether the sample was identified and validated"


def order(evidence: Evidence) -> tuple[str, int]:
    """Sorts evidence by its date, as far as it is known; what has none comes first."""
    return (evidence.body.get("when") or evidence.body.get("on") or "", evidence.entry)


def undocumented(person: Person, asked: tuple[str, ...]) -> tuple[str, ...]:
    """Of the diseases that the site asks for, those of which nothing at all is documented."""
    told = {disease for e in person.evidence for disease in about(e)}
    return tuple(DISEASES[disease] for disease in asked if disease not in told)
