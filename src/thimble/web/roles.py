"""Who may do what. Deny by default: a role holds the capabilities named here and no other.

There is no account that may do everything, on purpose: whoever manages accounts sees no patient,
and whoever treats patients manages no accounts.
"""

from __future__ import annotations

from collections.abc import Mapping
from enum import StrEnum


class Role(StrEnum):
    """What somebody acts as."""

    EMERGENCY_CLINICIAN = "emergency_clinician"
    OCCUPATIONAL_NURSE = "occupational_nurse"
    OCCUPATIONAL_PHYSICIAN = "occupational_physician"
    SAFETY_OFFICER = "safety_officer"
    ADMINISTRATOR = "administrator"


LABELS: Mapping[Role, str] = {
    Role.EMERGENCY_CLINICIAN: "Emergency clinician",
    Role.OCCUPATIONAL_NURSE: "Occupational health nurse",
    Role.OCCUPATIONAL_PHYSICIAN: "Occupational physician",
    Role.SAFETY_OFFICER: "Safety officer",
    Role.ADMINISTRATOR: "Administrator",
}

CAPABILITIES: Mapping[str, str] = {
    "view_worklist": "See everyone's next thing and search cases by reference",
    "view_case": "Open a case: its facts, plan and history",
    "record_facts": "Answer questions and record what was done",
    "sign_plan": "Sign a plan",
    "depart": "Decide otherwise than advised, with a reason",
    "correct_entry": "Correct an earlier entry by a new one",
    "close_case": "Close and reopen a case",
    "print_documents": "Print plans, letters and the downtime pack",
    "decide_reaching": "Decide what is done about a worker who cannot be reached",
    "decide_fitness": "Decide about fitness for work, and see what that rests on",
    "see_worker_identity": "See the name and phone number of the exposed worker",
    "see_immunity": "See, through a case, what the register documents of the worker's immunity",
    "see_source": "See and record the steps with the source patient",
    "see_source_identity": "See who the source patient is",
    "keep_stock": "See what is in stock, and receive, count, move and discard it",
    "trace_lot": "See which cases were given a lot, and recall it",
    "resolve_results": "Place messages of the laboratory that found no case by themselves",
    "view_people": "See the register of people and what is documented of them",
    "edit_people": "Enrol people and record their evidence",
    "import_people": "Import people from a file, undo an import, export the register",
    "certify_clearance": "Issue and withdraw certificates of clearance for work",
    "view_protocols": "Read the decision tables with their sources",
    "view_safety_overview": "See exposures without identities, for prevention",
    "manage_accounts": "Create accounts, set roles, deactivate",
    "view_site": "See the settings of the site",
    "verify_ledger": "Check the ledger's digest chain",
}
"""Every capability with its meaning. A view names the one that it needs."""

_TREATS = frozenset(
    {
        "view_worklist",
        "view_case",
        "record_facts",
        "sign_plan",
        "depart",
        "correct_entry",
        "print_documents",
        "see_worker_identity",
        "see_immunity",
        "see_source",
        "see_source_identity",
        "view_protocols",
        "keep_stock",
    }
)

_KEEPS_PEOPLE = frozenset({"view_people", "edit_people", "import_people", "certify_clearance"})

GRANTED: Mapping[Role, frozenset[str]] = {
    Role.EMERGENCY_CLINICIAN: _TREATS,
    # A nurse prepares and follows; the plan is signed by a prescriber.
    Role.OCCUPATIONAL_NURSE: (_TREATS - {"sign_plan", "depart"})
    | {"close_case", "resolve_results", "trace_lot"}
    | _KEEPS_PEOPLE,
    Role.OCCUPATIONAL_PHYSICIAN: _TREATS
    | _KEEPS_PEOPLE
    | {
        "close_case",
        "decide_fitness",
        "decide_reaching",
        "resolve_results",
        "trace_lot",
        "view_safety_overview",
        "view_site",
        "verify_ledger",
    },
    Role.SAFETY_OFFICER: frozenset({"view_safety_overview", "view_protocols"}),
    Role.ADMINISTRATOR: frozenset({"manage_accounts", "view_site", "verify_ledger"}),
}


def may(role: str, capability: str) -> bool:
    """Whether a role holds a capability.

    Raises:
        ValueError: there is no such capability (a misspelt one must never read as "no" in silence).
    """
    name = capability.removeprefix("web.")
    if name not in CAPABILITIES:
        raise ValueError(f"there is no capability {name!r}; there are {', '.join(CAPABILITIES)}")
    return role in set(Role) and name in GRANTED[Role(role)]
