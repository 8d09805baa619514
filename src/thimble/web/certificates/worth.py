"""What somebody is told who is shown a certificate: by its square code, or by number and code typed."""

from __future__ import annotations

import hmac
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import date

from thimble.actions.certificate_papers import CertificatePapers, Paper
from thimble.actions.people import NoSuchPerson, People, person_of
from thimble.clinical.site import Site
from thimble.documents.clearance_certificate.data import on
from thimble.ledger.fitness import FitnessDecision
from thimble.people.certificates.checking import Worth
from thimble.people.certificates.issued import Issued
from thimble.people.certificates.payload import presented
from thimble.people.certificates.signing import Forged
from thimble.web import clock


@dataclass(frozen=True, slots=True, repr=False)
class Told:
    """The answer. `name` and `born` are "" where they are not kept any more. No `repr`: it holds a name."""

    worth: Worth
    heading: str
    sentences: tuple[str, ...]
    number: str = ""
    name: str = ""
    born: str = ""
    result: str = ""
    exposure_prone: str = ""
    issued_on: str = ""
    valid_until: str = ""


@dataclass(frozen=True, slots=True, repr=False)
class _Found:
    """A certificate on record: whose it is, and its paper where that is kept."""

    person: str
    issued: Issued
    paper: Paper | None


class Checking:
    """Checks certificates against the ledger of people, their papers and the house's keys."""

    def __init__(
        self,
        people: People,
        papers: CertificatePapers,
        whose: Callable[[str], str],
        keys: Mapping[str, bytes],
        site: Site,
        decision_of: Callable[[str], FitnessDecision | None],
    ) -> None:
        """`whose` finds the person of a number whose paper was erased; "" where there is none.
        `decision_of` gives the decision about a person's fitness that is in force."""
        self._people = people
        self._papers = papers
        self._whose = whose
        self._keys = keys
        self._site = site
        self._decision_of = decision_of

    def by_square(self, text: str, today: date) -> Told:
        """The answer to what a square code holds."""
        again = (
            "If the square is creased or dirty, scan it once more, or type number and code instead."
        )
        try:
            shown = presented(text, self._keys)
        except Forged:
            return self._not_ours(again)
        found = self._found(shown.payload.number)
        if found is None or found.issued.payload != shown.payload.digest:
            return self._not_ours(again)
        if found.paper is not None and not hmac.compare_digest(found.paper.salt, shown.salt):
            return self._not_ours(again)
        return self._told(found, today)

    def by_hand(self, number: str, code: str, today: date) -> Told:
        """The answer to a number and code, both as written."""
        again = "Compare each character of number and code with the paper, and try once more."
        found = self._found(number)
        if found is None:
            return self._not_ours(again)
        if found.paper is None:
            return Told(
                Worth.NOT_OURS,
                "This cannot be checked by typing any more",
                ("Scan the square code on the paper instead, or ring occupational medicine.",),
            )
        if not hmac.compare_digest(found.paper.code, code):
            return self._not_ours(again)
        return self._told(found, today)

    def _found(self, number: str) -> _Found | None:
        paper = self._papers.paper(number)
        person = paper.person if paper else self._whose(number)
        if not person:
            return None
        try:
            held = person_of(self._people, person, clock.now()).certificates
        except NoSuchPerson:
            return None
        return next((_Found(person, each, paper) for each in held if each.number == number), None)

    def _not_ours(self, again: str) -> Told:
        house, department = self._site.name, self._site.occupational_medicine
        return Told(
            Worth.NOT_OURS,
            "Do not accept this certificate",
            (
                f"It is not one that {house} issued, or something on it was changed.",
                again,
                f"If the answer stays the same, keep a copy and ring {department.name}, "
                f"{department.phone}. Whoever showed it may know nothing of it.",
            ),
        )

    def _told(self, found: _Found, today: date) -> Told:
        issued, paper = found.issued, found.paper
        worth = issued.worth(today, self._decision_of(found.person))
        department = self._site.occupational_medicine
        ring = f"{department.name}, {department.phone}"
        sentences: tuple[str, ...]
        if worth is Worth.HOLDS:
            heading = "This certificate holds today"
            sentences = (
                "Compare name and date of birth with the paper and with an identity document. If either "
                f"differs, do not accept it and ring {ring}.",
            )
        elif worth is Worth.EXPIRED:
            heading = f"This certificate ran out on {on(issued.valid_until)}"
            sentences = (
                "It was genuine, and that was its last day. Ask the person for a new one.",
                "Certificates run out by themselves: that says nothing about anybody.",
            )
        elif worth is Worth.NOT_AT_PRESENT:
            heading = "This certificate does not hold at present"
            sentences = (
                f"It is genuine. Do not rely on it today: ask {ring}.",
                "That has many everyday reasons, and it may hold again. The reason is not told on request.",
            )
        else:
            since = (
                issued.withdrawn.at.astimezone(self._site.zone).date()
                if issued.withdrawn
                else today
            )
            heading = f"This certificate does not hold any more, since {on(since)}"
            sentences = (
                f"It was genuine and has been withdrawn. Ask the person for a new one, or ring {ring}.",
                "Certificates are withdrawn for many everyday reasons, such as a new name or other work. "
                "The reason is not told on request.",
            )
        if paper is None:
            sentences += ("The name is not kept here any more: the paper alone shows it.",)
        return Told(
            worth=worth,
            heading=heading,
            sentences=sentences,
            number=issued.number,
            name=paper.name if paper else "",
            born=on(paper.born) if paper else "",
            result=issued.statement.words,
            exposure_prone=issued.statement.about_exposure_prone,
            issued_on=on(issued.issued_on),
            valid_until=on(issued.valid_until),
        )
