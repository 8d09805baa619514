"""Letters to people before their first day: what is missing, an invitation, an offer of vaccine.

They speak to the person and carry what only that person may read; mail says nothing of it.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime, time

from thimble.clinical.offers import OfferLaw
from thimble.clinical.readiness import DiseaseState, Lack, Need, Readiness, Status
from thimble.clinical.saying import calendar_day
from thimble.clinical.site import Site
from thimble.documents.frame import ProtocolMark, frame
from thimble.documents.letters.letter import Letter, OwnPage, Part, Table, here

TALK = "A talk with the physician"
PAGE_WORDS = (
    "Send photos of your vaccination card and of laboratory reports there, and see what is open.",
    "It asks for your birth date. The address is for you alone: do not pass it on.",
)


@dataclass(frozen=True, slots=True)
class Session:
    """When and where people are asked to come."""

    day: date
    opens: time
    closes: time
    place: str

    @property
    def words(self) -> str:
        """`Mon 14 Dec 2026, between 09:00 and 12:00`."""
        return f"{calendar_day(self.day)}, between {self.opens:%H:%M} and {self.closes:%H:%M}"


TITLES: Mapping[str, tuple[str, str]] = {
    "missing": ("Before your first day", "what is still missing"),
    "invitation": ("Please come and see us", "before your first day"),
    "offer": ("Offer of vaccine", "before your first day"),
}
"""Of each kind of letter (ids of `people.choices.LETTERS`): its title and what stands below."""


DECIDED = (
    "What was decided about your fitness for work stays as it is; we tell you when it changes."
)
"""The same words whatever was decided."""


def wanted(about: str, whole: Readiness) -> bool:
    """Whether a kind of letter has anything to say to somebody."""
    if about == "offer":
        return bool(_doses(whole))
    return bool(whole.lacks)


def offered(about: str, whole: Readiness) -> tuple[str, ...]:
    """Against which diseases a letter of a kind offers a vaccine."""
    return tuple(state.disease for state in whole.states if about == "offer" and _doses(state))


def _doses(whole: Readiness | DiseaseState) -> tuple[Lack, ...]:
    return tuple(lack for lack in whole.lacks if lack.need is Need.DOSE)


def starter_letter(
    about: str,
    whole: Readiness,
    name: str,
    site: Site,
    now: datetime,
    mark: ProtocolMark,
    *,
    session: Session | None = None,
    page: OwnPage | None = None,
    law: OfferLaw | None = None,
) -> Letter:
    """One letter, printed at `now` (aware). `law` is that of offers, where one is known.

    Raises:
        ValueError: an invitation without its session.
    """
    title, subtitle = TITLES[about]
    today = now.astimezone(site.zone).date()
    if about == "invitation":
        if session is None:
            raise ValueError("an invitation says when and where to come")
        opening, parts = _invitation(whole, session, today)
    elif about == "offer":
        opening, parts = _offer(whole, today, law)
    else:
        opening, parts = _missing(whole, today)
    return Letter(
        frame=frame(title, subtitle, site, now, mark),
        to=(name,),
        about="",
        opening=opening,
        parts=parts,
        contacts=here(site),
        signed_by="",
        any_unconfirmed=not whole.confirmed,
        page=page or OwnPage(),
    )


def _start(whole: Readiness) -> str:
    return f"You start on {calendar_day(whole.start)}. " if whole.start else ""


_Words = tuple[tuple[str, ...], tuple[Part, ...]]


def _missing(whole: Readiness, today: date) -> _Words:
    why = "Before you may meet patients we have to know that you are protected."
    if whole.status is Status.READY_WITHOUT:
        why = "What follows is asked before exposure-prone procedures; it holds up no other work of yours."
    opening = (
        f"{_start(whole)}{why} This is what is missing on our side; the days are those recommended.",
    )
    said = f"If all is done on these days: ready {whole.by()}."
    by = (said,) if whole.ready_on is not None and not whole.restriction else ()
    if whole.status is Status.NOT_FIT or whole.restriction:
        by = (DECIDED,)
    done = (
        "Send us what you have on paper already: a dose that is documented need not be given again.",
        "For a dose or a blood sample call us and agree on a time.",
    )
    return opening, (
        Part("What is missing", sentences=by, table=_table(whole.lacks, today)),
        Part("What to do", points=done),
    )


def _invitation(whole: Readiness, session: Session, today: date) -> _Words:
    place = f" Place: {session.place}." if session.place else ""
    opening = (
        f"{_start(whole)}Please come on {session.words}.{place}",
        "Choose your time on your own page, or call us.",
    )
    due = tuple(
        lack
        for lack in whole.lacks
        if lack.need in (Need.DOSE, Need.TEST)
        and lack.earliest is not None
        and lack.earliest <= session.day
    )
    # Of steps that follow each other only the first can be done on one day.
    first = tuple({lack.item: lack for lack in reversed(due)}.values())[::-1]
    words = dict.fromkeys(_what(lack) for lack in first)
    planned = Part("What we plan for that day", points=tuple(words))
    looked = Part("What we plan for that day", sentences=("We look at your papers together.",))
    bring = (
        "your vaccination card and any laboratory report, also from abroad",
        "a document with your photo",
    )
    del today
    return opening, (
        planned if first else looked,
        Part("Please bring", points=bring),
        Part("", ("If you cannot come, please call: we find another time.",)),
    )


def _offer(whole: Readiness, today: date, law: OfferLaw | None) -> _Words:
    told = law.told if law is not None and law.disease in offered("offer", whole) else ""
    opening = (
        f"{_start(whole)}We offer you the following, because nothing on record shows yet that you are "
        "protected.",
    )
    return opening, (
        Part("What we offer", (told,) if told else (), table=_table(_doses(whole), today)),
        Part(
            "You decide",
            points=(
                "Before you decide, ask us what a vaccine can and cannot do, and what speaks against it.",
                "You may decline. The offer stands: you may take it up later.",
                "If you were vaccinated elsewhere, send us the card: then nothing may be missing.",
            ),
        ),
    )


def _table(lacks: tuple[Lack, ...], today: date) -> Table:
    rows = {(_what(lack), _when(lack, today)): None for lack in lacks}
    return Table(("What", "When"), (2.2, 1), tuple(rows))


def _what(lack: Lack) -> str:
    """What is missing as the person reads it: whatever is for the physician is told in a talk."""
    return TALK if lack.need is Need.PHYSICIAN else lack.told or lack.what


def _when(lack: Lack, today: date) -> str:
    if lack.recommended is None:
        return "as soon as you can"
    return "now" if lack.recommended <= today else f"from {calendar_day(lack.recommended)}"
