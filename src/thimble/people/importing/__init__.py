"""A list of people or of evidence from elsewhere: its columns understood, and the fate of every row told
beforehand."""

from thimble.people.importing.columns import (
    FIELDS,
    Columns,
    find_header,
    guess,
    guess_columns,
    label_of,
)
from thimble.people.importing.matching import Register
from thimble.people.importing.on_file import Judged, Standing
from thimble.people.importing.preview import preview
from thimble.people.importing.rows import Fate, Preview, Row

__all__ = [
    "FIELDS",
    "Columns",
    "Fate",
    "Judged",
    "Preview",
    "Register",
    "Row",
    "Standing",
    "find_header",
    "guess",
    "guess_columns",
    "label_of",
    "preview",
]
