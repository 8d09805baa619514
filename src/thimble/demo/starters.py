"""An invented cohort that starts in some weeks, its cards coming in week by week. Nobody here exists."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from datetime import date, datetime, timedelta
from typing import Any

from thimble.actions import people as acts
from thimble.actions.people_identity import PeopleIdentities
from thimble.demo.cohort import Draft, dose, result
from thimble.people.entries import Kind
from thimble.people.identity import PersonIdentity

COUNT = 60
STARTS_IN = timedelta(weeks=9)
_FAMILIES = (
    "Aldwinter", "Brackenford", "Caldmoor", "Drumlow", "Edgerose", "Farnholt", "Glenhaske", "Hartsmere",
    "Ironside-Vey", "Juxford", "Kilnarrow", "Lanternby",
)  # fmt: skip
_GIVEN = ("Ada", "Benno", "Cleo", "Dagny", "Emil")
_PLACES = ("Main house", "Main house", "Harbour clinic")


def name_of(now: datetime) -> str:
    """What the cohort is called."""
    return f"Clinical year {(now + STARTS_IN).year} (invented)"


def build(
    store: acts.People, identities: PeopleIdentities, by: str, role: str, now: datetime
) -> list[str]:
    """Enrol the cohort six weeks before `now` and write down its cards as they came; its references."""
    references: list[str] = []
    for number in range(COUNT):
        who, work = person(number, now)
        at = now - timedelta(weeks=6) + timedelta(minutes=number)
        # Invented names are alike more often than those of people: all of them are different ones.
        reference = acts.enrol(
            store, identities, who, work, not_the_same_as=references, now=at, by=by, role=role
        )
        references.append(reference)
    cards = [(_came(number, now), number) for number in range(COUNT)]
    for at, number in sorted(card for card in cards if card[0] <= now):
        drafts = STATES[number % len(STATES)](at.date())
        if drafts:
            acts.record_evidence(
                store, references[number], drafts, today=at.date(), now=at, by=by, role=role
            )
    return references


def _came(number: int, now: datetime) -> datetime:
    """When the card came: most within five weeks, a few not yet."""
    back = (number * 17 + 35) % 36
    return now - timedelta(days=back - 2, minutes=number)


def person(number: int, now: datetime) -> tuple[PersonIdentity, dict[str, Any]]:
    """Who the one of that number is, and the body of their enrolment."""
    start = now.date() + STARTS_IN
    start -= timedelta(days=start.weekday())
    nursing = number % 4 == 3
    who = PersonIdentity(
        number=f"008{100 + 7 * number}",
        family_name=_FAMILIES[number % len(_FAMILIES)],
        given_name=_GIVEN[number // len(_FAMILIES)],
        birth_date=date(start.year - 21 - number % 4, number % 12 + 1, number % 27 + 1),
        # Some left no address: they are written to on paper.
        email=f"starter{number}@example.invalid" if number % 6 else "",
    )
    return who, {
        "works_as": "student",
        "role": "nursing student" if nursing else "medical student",
        "site": _PLACES[number % len(_PLACES)],
        "department": "",
        "cohort": name_of(now),
        "starts_on": start.isoformat(),
        "ends_on": None,
        "exposure_prone": "no" if nursing else "yes",
        "categories": {},
    }


def _ago(today: date, **span: int) -> str:
    return (today - timedelta(**span)).isoformat()


def _childhood(today: date) -> list[Draft]:
    """What a well kept card holds beside hepatitis B."""
    year = today.year
    return [
        dose("03", f"{year - 18}-05-20"),
        dose("03", f"{year - 15}-06-11"),
        dose("21", f"{year - 18}-05-20"),
        dose("21", f"{year - 15}-06-11"),
        dose("115", f"{year - 5}-09-01"),
        dose("88", _ago(today, days=60)),
        result("igra", _ago(today, days=60), word="negative", here=True),
        result("tb_risk", _ago(today, days=60), word="negative", here=True),
        result("tb_symptoms", _ago(today, days=60), word="negative", here=True),
    ]


def _series(today: date) -> list[Draft]:
    year = today.year
    return [dose("43", f"{year - 7}-{day}", lot="INV-207") for day in ("02-04", "03-07", "08-11")]


def _responder(today: date) -> list[Draft]:
    titre = result("anti_hbs", f"{today.year - 7}-10-02", number=214, here=True)
    return [*_childhood(today), *_series(today), titre]


def _untested(today: date) -> list[Draft]:
    return [*_childhood(today), *_series(today)]


def _two_doses(today: date) -> list[Draft]:
    begun = [dose("43", _ago(today, days=190)), dose("43", _ago(today, days=150))]
    return [*_childhood(today), *begun]


def _one_dose(today: date) -> list[Draft]:
    return [*_childhood(today), dose("43", _ago(today, days=20))]


def _adjuvanted(today: date) -> list[Draft]:
    return [*_childhood(today), dose("189", _ago(today, days=16))]


def _low(today: date) -> list[Draft]:
    titre = result("anti_hbs", _ago(today, days=14), number=4, here=True)
    return [*_childhood(today), *_series(today), titre]


def _non_responder(today: date) -> list[Draft]:
    year = today.year
    low = result("anti_hbs", f"{year - 7}-10-02", number=10, sign="<", here=True)
    again = [dose("43", f"{year - 6}-{day}") for day in ("02-04", "03-07", "08-11")]
    low_again = result("anti_hbs", f"{year - 6}-10-02", number=10, sign="<", here=True)
    return [*_childhood(today), *_series(today), low, *again, low_again]


def _declined(today: date) -> list[Draft]:
    body = {
        "what": "vaccine",
        "disease": "hepatitis_b",
        "on": _ago(today, days=40),
        "informed": True,
        "signed": "on_paper",
        "reason": "wants time to think",
    }
    return [*_childhood(today), (Kind.DECLINED, body)]


def _no_measles(today: date) -> list[Draft]:
    return [d for d in _responder(today) if d[1].get("product") != "03"]


def _nothing(_: date) -> list[Draft]:
    return []


STATES: Sequence[Callable[[date], list[Draft]]] = (
    _responder,
    _two_doses,
    _responder,
    _untested,
    _nothing,
    _responder,
    _one_dose,
    _responder,
    _no_measles,
    _adjuvanted,
    _responder,
    _low,
    _two_doses,
    _untested,
    _responder,
    _declined,
    _responder,
    _non_responder,
    _nothing,
)
"""What a card holds on the day it came, one after the other over the cohort."""
