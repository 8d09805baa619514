"""What is due and when."""

from thimble.ledger.due.actions import actions_of, in_order
from thimble.ledger.due.left_over import words_of

__all__ = ["actions_of", "in_order", "words_of"]
