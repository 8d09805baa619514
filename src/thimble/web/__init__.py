"""The Django project: keeps the ledger in a database, and shows it to the people who may see it."""
