"""Entries in plain words, for the history of a case. Codes become the labels people know."""

from thimble.ledger.history.labels import LABELS
from thimble.ledger.history.lines import Line, history
from thimble.ledger.history.wording import details, fact_words

__all__ = ["LABELS", "Line", "details", "fact_words", "history"]
