"""The page that a person of the register opens by themself: with a secret address and their birth date."""
