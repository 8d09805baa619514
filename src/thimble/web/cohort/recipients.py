"""Who gets a letter of a kind, and how: by mail, on paper, or not at all and why."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from thimble.clinical.neutral import is_mail_address
from thimble.documents.letters.starter_letters import wanted
from thimble.people.identity import PersonIdentity
from thimble.people.readiness.cohorts import Member
from thimble.web.cohort.letter_form import ALL_PAPER, BY_MAIL


@dataclass(frozen=True, slots=True)
class Recipients:
    """References of those who get a letter, in order; of the others each with the reason. `needless` counts
    those to whom such a letter has nothing to say."""

    mail: tuple[str, ...]
    paper: tuple[str, ...]
    neither: tuple[tuple[str, str], ...]
    needless: int

    @property
    def everybody(self) -> tuple[tuple[str, str], ...]:
        """Each person who gets one, and how."""
        return (*((ref, "mail") for ref in self.mail), *((ref, "paper") for ref in self.paper))


def recipients(
    about: str,
    way: str,
    members: Iterable[Member],
    identities: Mapping[str, PersonIdentity],
    *,
    mail_works: bool,
) -> Recipients:
    """Everybody of `members`, sorted by how they can be written to."""
    mail, paper, neither, needless = [], [], [], 0
    for member in members:
        who = identities.get(member.reference)
        why = "" if way == ALL_PAPER else _why_no_mail(who, mail_works=mail_works)
        if not wanted(about, member.readiness):
            needless += 1
        elif who is None or not who.name:
            neither.append((member.reference, "the name was erased"))
        elif way == ALL_PAPER or (why and way == BY_MAIL):
            paper.append(member.reference)
        elif why:
            neither.append((member.reference, why))
        else:
            mail.append(member.reference)
    return Recipients(tuple(mail), tuple(paper), tuple(neither), needless)


def _why_no_mail(who: PersonIdentity | None, *, mail_works: bool) -> str:
    if not mail_works:
        return "mail is not set up"
    if who is None or not is_mail_address(who.email):
        return "no mail address"
    return "" if who.birth_date else "no birth date, which the own page asks for"
