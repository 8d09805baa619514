"""The decision of a physician as it was typed, in a case or on a person's file."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date

from thimble.actions import FitnessVerdict
from thimble.ledger.bodies import FITNESS_OUTCOMES as OUTCOMES
from thimble.ledger.bodies import FITNESS_RESTRICTIONS as RESTRICTIONS
from thimble.web.desk.questions import BadAnswer

KEPT = ("rule_set", "exposure_prone")
"""The facts of a decision that hold for the next one; results are asked anew."""


def read_decision(typed: Mapping[str, str]) -> FitnessVerdict:
    """What was typed.

    Raises:
        BadAnswer: nothing was chosen, what was chosen does not go together, or the day of review
            cannot be read or is missing.
    """
    outcome, restriction = typed.get("outcome", ""), typed.get("restriction", "")
    if outcome not in OUTCOMES or restriction not in RESTRICTIONS:
        raise BadAnswer("Say what you decide, and which restriction.")
    review = None
    if said := typed.get("review_on", "").strip():
        try:
            review = date.fromisoformat(said)
        except ValueError:
            raise BadAnswer(f"Give the day of review as 2026-09-30; found “{said[:20]}”.") from None
    if outcome == "fit_with_restriction" and restriction == "none":
        raise BadAnswer("“Fit with a restriction”: choose which restriction.")
    if outcome != "fit_with_restriction" and restriction != "none":
        raise BadAnswer("A restriction goes with “Fit with a restriction”: choose that, or none.")
    if outcome != "fit" and review is None:
        raise BadAnswer("Give the day of review: on which day is this decided anew?")
    return FitnessVerdict(outcome, restriction, review, typed.get("reason", "").strip())
