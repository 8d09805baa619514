"""What can be printed for a case. Pure."""

from __future__ import annotations

from dataclasses import dataclass

from thimble.web.desk.page import Reading


@dataclass(frozen=True, slots=True)
class Paper:
    """One document: what it is called, what it is for, and the address by its name."""

    url_name: str
    title: str
    purpose: str


FOR_ALL = (
    Paper("papers:ward_card", "Ward card", "First aid and where to go, for the wall of a ward."),
    Paper(
        "papers:downtime_pack",
        "Downtime pack",
        "The decision tables and blank forms, for when computers are down. Print it anew with each "
        "edition of the protocol.",
    ),
)


@dataclass(frozen=True, slots=True)
class PapersPage:
    """The documents of one case."""

    case: str
    signed: bool
    papers: tuple[Paper, ...]

    @classmethod
    def of(cls, reading: Reading, capabilities: frozenset[str]) -> PapersPage:
        """What this account may print of a case."""
        papers = [
            Paper(
                "papers:worker_plan",
                "Plan for the worker",
                "In plain words: what was decided, the dates, the warning signs, whom to ring.",
            ),
            Paper(
                "papers:summary",
                "Clinician's summary",
                "The whole case on paper, for whoever takes over.",
            ),
        ]
        if "see_source" in capabilities:
            papers.append(
                Paper(
                    "papers:source_request",
                    "Request to the source patient's team",
                    "Asks for consent and blood. The patient's name is written in by hand.",
                )
            )
        return cls(reading.case, bool(reading.situation.signed), tuple(papers))


def filename(what: str, case: str = "") -> str:
    """A file's name: the case's reference and what it is, never a person's name.

    >>> filename("worker-plan", "K7QM-2F49")
    'thimble-K7QM-2F49-worker-plan.pdf'
    """
    return "-".join(part for part in ("thimble", case, what) if part) + ".pdf"
