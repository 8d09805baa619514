"""What a manager is told: fit or not, the restriction in terms of work, the day of review. No more.

It carries neither the reference of a case nor its digest, and nothing that was typed: the words come from
`ledger.fitness` alone.
"""

from __future__ import annotations

from datetime import datetime

from thimble.clinical.saying import calendar_day
from thimble.clinical.site import Site
from thimble.documents.frame import DIGEST_SHOWN, ProtocolMark, frame
from thimble.documents.letters.letter import Letter, Part, here
from thimble.ledger.fitness import FitnessDecision

NOT_TOLD = "Reasons are confidential to the department and are not told on request."


def fitness_letter(
    decision: FitnessDecision, site: Site, now: datetime, *, name: str = ""
) -> Letter:
    """The letter about a decision, printed at `now` (aware). `name` is the worker's, "" for a line.

    The foot names the tables that the decision followed, not those in force now.
    """
    mark = ProtocolMark(decision.tables, decision.edition, decision.digest[:DIGEST_SHOWN])
    review = (
        f"To be reviewed on {calendar_day(decision.review_on)}."
        if decision.review_on
        else "No review is set."
    )
    return Letter(
        frame=frame("Fitness for work", "for the line manager", site, now, mark),
        to=(),
        about=name or "_" * 30,
        opening=(),
        parts=(
            Part("Decision", (f"{decision.words}.",)),
            Part("Review", (review,)),
            Part("", (NOT_TOLD,)),
        ),
        contacts=here(site),
        signed_by="Name and role of the physician",
    )
