"""The tables of `protocols/prophylaxis`, and questions put to them."""

from __future__ import annotations

from collections.abc import Mapping
from functools import cache

from thimble.clinical.library import SHIPPED
from thimble.protocol import Evaluation, Protocol, Value, load_protocol

from .vocabulary import vocabulary

FOLDER = "prophylaxis"
OTHER = "other"


@cache
def tables() -> Protocol:
    """The shipped tables, read and compiled once.

    Raises:
        ProtocolFaults: the folder is refused, with every fault.
    """
    return load_protocol(SHIPPED / FOLDER, vocabulary())


def put(facts: Mapping[str, Value]) -> Evaluation:
    """What the tables say of `facts`, checked first.

    Raises:
        ValueError: a fact is not known, or its value does not fit.
    """
    checked: dict[str, Value] = {id_: vocabulary()[id_].check(v) for id_, v in facts.items()}
    return tables().evaluate(checked)


def guideline_of(protocol: str) -> str:
    """The guideline that a site's protocol follows, as the tables name it."""
    return protocol if protocol in vocabulary()["guideline"].values else OTHER


@cache
def course_days(protocol: str) -> int | None:
    """How many days a course lasts under a protocol; None where the tables do not say.

    >>> course_days("us")
    28
    """
    found = put({"guideline": guideline_of(protocol)}).findings["course_days"].value
    return int(found) if found is not None and found.isdigit() else None


def medicine_in(product: str) -> str:
    """The one medicine of the vocabulary that a product's name names, else `other`.

    >>> medicine_in("Pack, 5 days: BICTEGRAVIR/emtricitabine/TAF"), medicine_in("starter pack")
    ('bictegravir', 'other')
    """
    named = [m for m in vocabulary()["medicine"].values if m != OTHER and m in product.lower()]
    return named[0] if len(named) == 1 else OTHER
