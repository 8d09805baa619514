"""Evidence against infections other than hepatitis B before work: what counts, the state, the next step."""

from .evidence import Against, Documented, Given, Past, Tested, days_of
from .judging import JUDGED, Judgement, judge, recurring
from .rules import rules

__all__ = [
    "JUDGED",
    "Against",
    "Documented",
    "Given",
    "Judgement",
    "Past",
    "Tested",
    "days_of",
    "judge",
    "recurring",
    "rules",
]
