"""What to weigh with the product: the kidney, other medicines, how the course goes."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from thimble.clinical.prophylaxis import put
from thimble.clinical.prophylaxis.tables import OTHER
from thimble.ledger.prophylaxis.course import (
    Course,
)
from thimble.web.desk.reading import Reading

ADVICE = "course_advice"
BLOODS = "bloods"
TOPICS: Mapping[str, str] = {
    "late_dose": "A late dose",
    "missed": "Doses missed",
    "side_effects": "Side effects",
    BLOODS: "Blood",
    "resumed": "Taken up again",
}


@dataclass(frozen=True, slots=True)
class Check:
    """A sentence to weigh with the product, and how well it is known. `now`: about how it goes."""

    topic: str
    text: str
    confirmed: bool
    names_it: bool = False
    now: bool = False


def checks_of(reading: Reading, course: Course | None) -> tuple[Check, ...]:
    """The renal and interaction checks as they stand now, those that name the medicine first."""
    if course is None:
        return ()
    medicine = str(course.facts["medicine"])
    told = [
        Check(
            "Medicines and kidney",
            caution.text if caution.certain else f"May apply: {caution.text}",
            all(reason.confirmed for reason in caution.because),
            medicine != OTHER and medicine in caution.text.lower(),
        )
        for caution in reading.plan.cautions
        if caution.topic == "medicines" and caution.certain
    ]
    own = [
        Check(
            TOPICS.get(item.outputs["topic"], item.outputs["topic"]),
            item.outputs["text"] if item.certain else f"May apply: {item.outputs['text']}",
            all(reason.confirmed for reason in item.because),
            now=item.outputs["topic"] != BLOODS,
        )
        for item in put(course.facts).items.get(ADVICE, ())
    ]
    return (*own, *sorted(told, key=lambda check: not check.names_it))
