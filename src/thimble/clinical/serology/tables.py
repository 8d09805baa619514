"""The tables of `protocols/serology`, and one question put to them."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache

from thimble.clinical.library import SHIPPED
from thimble.protocol import Evaluation, Facts, Protocol, Value, load_protocol
from thimble.protocol.finding import Reason

from .results import Result
from .vocabulary import vocabulary

FOLDER = "serology"
STANDING, NEXT = "_standing", "_next"


@cache
def tables() -> Protocol:
    """The shipped tables, read and compiled once.

    Raises:
        ProtocolFaults: the folder is refused, with every fault.
    """
    return load_protocol(SHIPPED / FOLDER, vocabulary())


@dataclass(frozen=True, slots=True)
class Reading:
    """What the tables say to one question.

    `value` is None while facts are missing that can change it: `possible` then lists what can come
    out. `final` is false for a provisional reading and for an open one. `next_step` is a code and
    `next_words` the sentence for it; both are empty for a reading that has none. `of` are the results
    it was read from.
    """

    decision: str
    value: str | None
    words: str
    possible: tuple[str, ...]
    final: bool
    next_step: str = ""
    next_words: str = ""
    because: tuple[Reason, ...] = ()
    open_facts: tuple[str, ...] = ()
    of: tuple[Result, ...] = ()
    note: str = ""


def ask(facts: Mapping[str, object]) -> Evaluation:
    """What the tables say of `facts`, checked first.

    Raises:
        ValueError: a fact is not known, or its value does not fit.
    """
    checked: dict[str, Value] = {}
    for id_, value in facts.items():
        if id_ not in vocabulary():
            raise ValueError(f"{id_} is not a fact of the results; see serology/vocabulary.toml")
        checked[id_] = vocabulary()[id_].check(value)
    known: Facts = checked
    return tables().evaluate(known)


def code(evaluation: Evaluation, decision: str) -> str | None:
    """The decided value, or None while it is open."""
    return evaluation.findings[decision].value


def reading(
    evaluation: Evaluation, decision: str, of: tuple[Result, ...] = (), note: str = ""
) -> Reading:
    """One decision with its words, its standing and its next step."""
    outputs = tables().outputs
    finding = evaluation.findings[decision]
    standing = evaluation.findings.get(decision + STANDING)
    following = evaluation.findings.get(decision + NEXT)
    step = (following.value if following else None) or ""
    output = outputs[decision]
    words = (
        output.words(finding.value)
        if finding.value is not None
        else "Open: " + "; ".join(output.words(v) for v in finding.possible)
    )
    return Reading(
        decision=decision,
        value=finding.value,
        words=words,
        possible=finding.possible,
        final=finding.value is not None and (standing is None or standing.value == "final"),
        next_step=step,
        next_words=outputs[decision + NEXT].words(step) if step else "",
        because=finding.because,
        open_facts=finding.open_facts,
        of=of,
        note=note,
    )
