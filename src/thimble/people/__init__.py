"""People of the house and what is documented of them: entries, bodies, fold. A ledger of its own."""
