"""The tables of `protocols/fitness`, and facts put to them."""

from __future__ import annotations

from collections.abc import Mapping
from functools import cache

from thimble.clinical.library import SHIPPED
from thimble.protocol import Evaluation, Protocol, Value, load_protocol

from .vocabulary import vocabulary

FOLDER = "fitness"


@cache
def tables() -> Protocol:
    """The shipped tables, read and compiled once.

    Raises:
        ProtocolFaults: the folder is refused, with every fault.
    """
    return load_protocol(SHIPPED / FOLDER, vocabulary())


def checked(facts: Mapping[str, object]) -> dict[str, Value]:
    """Facts as the tables take them.

    Raises:
        ValueError: a fact is not known, or its value does not fit.
    """
    for id_ in facts:
        if id_ not in vocabulary():
            raise ValueError(f"{id_} is not a fact of fitness; see fitness/vocabulary.toml")
    return {id_: vocabulary()[id_].check(value) for id_, value in facts.items()}


def put(facts: Mapping[str, object]) -> Evaluation:
    """What the tables say of `facts`, checked first.

    Raises:
        ValueError: a fact is not known, or its value does not fit.
    """
    return tables().evaluate(checked(facts))
