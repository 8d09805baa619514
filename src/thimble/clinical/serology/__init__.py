"""Blood results: what counts, what cannot be right, and what the tables of `protocols/serology` say."""

from .analytes import Analyte, Measure, measures
from .course import Course
from .faults import Held, faults
from .reading import Read, read_follow_up, read_source, read_worker_baseline
from .results import Against, Current, Quantity, Result, Status, Word, current
from .statement import Statement, negative_at_exposure
from .tables import Reading, tables
from .vocabulary import vocabulary

__all__ = [
    "Against",
    "Analyte",
    "Course",
    "Current",
    "Held",
    "Measure",
    "Quantity",
    "Read",
    "Reading",
    "Result",
    "Statement",
    "Status",
    "Word",
    "current",
    "faults",
    "measures",
    "negative_at_exposure",
    "read_follow_up",
    "read_source",
    "read_worker_baseline",
    "tables",
    "vocabulary",
]
