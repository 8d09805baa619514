"""The decision tables, for reading."""
