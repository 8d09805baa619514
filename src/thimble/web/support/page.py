"""The words about support on the page of the visits. Pure."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import tzinfo

from thimble.clinical.saying import minute
from thimble.ledger.bodies import ANSWERS
from thimble.ledger.follow_up.support import due_offer, offering
from thimble.ledger.situation import Situation


@dataclass(frozen=True, slots=True)
class Support:
    """What is asked now (by the moment's id, with its words), and what was answered before."""

    ask: str
    source: str
    due: str
    due_words: str
    answered: tuple[str, ...]
    answers: tuple[tuple[str, str], ...] = (
        ("accepted", "Offered and accepted"),
        ("declined", "Offered and declined"),
    )

    @classmethod
    def of(cls, situation: Situation, zone: tzinfo) -> Support:
        """Of a case."""
        asked, due = offering(), due_offer(situation)
        words = {moment.id: moment.words for moment in asked.moments}
        return cls(
            ask=asked.ask,
            source=asked.source,
            due="" if due is None else due.id,
            due_words="" if due is None else due.words,
            answered=tuple(
                f"{minute(at, zone)}, {words.get(action, action.replace('_', ' '))}: {ANSWERS[answer]}"
                for at, action, answer in reversed(situation.follow_up.answers)
            ),
        )
