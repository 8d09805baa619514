"""Answers that cannot hold together: found, told in sentences, and left out until corrected."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from thimble.protocol.finding import Evaluation
from thimble.protocol.protocol import Protocol
from thimble.protocol.vocabulary import Value


def consistent(
    facts: Mapping[str, Value], protocol: Protocol
) -> tuple[dict[str, Value], list[str]]:
    """The facts without those that contradict one another, and a sentence for each contradiction."""
    kept = dict(facts)
    sentences: list[str] = []
    while found := protocol.contradictions(kept):
        for contradiction in found:
            sentences.append(
                _cannot_hold(contradiction.facts, contradiction.because, facts, protocol)
            )
        for contradiction in found:
            for fact in contradiction.facts:
                kept.pop(fact, None)
    return kept, sentences


def _cannot_hold(
    ids: Iterable[str], because: str, facts: Mapping[str, Value], protocol: Protocol
) -> str:
    answers = "; ".join(
        f"{protocol.vocabulary[id_].question} {protocol.vocabulary[id_].label(facts[id_])}"
        for id_ in ids
        if id_ in facts
    )
    because = because.strip().rstrip(".")
    return (
        f"These answers cannot hold together: {answers}. {because[:1].upper()}{because[1:]}. "
        "Until one is corrected they are treated as not settled."
    )


def answer(facts: Mapping[str, Value], protocol: Protocol, sentences: list[str]) -> Evaluation:
    """`protocol.evaluate`, leaving out facts that leave no situation that can be."""
    kept, told = consistent(facts, protocol)
    sentences += told
    try:
        return protocol.evaluate(kept)
    except ValueError:
        pass
    # No single declared impossibility is met, yet together they leave nothing: find the answers
    # that do it, one by one, and leave those open.
    possible: dict[str, Value] = {}
    for fact, value in kept.items():
        try:
            protocol.evaluate({**possible, fact: value})
        except ValueError:
            sentences.append(
                _cannot_hold(
                    [fact],
                    "It leaves no situation that can be, with the other answers",
                    kept,
                    protocol,
                )
            )
        else:
            possible[fact] = value
    return protocol.evaluate(possible)
