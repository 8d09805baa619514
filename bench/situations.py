"""Seeded random situations of a protocol, in full and with half of the facts unknown."""

from __future__ import annotations

import random
from dataclasses import dataclass

from thimble.clinical import library
from thimble.protocol import Protocol, Value, load_protocol

Situation = dict[str, Value]


@dataclass(frozen=True)
class Sample:
    """One protocol with the situations that every peer is asked about."""

    protocol: Protocol
    full: list[Situation]
    half: list[Situation]


def protocol_named(name: str) -> Protocol:
    """A shipped protocol, by id or folder; compiled anew."""
    return load_protocol(library.folder_of(name), library.VOCABULARY)


def sample(protocol: Protocol, count: int, seed: int = 20260302) -> Sample:
    """`count` situations that can be, drawn over every fact that the protocol asks for."""
    rng = random.Random(seed)
    columns = protocol.index.axes.values()
    facts = {axis.fact.id: [a for a in columns if a.fact.id == axis.fact.id] for axis in columns}
    full: list[Situation] = []
    while len(full) < count:
        situation: Situation = {}
        for id_, axes in facts.items():
            fact = axes[0].fact
            if fact.kind == "code":
                situation[id_] = rng.choice(fact.values)
            elif fact.kind == "set":
                situation[id_] = frozenset(m for m in fact.values if rng.random() < 0.3)
            else:  # on a threshold as often as away from one
                cuts = [c for c in axes[0].cuts if fact.low <= c <= fact.high] or [fact.low]
                near = rng.choice(cuts) + rng.choice([0.0, 0.0, -0.5, 0.5, 20.0])
                situation[id_] = min(max(near, fact.low), fact.high)
        if not protocol.contradictions(situation):
            full.append(situation)
    half = []
    for situation in full:
        known = set(rng.sample(sorted(situation), len(situation) // 2))
        half.append({id_: value for id_, value in situation.items() if id_ in known})
    return Sample(protocol, full, half)


def look(situation: Situation, column: str) -> str | float:
    """The value of a column: a code, a number, or yes or no for a member of a set."""
    fact, _, member = column.partition(".")
    value = situation[fact]
    if isinstance(value, frozenset):
        return "yes" if member in value else "no"
    return value
