"""The worker's own results in plain words: what they show, what they do not show yet, what comes next.

Results are read without the source's (`without_source`), so nothing of the source patient stands here
nor follows from one. What may be an infection is not told by letter.
"""

from __future__ import annotations

import tomllib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime
from functools import cache
from importlib.resources import files

from thimble.clinical.serology import (
    Course,
    Reading,
    Result,
)
from thimble.clinical.site import Site
from thimble.documents.frame import frame, mark_of, unconfirmed
from thimble.documents.letters.letter import (
    Letter,
    Part,
    here,
    rests_on,
    results_table,
    still_planned,
)
from thimble.ledger.plan import Plan
from thimble.ledger.results.clearance import without_source
from thimble.ledger.results.of_worker import WorkersResults
from thimble.ledger.situation import Situation
from thimble.protocol.protocol import Protocol

TOLD_IN_PERSON = (
    "A result shows, or may show, an infection or is not clear. That is talked over with the worker, "
    "face to face or on the telephone, and not told by letter."
)
BESIDE = ("anti_hbs_response",)
"""Readings that say nothing of an infection and are shown as their result alone."""


@dataclass(frozen=True, slots=True)
class Told:
    """What a reading shows and what it does not show yet, in plain words."""

    shows: str
    yet: str


@cache
def plain_readings() -> Mapping[str, Mapping[str, Told]]:
    """`plain.toml`: reading → value → words, read once."""
    text = (files("thimble.documents.letters") / "plain.toml").read_text(encoding="utf-8")
    return {
        decision: {value: Told(words["shows"], words["yet"]) for value, words in values.items()}
        for decision, values in tomllib.loads(text).items()
    }


@dataclass(frozen=True, slots=True)
class _Own:
    """The worker's results of one purpose that count, what they say, and whether any is held."""

    results: tuple[Result, ...]
    readings: tuple[Reading, ...]
    held: bool


def _own(situation: Situation, course: Course, now: datetime) -> tuple[_Own, _Own]:
    """At the exposure, and since."""
    mine, alone = WorkersResults.of(situation), without_source(course)
    first, then = mine.at_exposure(alone, now), mine.since(alone, now)
    count_first, count_then = mine.counting(now)
    told = plain_readings()
    # Since the exposure the outcome says all that the pattern behind it says, and more.
    outcomes = tuple(r for r in then.readings if r.decision.endswith(("_outcome", "_infection")))
    others = tuple(
        r for r in then.readings if r not in outcomes and r.value not in told.get(r.decision, {})
    )
    return (
        _Own(count_first, first.readings, bool(first.held)),
        _Own(
            count_then,
            outcomes + tuple(r for r in others if r.decision == "hiv_reading"),
            bool(then.held),
        ),
    )


def why_not_explained(situation: Situation, course: Course, now: datetime) -> str:
    """Why no letter explains the results, in a sentence; "" where one does."""
    parts = _own(situation, course, now)
    if not any(own.results for own in parts):
        return "No result of the worker is on record."
    if any(own.held for own in parts):
        return "A result is held for a person to look at. Settle it first."
    told = plain_readings()
    for own in parts:
        for reading in own.readings:
            if reading.decision not in BESIDE and reading.value not in told.get(
                reading.decision, {}
            ):
                return TOLD_IN_PERSON
    return ""


def results_explained(
    plan: Plan,
    situation: Situation,
    site: Site,
    protocol: Protocol,
    course: Course,
    *,
    name: str = "",
) -> Letter:
    """The letter as of `plan.now`.

    Raises:
        ValueError: there is nothing to explain by letter; the sentence says why.
    """
    if why := why_not_explained(situation, course, plan.now):
        raise ValueError(why)
    first, since = _own(situation, course, plan.now)
    parts: list[Part] = []
    for heading, own in (
        ("Blood taken at the time of the exposure", first),
        ("Blood taken since", since),
    ):
        if own.results:
            parts.append(Part(heading, table=results_table(own.results, site.zone)))
    readings = [r for own in (first, since) for r in own.readings if r.decision not in BESIDE]
    told = [_told(reading) for reading in readings]
    parts.append(Part("What your results show", points=_once(t.shows for t in told)))
    if open_still := _once(t.yet for t in told if t.yet):
        parts.append(Part("What they do not show yet", points=open_still))
    ahead = still_planned(plan, site.zone, ("sample",))
    if ahead.rows:
        parts.append(Part("What comes next", table=ahead))
    parts.append(
        Part(
            "Please come or call at once",
            sentences=(
                "if you have a fever, a rash, swollen glands, yellow eyes or dark urine, or feel ill "
                "without a reason that you know. Say that you had an exposure.",
            ),
        )
    )
    return Letter(
        frame=frame(
            "Your results, explained", "For you alone. Keep it with your plan.", site, plan.now,
            mark_of(protocol), situation,
        ),
        to=(name,) if name else (),
        about="",
        opening=(
            "Here are the results of your own blood tests, what they mean, and what is still to come. "
            "Until the last test, go on with the precautions on your plan.",
        ),
        parts=tuple(parts),
        contacts=here(site),
        signed_by="Name and role of the clinician",
        any_unconfirmed=unconfirmed(rests_on(plan, ("sample",)))
        or any(unconfirmed(reading.because) for reading in readings),
    )  # fmt: skip


def _told(reading: Reading) -> Told:
    return plain_readings()[reading.decision][reading.value or ""]


def _once(sentences: Iterable[str]) -> tuple[str, ...]:
    return tuple(dict.fromkeys(sentences))
