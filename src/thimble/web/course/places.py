"""Where on the page of a course an action of the plan is recorded."""

from __future__ import annotations

from thimble.ledger.plan import TO_DO, Plan
from thimble.ledger.prophylaxis.course import ANSWER
from thimble.ledger.prophylaxis.record import STOP

REVIEW = "review_72h"
"""The review of the plan that a review of the course does, by the id that protocols give it."""

RESUMED_REVIEW = "pep_resumed_review"
"""The review after a course was taken up again."""

ON_THE_COURSE = frozenset({"pep_next_supply", "pep_course_end", RESUMED_REVIEW})
"""Actions that only the page of the course can record: they ask for more than that they were done."""

_OF_A_COURSE = {
    "pep_next_supply": "hand_out",
    "pep_course_end": "stop",
    STOP: "stop",
    REVIEW: "review",
    RESUMED_REVIEW: "review",
}


def form_for(action: str, *, begun: bool) -> str:
    """The form on the page of a course, to put after its address; "" for what the page of the case records.

    `begun` says whether a first dose is on record: without one the 72-hour review is none of a course.
    """
    if action.startswith(ANSWER):
        return "#advice"
    if not begun:
        return ""
    form = _OF_A_COURSE.get(action)
    # The question has the form unfolded, the fragment brings it into view.
    return f"?do={form}#{form}" if form else ""


def open_questions(plan: Plan) -> dict[str, str]:
    """What the plan wants an expert asked, in its order: the id of each action, and its words.

    Answers that are awaited are none of these: each has a form of its own beside its question.
    """
    return {
        action.id: action.what if action.certain else f"{action.what} (may be needed)"
        for action in plan.actions
        if action.kind == "advice" and action.state in TO_DO and not action.id.startswith(ANSWER)
    }
