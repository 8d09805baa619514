"""Certificates of clearance as printed: what is stated in terms of work, and what lets it be checked.

Nothing clinical can stand here: the words come from `people.certificates.stating` alone, and no evidence
and no reason is given to this module.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict, dataclass, replace
from datetime import date
from itertools import groupby
from typing import Any

import segno

from thimble.clinical.saying import month_name
from thimble.clinical.site import Site
from thimble.documents.frame import Contact, Frame, ProtocolMark, contact, frame
from thimble.people.certificates.issued import Issued

SAYS = (
    "Says what this person is cleared for at work, and nothing about their health. Reasons are "
    "confidential and are not told on request."
)


@dataclass(frozen=True, slots=True, repr=False)
class Printed:
    """A certificate with what stands on its paper beside what the file says. No `repr`: it holds a name.

    Args:
        issued_by: name and role of whoever issued it.
        code: typed by hand beside the number.
        square: the text of the square code (`people.certificates.payload.square_text`).
    """

    issued: Issued
    name: str
    born: date
    issued_by: str
    code: str
    square: str


@dataclass(frozen=True, slots=True)
class Square:
    """A square code: modules on a side, and its dark runs as column, row, length."""

    side: int
    runs: tuple[tuple[int, int, int], ...]


@dataclass(frozen=True, slots=True)
class Page:
    """Every word of one certificate."""

    name: str
    born: str
    result: str
    exposure_prone: str
    issued_on: str
    valid_until: str
    issued_by: str
    number: str
    code: str
    square: Square


@dataclass(frozen=True, slots=True)
class Certificates:
    """One file with a page for each certificate."""

    frame: Frame
    department: Contact
    address: str
    pages: tuple[Page, ...]

    def to_data(self) -> dict[str, Any]:
        """For the template."""
        return asdict(self)


def certificates(printed: Sequence[Printed], site: Site, address: str) -> Certificates:
    """The pages of some certificates, in the order given.

    Args:
        address: of the page on which anybody checks one, as it is typed.

    Raises:
        ValueError: there is none.
    """
    if not printed:
        raise ValueError("there is no certificate to print")
    latest = max(each.issued.at for each in printed)
    head = frame("Certificate of clearance", "for work", site, latest, ProtocolMark("", "", ""))
    return Certificates(
        # Printed again it is the same paper: it tells when it was issued, not when it was printed.
        frame=replace(head, printed="", caution=SAYS),
        department=contact(site.occupational_medicine),
        address=address,
        pages=tuple(_page(each) for each in printed),
    )


def on(day: date) -> str:
    """A day on a certificate: `14 Mar 1999`."""
    return f"{day.day} {month_name(day.month)} {day.year}"


def _page(each: Printed) -> Page:
    issued = each.issued
    return Page(
        name=each.name,
        born=on(each.born),
        result=issued.statement.words,
        exposure_prone=issued.statement.about_exposure_prone,
        issued_on=on(issued.issued_on),
        valid_until=on(issued.valid_until),
        issued_by=each.issued_by,
        number=issued.number,
        code=each.code,
        square=_square(each.square),
    )


def _square(text: str) -> Square:
    code = segno.make(text, error="m", micro=False)
    runs = []
    for row, modules in enumerate(code.matrix):
        start = 0
        for dark, run in groupby(modules):
            length = len(list(run))
            if dark:
                runs.append((start, row, length))
            start += length
    return Square(len(code.matrix), tuple(runs))
