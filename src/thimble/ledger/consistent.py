"""Answers that cannot hold together: found, told in sentences, and left out until corrected."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from thimble.clinical.saying import opening
from thimble.protocol.finding import Evaluation
from thimble.protocol.protocol import Contradiction, Protocol
from thimble.protocol.vocabulary import Value


def consistent(
    facts: Mapping[str, Value], protocol: Protocol
) -> tuple[dict[str, Value], list[str]]:
    """The facts without those that contradict one another, and a sentence for each contradiction.

    A fact that makes sense only after another gives way to it; otherwise every fact of the
    contradiction is left out.
    """
    kept = dict(facts)
    sentences: list[str] = []
    while found := protocol.contradictions(kept):
        for contradiction in found:
            told = _gives_way if contradiction.gives_way else _cannot_hold
            sentences.append(told(contradiction, facts, protocol))
        for contradiction in found:
            for fact in (
                (contradiction.gives_way,) if contradiction.gives_way else contradiction.facts
            ):
                kept.pop(fact, None)
    return kept, sentences


def _gives_way(contradiction: Contradiction, facts: Mapping[str, Value], protocol: Protocol) -> str:
    answer = _answers((contradiction.gives_way,), facts, protocol)
    stands = _answers(
        (fact for fact in contradiction.facts if fact != contradiction.gives_way), facts, protocol
    )
    return (
        f"This answer does not count beside another: {answer}. {_sentence(contradiction.because)} "
        f"The other stands: {stands}. Correct whichever is wrong."
    )


def _answers(ids: Iterable[str], facts: Mapping[str, Value], protocol: Protocol) -> str:
    return "; ".join(
        f"{protocol.vocabulary[id_].question} {protocol.vocabulary[id_].label(facts[id_])}"
        for id_ in ids
        if id_ in facts
    )


def _sentence(text: str) -> str:
    text = text.strip().rstrip(".")
    return f"{opening(text)}."


def _cannot_hold(
    contradiction: Contradiction, facts: Mapping[str, Value], protocol: Protocol
) -> str:
    return (
        f"These answers cannot hold together: {_answers(contradiction.facts, facts, protocol)}. "
        f"{_sentence(contradiction.because)} "
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
                    Contradiction(
                        (fact,), "It leaves no situation that can be, with the other answers"
                    ),
                    kept,
                    protocol,
                )
            )
        else:
            possible[fact] = value
    return protocol.evaluate(possible)
