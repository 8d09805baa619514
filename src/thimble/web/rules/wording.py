"""Columns and cells of a table in words."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from thimble.clinical.saying import opening
from thimble.documents.words import duration_in_words
from thimble.protocol import Protocol
from thimble.protocol.model import COURSE_CLOCKS, NOT_BEFORE

SENTENCES = frozenset({"what", "text"})
"""Output columns that hold sentences."""
WHOM = {"worker": "the worker", "source": "the source patient", "department": "the department"}
KINDS = {
    "first_aid": "First aid", "sample": "Blood sample", "dose": "Dose", "ask": "Ask",
    "advice": "Advice", "counsel": "Counsel", "review": "Review",
}  # fmt: skip
TOPICS = {"hiv": "HIV", "hbv": "Hepatitis B", "hcv": "Hepatitis C"}
COLUMNS = {
    "action": "Name", "what": "What to do", "kind": "Kind", "for": "For",
    "counted_from": "Counted from", "earliest": "Not before", NOT_BEFORE: "Nor sooner than",
    "target": "Best by", "latest": "No later than", "topic": "About", "text": "What to know",
}  # fmt: skip


def column_label(column: str, protocol: Protocol) -> str:
    """An input column in words: a fact's question, a member of a set fact, or an earlier decision."""
    if column in protocol.outputs:
        return protocol.outputs[column].label or plain(column)
    id_, _, member = column.partition(".")
    if id_ not in protocol.vocabulary:
        return plain(column)
    fact = protocol.vocabulary[id_]
    return f"{fact.question} {fact.labels.get(member, plain(member))}" if member else fact.question


def output_label(column: str, protocol: Protocol) -> str:
    """An output column in words."""
    if column in protocol.outputs:
        return protocol.outputs[column].label or plain(column)
    return COLUMNS.get(column, plain(column))


def output_words(column: str, cell: str, protocol: Protocol, whats: Mapping[str, str]) -> str:
    """An output cell in words."""
    if column in protocol.outputs:
        words = protocol.outputs[column].words(cell)
        return opening(words)
    if column in ("earliest", "target", "latest"):
        if cell == "PT0H":
            return "at once"
        return duration_in_words(cell) or "no limit"
    if column == NOT_BEFORE:
        if cell == "-":
            return "no limit"
        action, _, duration = cell.partition(" ")
        waited = whats.get(action, plain(action))
        return f"{duration_in_words(duration)} after this is done: {waited}"
    if column == "counted_from":
        named = {"exposure": "the exposure", "-": "nothing", **COURSE_CLOCKS}
        return named.get(cell, whats.get(cell, plain(cell)))
    if column == "for":
        return WHOM.get(cell, cell)
    if column == "kind":
        return KINDS.get(cell, plain(cell))
    if column == "topic":
        return TOPICS.get(cell, plain(cell).capitalize())
    return cell


def plain(id_: str) -> str:
    """An id as words."""
    return id_.replace("_", " ").replace(".", ": ")


def said_values(name: str, value: str | Iterable[str], protocol: Protocol) -> list[str]:
    """Values of an output as words."""
    values = [value] if isinstance(value, str) else list(value)
    if name in protocol.outputs:
        return [protocol.outputs[name].words(each) for each in values]
    return [plain(each) for each in values]
