"""What a story is, and what many of them share: people in good health, sources, a needle."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import timedelta

from thimble.actions import SourceIdentity
from thimble.demo.scene import Scene
from thimble.protocol import Value

Step = Callable[[Scene], None]

MINUTE, HOUR, DAY, WEEK = (
    timedelta(minutes=1), timedelta(hours=1), timedelta(days=1), timedelta(weeks=1),
)  # fmt: skip

WELL: dict[str, Value] = {
    "worker_hiv": "negative",
    "worker_on_prep": "no",
    "worker_hbv_infection": "none_known",
    "worker_anti_hcv": "negative",
    "worker_pregnancy": "no",
    "worker_breastfeeding": "no",
    "worker_kidney_disease": "no",
    "worker_creatinine_clearance": 96.0,
    "worker_medicines": frozenset(),
    "worker_tetanus_doses": "three_or_more",
    "worker_years_since_tetanus_dose": 3.0,
    "wound_contaminated": "no",
}
"""A worker in good health who knows it: what is left open is said in each story."""

RESPONDER: dict[str, Value] = {
    "worker_hbv_series": "one_complete",
    "worker_hbv_response": "responder",
}

SOURCE_NEGATIVE: dict[str, Value] = {
    "source_hiv": "negative",
    "source_hiv_acute_illness": "no",
    "source_hbsag": "negative",
    "source_hcv_rna": "negative",
}

SOURCE_HBV_POSITIVE: dict[str, Value] = {**SOURCE_NEGATIVE, "source_hbsag": "positive"}
SOURCE_HCV_POSITIVE: dict[str, Value] = {**SOURCE_NEGATIVE, "source_hcv_rna": "positive"}

SOURCE_HIV_POSITIVE: dict[str, Value] = {
    "source_hiv": "positive",
    "source_hiv_load": "detectable",
    "source_hiv_resistance": "no",
    "source_hbsag": "negative",
    "source_hcv_rna": "negative",
}

SOURCE_UNTESTED: dict[str, Value] = {
    "source_hiv": "unknown",
    "source_hbsag": "unknown",
    "source_hcv_rna": "not_tested",
    "source_anti_hcv": "not_tested",
    "source_hcv_recent_risk": "unknown",
    "source_hiv_acute_illness": "unknown",
    "source_hiv_resistance": "unknown",
}

NEEDLE: dict[str, Value] = {
    "route": "percutaneous",
    "fluid": "blood",
    "device": "hollow_bore_needle",
    "depth": "moderate",
    "gloves": "single",
}


@dataclass(frozen=True, slots=True)
class Story:
    """One case. `ago` is how long before now the exposure was; each step is at a time after it."""

    id: str
    title: str
    shows: str
    ago: timedelta
    steps: Sequence[tuple[timedelta, Step]]


def as_(who: str, *steps: Step) -> Step:
    """The steps, done by one member of staff."""

    def tell(scene: Scene) -> None:
        scene.who = who
        for step in steps:
            step(scene)

    return tell


def patient(name: str, number: str, ward: str) -> SourceIdentity:
    """A source patient of the invented hospital."""
    return SourceIdentity(name=name, hospital_number=number, ward=ward, attending="ward physician")


def washed(scene: Scene) -> None:
    """The first aid that most have done by themselves."""
    scene.first_aid("washed with soap and water", minutes=5)


def source_tested(found: Mapping[str, Value], **more: Value) -> Step:
    """The source patient's results are on record already."""
    return lambda scene: scene.learn("record", source_access="testable", **found, **more)
