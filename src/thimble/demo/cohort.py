"""Invented people of the register, with evidence of every sort. Nobody here exists."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date, datetime, timedelta
from typing import Any

from thimble.actions import people as acts
from thimble.actions.identity import WorkerIdentity
from thimble.actions.people_identity import PeopleIdentities
from thimble.people.entries import Kind
from thimble.people.identity import PersonIdentity
from thimble.people.products import products

_FAMILIES = (
    "Ashgrove", "Brindle", "Corvane", "Dunmore-Vale", "Eskildane", "Fennimore", "Garrow", "Hollisk",
    "Ivarel", "Jessamy", "Kestering", "Lorrimer", "Marchbane", "Nettleby", "Orvane", "Pellimore",
    "Quennell", "Rosthwaite", "Sundmere", "Tarrowen",
)  # fmt: skip
_GIVEN = (
    "Aila", "Bastien", "Coralie", "Dario", "Elspeth", "Florin", "Greta", "Hamid", "Inés", "Jonas",
    "Keziah", "Lúcia", "Milo", "Nadège", "Oskar", "Priya", "Quirin", "Rosalind", "Søren", "Tove",
)  # fmt: skip
_DEPARTMENTS = ("Surgery", "Medicine", "Emergency", "Obstetrics", "Laboratory", "Housekeeping")
_ROLES: Mapping[str, Sequence[str]] = {
    "student": ("medical student", "nursing student"),
    "staff": ("resident", "nurse", "porter", "laboratory technician", "cleaner"),
    "agency": ("nurse",),
    "contractor": ("waste collection",),
    "volunteer": ("visiting service",),
}
_KINDS = ("student",) * 5 + ("staff",) * 3 + ("agency", "contractor", "volunteer")
_SEEN_HERE = {"identified": "yes", "drawn_here": "yes", "direct": "yes"}
_SEEN_ELSEWHERE = {"identified": "not_known", "drawn_here": "no", "direct": "no"}

Draft = tuple[Kind, dict[str, Any]]


def build(
    store: acts.People,
    identities: PeopleIdentities,
    by: str,
    role: str,
    now: datetime,
    workers: Sequence[WorkerIdentity] = (),
    count: int = 40,
) -> list[str]:
    """Enrol the cohort as of `now`, on behalf of one account, and the workers of some cases with it;
    returns the references."""
    today = now.date()
    references: list[str] = []
    everybody = [_person(number, today) for number in range(count)]
    # One file for each number, however many cases its holder has.
    known = {who.staff_number: who for who in workers if who.staff_number}
    everybody += [_worker(who, at, today) for at, who in enumerate(known.values())]
    for number, (who, work) in enumerate(everybody):
        # Invented names are alike more often than those of people: all of them are different ones.
        reference = acts.enrol(
            store, identities, who, work, not_the_same_as=references, now=now, by=by, role=role
        )
        references.append(reference)
        drafts = _EVIDENCE[number % len(_EVIDENCE)](today)
        if drafts:
            acts.record_evidence(
                store, reference, drafts, today=today, born=who.birth_date, now=now, by=by, role=role,
            )  # fmt: skip
        if drafts and number % 3 == 0:
            seen = [
                evidence.entry for evidence in acts.person_of(store, reference, now).evidence[:3]
            ]
            acts.verify_evidence(store, reference, seen, seen="original", now=now, by=by, role=role)
        if number == count - 1:
            acts.leave(store, reference, today - timedelta(days=20), now=now, by=by, role=role)
    return references


def _person(number: int, today: date) -> tuple[PersonIdentity, dict[str, Any]]:
    works_as = _KINDS[number % len(_KINDS)]
    roles = _ROLES[works_as]
    start = today + timedelta(days=(10 if works_as == "student" else -400) + 7 * (number % 4))
    prone = ("yes", "no", "not_known")[number % 3]
    who = PersonIdentity(
        number=f"{'00' if works_as == 'student' else ''}{4100 + 37 * number}",
        family_name=_FAMILIES[number % len(_FAMILIES)],
        given_name=_GIVEN[(7 * number + number // 20) % len(_GIVEN)],
        birth_date=date(today.year - 23 - number % 35, number % 12 + 1, number % 27 + 1),
        email=f"person{number}@example.invalid",
    )
    return who, {
        "works_as": works_as,
        "role": roles[number % len(roles)],
        "site": "Main house" if number % 5 else "Harbour clinic",
        "department": _DEPARTMENTS[number % len(_DEPARTMENTS)],
        "cohort": f"Autumn {today.year}" if works_as == "student" else "",
        "starts_on": start.isoformat(),
        "ends_on": None,
        "exposure_prone": prone,
        "categories": {"shea": "III"} if prone == "yes" else {},
    }


def _worker(
    worker: WorkerIdentity, number: int, today: date
) -> tuple[PersonIdentity, dict[str, Any]]:
    """The exposed worker of a case, as the register knows them."""
    given, _, family = worker.name.removeprefix("Dr. ").rpartition(" ")
    _, work = _person(5, today)
    born = date(today.year - 28 - number % 25, number % 12 + 1, number % 27 + 1)
    who = PersonIdentity(worker.staff_number, family, given, worker.date_of_birth or born)
    return who, {**work, "role": worker.occupation, "department": worker.department}


def dose(product: str | None, when: str | None, *diseases: str, lot: str = "") -> Draft:
    against = list(diseases) if product is None else list(products()[product].diseases)
    return Kind.DOSE_RECORDED, {
        "product": product,
        "diseases": against,
        "when": when,
        "lot": lot,
        "where": "",
    }


def result(
    test: str,
    when: str,
    *,
    word: str | None = None,
    number: float | None = None,
    sign: str = "=",
    here: bool = False,
) -> Draft:
    return Kind.RESULT_RECORDED, {
        "test": test,
        "word": word,
        "number": number,
        "comparator": sign,
        "unit": "m[IU]/mL" if number is not None else "",
        "when": when,
        "laboratory": "",
        "as_written": "",
        "sample": _SEEN_HERE if here else _SEEN_ELSEWHERE,
    }


def _nothing(_: date) -> list[Draft]:
    return []


def _complete(today: date) -> list[Draft]:
    year = today.year
    return [
        dose("43", f"{year - 9}-02-04", lot="INV-101"),
        dose("43", f"{year - 9}-03-07", lot="INV-101"),
        dose("43", f"{year - 9}-08-11", lot="INV-144"),
        result("anti_hbs", f"{year - 9}-10-02", number=312, here=True),
        dose("03", f"{year - 19}-05-20"),
        dose("03", f"{year - 15}-06-11"),
        dose("21", f"{year - 19}-05-20"),
        dose("21", f"{year - 15}-06-11"),
        dose("139", f"{year - 19}-03"),
        dose("139", f"{year - 14}-06"),
        dose("115", f"{year - 4}-09-01"),
        result("igra", f"{year - 1}-11-03", word="negative", here=True),
        dose("88", f"{year - 1}-10-15"),
    ]


def _childhood_only(today: date) -> list[Draft]:
    year = today.year
    return [
        dose("146", f"{year - 18}-02"),
        dose("146", f"{year - 18}-04"),
        dose("146", f"{year - 17}-03"),
        dose("03", f"{year - 17}"),
        (
            Kind.HISTORY_RECORDED,
            {"disease": "varicella", "basis": "person", "when": f"{year - 14}", "text": ""},
        ),
    ]


def _incomplete(today: date) -> list[Draft]:
    year = today.year
    return [
        dose("43", f"{year - 1}-01-15"),
        dose("43", f"{year - 1}-02-20"),
        dose(None, f"{year - 20}", "measles", "rubella"),
        result("rubella_igg", f"{year - 1}-02-20", word="positive"),
    ]


def _low_titre(today: date) -> list[Draft]:
    year = today.year
    return [
        dose("43", f"{year - 6}-03-02"),
        dose("43", f"{year - 6}-04-06"),
        dose("43", f"{year - 6}-09-14"),
        result("anti_hbs", f"{year - 6}-11-03", number=10, sign="<", here=True),
        result("hbsag", f"{year - 6}-11-03", word="negative", here=True),
        result("anti_hbc_total", f"{year - 6}-11-03", word="negative", here=True),
    ]


def _declined(today: date) -> list[Draft]:
    day = (today - timedelta(days=12)).isoformat()
    offered = {"disease": "hepatitis_b", "on": day, "informed": True}
    return [
        (Kind.OFFERED, offered),
        (
            Kind.DECLINED,
            {**offered, "what": "vaccine", "signed": "on_paper", "reason": "wants time to think"},
        ),
        result("varicella_igg", f"{today.year - 2}-04", word="positive"),
    ]


def _contraindicated(today: date) -> list[Draft]:
    year = today.year
    return [
        dose("104", f"{year - 3}-05-09"),
        (
            Kind.CONTRAINDICATED,
            {
                "disease": "hepatitis_b",
                "on": f"{year - 3}-05-09",
                "reason": "anaphylaxis after the first dose; allergy clinic confirms",
                "until": None,
            },
        ),
        (
            Kind.HISTORY_RECORDED,
            {"disease": "measles", "basis": "laboratory", "when": f"{year - 22}", "text": ""},
        ),
    ]


def _past_infection(today: date) -> list[Draft]:
    year = today.year
    return [
        result("hbsag", f"{year - 2}-06-01", word="negative", here=True),
        result("anti_hbc_total", f"{year - 2}-06-01", word="positive", here=True),
        result("anti_hbs", f"{year - 2}-06-01", number=88, here=True),
        dose("19", f"{year - 30}"),
        result("tuberculin", f"{year - 2}-06-04", word="positive"),
        result("chest_x_ray", f"{year - 2}-06-20", word="negative"),
    ]


_EVIDENCE = (
    _complete,
    _nothing,
    _childhood_only,
    _incomplete,
    _low_titre,
    _declined,
    _contraindicated,
    _past_infection,
    _nothing,
)
