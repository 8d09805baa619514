"""The cautions by topic."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from thimble.ledger.plan import Caution
from thimble.web.desk.plan.lens import Lens
from thimble.web.desk.words import (
    ReasonWords,
)

TOPICS: Mapping[str, str] = {
    "first_aid": "First aid",
    "general": "Above all",
    "hiv": "HIV",
    "hbv": "Hepatitis B",
    "hcv": "Hepatitis C",
    "tetanus": "Tetanus",
    "medicines": "Medicines",
    "precautions": "Precautions to explain",
    "warning_signs": "Warning signs to explain",
    "reporting": "Reporting",
}


@dataclass(frozen=True, slots=True)
class CautionView:
    """One sentence to be seen."""

    text: str
    reasons: tuple[ReasonWords, ...]
    confirmed: bool


@dataclass(frozen=True, slots=True)
class Topic:
    """The cautions of one topic."""

    id: str
    title: str
    cautions: tuple[CautionView, ...]
    folded: bool


def caution_of(caution: Caution, lens: Lens) -> CautionView:
    """One caution with its rules."""
    return CautionView(
        caution.text,
        lens.reasons(caution.because),
        all(reason.confirmed for reason in caution.because),
    )


def topics_of(cautions: Sequence[Caution], lens: Lens) -> tuple[Topic, ...]:
    """The cautions by topic, first aid apart."""
    by_topic: dict[str, list[CautionView]] = {}
    for caution in cautions:
        if caution.topic != "first_aid":
            by_topic.setdefault(caution.topic, []).append(caution_of(caution, lens))
    known = [topic for topic in TOPICS if topic in by_topic]
    # A topic of a later protocol is never dropped.
    others = [topic for topic in by_topic if topic not in TOPICS]
    folded = {"precautions", "warning_signs", "reporting"}
    return tuple(
        Topic(topic, TOPICS.get(topic, topic.replace("_", " ").capitalize()),
              tuple(by_topic[topic]), topic in folded)
        for topic in [*known, *others]
    )  # fmt: skip
