"""Immunity and the next step: the tables of a clearance protocol, asked by the place of each fact."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

from thimble.clinical.library import SHIPPED, protocol
from thimble.protocol import Protocol
from thimble.protocol.finding import Reason

from .vocabulary import vocabulary

FACTS = tuple(vocabulary())
"""The facts in the order in which a situation holds them."""
VALUES = tuple(vocabulary()[fact].values for fact in FACTS)
SIZES = tuple(len(values) for values in VALUES)
SERIES = vocabulary()["series"].values
BEST = vocabulary()["best_titre"].values
LATEST = vocabulary()["latest_titre"].values
LOW = vocabulary()["low_titre"].values
SINCE = vocabulary()["doses_since_low"].values
VACCINATION = vocabulary()["vaccination"].values
IMMUNOCOMPROMISED = vocabulary()["immunocompromised"].values

Situation = tuple[int, ...]
"""For each of FACTS the place of its value."""


@dataclass(frozen=True, slots=True)
class Decision:
    """What the tables say; `due` and `next_dose` name how the dates are found."""

    response: str
    immunity: str
    next_step: str
    due: str
    next_dose: str
    because: tuple[Reason, ...]
    text: str


@cache
def rules(name: str) -> Protocol:
    """The clearance tables that go with a protocol's id, compiled once.

    Raises:
        LookupError: there are none.
    """
    if not (SHIPPED / f"clearance_{name}").is_dir():
        raise LookupError(f"There are no clearance tables for {name!r}.")
    return protocol(f"clearance_{name}")


@cache
def decide(name: str, situation: Situation) -> Decision:
    """The decision for one situation."""
    tables = rules(name)
    facts = {
        fact: VALUES[n][place] for n, (fact, place) in enumerate(zip(FACTS, situation, strict=True))
    }
    found = tables.evaluate(facts).findings
    values = {id_: finding.value or "" for id_, finding in found.items()}
    because = (*found["hbv_response"].because, *found["immunity"].because)
    return Decision(
        values["hbv_response"],
        values["immunity"],
        values["next_step"],
        values["due"],
        values["next_dose"],
        because,
        " | ".join(dict.fromkeys(reason.cited for reason in because)),
    )
