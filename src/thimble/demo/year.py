"""A year of exposures that are over: what the safety overview counts. Reported without a name, and closed.

They are told in a few words, two entries each, so that the demo is built as fast as without them.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from datetime import timedelta
from itertools import cycle

from thimble import actions
from thimble.demo.scene import Scene
from thimble.demo.stories.telling import Step, Story, as_
from thimble.protocol import Value

NEWEST, OLDEST = timedelta(days=62), timedelta(days=360)
"""Within the twelve complete months before any day, and over by their end."""

HOW: tuple[tuple[int, Mapping[str, Value], str], ...] = (
    (22, {"route": "percutaneous", "device": "hollow_bore_needle"}, "ward"),
    (14, {"route": "percutaneous", "device": "solid_needle"}, "Operating theatre"),
    (11, {"route": "percutaneous", "device": "hollow_bore_needle"}, "Emergency department"),
    (13, {"route": "mucous_membrane", "device": "none"}, "Operating theatre"),
    (7, {"route": "non_intact_skin", "device": "none"}, "Laboratory"),
    (5, {"route": "human_bite", "device": "none"}, "Emergency department"),
    (6, {"route": "percutaneous", "device": "blade"}, "Operating theatre"),
    (6, {"route": "percutaneous", "device": "glass"}, "Laboratory"),
)
"""How many, how, and where; `ward` stands for each of the wards in turn."""

WARDS = ("Ward 4 North", "Ward 4 North", "Ward 2 South")
REPORTED_AFTER = (20, 35, 50, 90, 25, 200, 40, 15, 700, 45, 55, 2000, 30)
"""Minutes from the exposure to the report, in turn."""
OFF_THE_HOUR = (3, 9, 10, 11, 14, 15, 16, 19, 22, 8)
"""Hours by which the time of day is moved, in turn: they lie at all hours."""
ENDS = (
    ("source_negative", 4), ("source_negative", 6), ("transferred", 20), ("source_negative", 2),
    ("worker_withdrew", 12), ("lost_to_follow_up", 28),
)  # fmt: skip
"""How it ended, and after how many days, in turn."""


def _year() -> Iterator[Story]:
    kinds = [(facts, place) for count, facts, place in HOW for _ in range(count)]
    # Spread over the year, so that no month holds one kind alone.
    order = [kinds[(number * 25) % len(kinds)] for number in range(len(kinds))]
    wards, delays, hours, ends = (
        cycle(WARDS),
        cycle(REPORTED_AFTER),
        cycle(OFF_THE_HOUR),
        cycle(ENDS),
    )
    apart = (OLDEST - NEWEST) / len(order)
    for number, (facts, place) in enumerate(order):
        reason, days = next(ends)
        yield Story(
            id=f"year-{number}",
            title="",
            shows="",
            ago=OLDEST - number * apart - timedelta(hours=next(hours)),
            steps=[
                (
                    timedelta(minutes=next(delays)),
                    as_("nurse", _report(facts, next(wards) if place == "ward" else place)),
                ),
                (timedelta(days=days), as_("physician", _close(reason))),
            ],
        )


def _report(facts: Mapping[str, Value], place: str) -> Step:
    def tell(scene: Scene) -> None:
        scene.case = actions.report(
            scene.stage.store,
            facts={**facts, "fluid": "blood"},
            occurred_at=scene.occurred_at,
            occurred_at_precision="minute",
            vocabulary=scene.stage.protocol.vocabulary,
            now=scene.now,
            place=place,
        ).case

    return tell


def _close(reason: str) -> Step:
    return lambda scene: scene.close(reason, "Invented: followed on paper, closed here.")


YEAR: tuple[Story, ...] = tuple(_year())
"""One story for each."""
