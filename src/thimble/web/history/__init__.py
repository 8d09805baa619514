"""The ledger of one case in plain words, and the case as it was known at any past moment."""
