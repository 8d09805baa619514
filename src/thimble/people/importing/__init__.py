"""A list of people from elsewhere: its columns understood, and the fate of every row told beforehand."""

from thimble.people.importing.columns import FIELDS, Columns, find_header, guess_columns
from thimble.people.importing.preview import (
    Fate,
    Preview,
    Register,
    Row,
    preview,
)

__all__ = [
    "FIELDS",
    "Columns",
    "Fate",
    "Preview",
    "Register",
    "Row",
    "find_header",
    "guess_columns",
    "preview",
]
