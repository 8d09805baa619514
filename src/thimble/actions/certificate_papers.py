"""What a paper of clearance shows of a person: kept apart from the ledger, behind its own port."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date
from typing import Protocol, runtime_checkable


@dataclass(frozen=True, slots=True, repr=False)
class Paper:
    """A certificate as it was printed, so that it can be printed again. No `repr`: it holds a name.

    `code` is typed by hand beside the number; `proof` and `salt` stand in the square code.
    """

    number: str
    person: str
    name: str
    born: date
    code: str
    proof: str
    salt: bytes

    def __repr__(self) -> str:
        return "Paper(…)"


@runtime_checkable
class CertificatePapers(Protocol):
    """Where papers are kept. They are added and erased, never changed."""

    def keep(self, paper: Paper) -> None:
        """Keep a paper. Its number is new."""

    def paper(self, number: str) -> Paper | None:
        """The paper of a number; None where there is none or it was erased."""

    def papers(self, numbers: Iterable[str]) -> Mapping[str, Paper]:
        """Those that there are of these numbers."""

    def erase(self, people: Iterable[str]) -> None:
        """Erase every paper of these people for good; the chain stays whole."""


class MemoryPapers:
    """Papers in memory: for tests."""

    def __init__(self) -> None:
        self._papers: dict[str, Paper] = {}

    def keep(self, paper: Paper) -> None:
        """See `CertificatePapers.keep`."""
        if paper.number in self._papers:
            raise ValueError("a paper is never replaced")
        self._papers[paper.number] = paper

    def paper(self, number: str) -> Paper | None:
        """See `CertificatePapers.paper`."""
        return self._papers.get(number)

    def papers(self, numbers: Iterable[str]) -> Mapping[str, Paper]:
        """See `CertificatePapers.papers`."""
        return {number: self._papers[number] for number in numbers if number in self._papers}

    def erase(self, people: Iterable[str]) -> None:
        """See `CertificatePapers.erase`."""
        gone = set(people)
        self._papers = {n: p for n, p in self._papers.items() if p.person not in gone}
