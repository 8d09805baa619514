"""A plan in words: decisions, actions, cautions, each with its reasons. Pure."""

from thimble.web.desk.plan.decisions import LEFT_TO_A_PERSON, DepartureView, protective_first
from thimble.web.desk.plan.expert import ExpertView, asks_expert, expert_facts
from thimble.web.desk.plan.lens import Lens
from thimble.web.desk.plan.view import PlanView

__all__ = [
    "LEFT_TO_A_PERSON",
    "DepartureView",
    "ExpertView",
    "Lens",
    "PlanView",
    "asks_expert",
    "expert_facts",
    "protective_first",
]
