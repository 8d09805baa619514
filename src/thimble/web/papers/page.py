"""What can be printed for a case. Pure."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from thimble.clinical.serology import Course
from thimble.clinical.site import Site
from thimble.documents.all_clear.data import why_no_all_clear
from thimble.documents.letters.results_explained import why_not_explained
from thimble.documents.letters.visit_dates import why_no_dates, why_not_missed
from thimble.documents.record import Record
from thimble.documents.source_request.data import why_no_request
from thimble.ledger.exposed import say, told
from thimble.ledger.follow_up.visiting import visiting
from thimble.ledger.linking import is_patient_case
from thimble.ledger.results.recorded import course_around
from thimble.protocol.protocol import Protocol
from thimble.web.desk.reading import Reading
from thimble.web.roles import LABELS


@dataclass(frozen=True, slots=True)
class Paper:
    """One document: what it is called, what it is for, and the address by its name."""

    url_name: str
    title: str
    purpose: str
    pdf: bool = True


FOR_ALL = (
    Paper("papers:ward_card", "Ward card", "First aid and where to go, for the wall of a ward."),
    Paper(
        "papers:downtime_pack",
        "Downtime pack",
        "The decision tables and blank forms, for when computers are down. Print it anew with each "
        "edition of the protocol.",
    ),
)


VISIT_DATES = Paper(
    "papers:visit_dates",
    "Dates of the visits",
    "For the worker, to post: when and where, what to bring, whom to call. It tells nothing of what the "
    "visits are for.",
)
RESULTS_EXPLAINED = Paper(
    "papers:results_explained",
    "Results explained",
    "For the worker: their own results in plain words, what they do not show yet, what comes next.",
)
MISSED_VISIT = Paper(
    "papers:missed_visit",
    "We expected you",
    "For a worker who did not come, to post or to send registered. It tells nothing of what the visit "
    "was for. Record the attempt once it has gone.",
)
TO_COLLEAGUES = Paper(
    "papers:letters",
    "Letters to colleagues",
    "A referral to a specialist; a letter to the general practitioner, if the worker agreed.",
    pdf=False,
)


@dataclass(frozen=True, slots=True)
class PapersPage:
    """The documents of one case.

    `no_request` says why the source's team is asked nothing, `no_all_clear` why nothing is certified,
    `no_letters` which letters to the worker there are not, and why.
    """

    case: str
    signed: bool
    papers: tuple[Paper, ...]
    no_request: str
    no_all_clear: str
    no_letters: tuple[str, ...]
    of_patient: bool
    fault: str

    @classmethod
    def of(
        cls,
        reading: Reading,
        capabilities: frozenset[str],
        *,
        no_all_clear: str,
        letters: tuple[tuple[Paper, str], ...] = (),
        fault: str = "",
    ) -> PapersPage:
        """What this account may print of a case; `fault` says why what was asked for is not."""
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
        no_request = why_no_request(reading.situation) if "see_source" in capabilities else ""
        if "see_source" in capabilities and not no_request:
            papers.append(
                Paper(
                    "papers:source_request",
                    "Request to the source patient's team",
                    "Asks for consent and blood. The patient's name is written in by hand.",
                )
            )
        papers.append(
            Paper(
                "papers:closing_statement",
                "Closing statement",
                "For the record: what was planned and what became of it, every result of the worker, "
                "and what they show. What was typed as a reason stays in the case.",
            )
        )
        if not no_all_clear:
            papers.append(
                Paper(
                    "papers:all_clear",
                    "All-clear certificate",
                    "For the worker: the follow-up of this exposure is complete.",
                )
            )
        papers += [paper for paper, why in letters if not why]
        if "see_worker_identity" in capabilities:
            papers.append(TO_COLLEAGUES)
        return cls(
            reading.case,
            bool(reading.situation.signed),
            told(tuple(papers), reading.situation),
            say(no_request, reading.situation),
            no_all_clear,
            told(
                tuple(f"No letter “{paper.title}”. {why}" for paper, why in letters if why),
                reading.situation,
            ),
            is_patient_case(reading.situation),
            say(fault, reading.situation),
        )


def course(reading: Reading, protocol: Protocol, site: Site) -> Course:
    """The course around the results of a case."""
    return course_around(reading.situation, reading.plan.actions, protocol, site.zone)


def letters_of(reading: Reading, protocol: Protocol, site: Site) -> tuple[tuple[Paper, str], ...]:
    """The letters to the worker, each with why it is not printed, or ""."""
    found = visiting(reading.plan, reading.situation, site)
    around = course(reading, protocol, site)
    missed = () if why_not_missed(found.expected) else ((MISSED_VISIT, ""),)
    return (
        *missed,
        (VISIT_DATES, why_no_dates(found.expected)),
        (RESULTS_EXPLAINED, why_not_explained(reading.situation, around, reading.plan.now)),
    )


def refusal(reading: Reading, record: Record, protocol: Protocol, site: Site) -> str:
    """Why no all clear is certified; "" where it is."""
    found = course(reading, protocol, site)
    return why_no_all_clear(reading.plan, reading.situation, found, record)


def record_of(reading: Reading, names: Mapping[str, str], protocol: Protocol, site: Site) -> Record:
    """What the papers take from the entries: the doses, who wrote, and the plan as it was signed."""
    signed = reading.situation.signed
    return Record(
        entries=reading.entries,
        names=names,
        roles={role.value: label for role, label in LABELS.items()},
        as_signed=reading.plan_at(signed[-1].entry, protocol, site) if signed else None,
    )


def filename(what: str, case: str = "") -> str:
    """A file's name: the case's reference and what it is, never a person's name.

    >>> filename("worker-plan", "K7QM-2F49")
    'thimble-K7QM-2F49-worker-plan.pdf'
    """
    return "-".join(part for part in ("thimble", case, what) if part) + ".pdf"
