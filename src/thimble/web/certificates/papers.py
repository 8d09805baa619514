"""Papers of certificates in the database, as certificates hold them: added and erased, never changed."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from django.db.models import QuerySet

from thimble.actions.certificate_papers import Paper
from thimble.people.entries import Kind
from thimble.web.models import CertificatePaper, PersonEntry


class DjangoPapers:
    """See `thimble.actions.certificate_papers.CertificatePapers`."""

    def keep(self, paper: Paper) -> None:
        """See `CertificatePapers.keep`."""
        CertificatePaper.objects.create(
            number=paper.number,
            person=paper.person,
            name=paper.name,
            born=paper.born,
            code=paper.code,
            proof=paper.proof,
            salt=paper.salt.hex(),
        )

    def paper(self, number: str) -> Paper | None:
        """See `CertificatePapers.paper`."""
        return self.papers([number]).get(number)

    def papers(self, numbers: Iterable[str]) -> Mapping[str, Paper]:
        """See `CertificatePapers.papers`."""
        return {row.number: _paper(row) for row in self._rows.filter(number__in=list(numbers))}

    def erase(self, people: Iterable[str]) -> None:
        """See `CertificatePapers.erase`."""
        gone = list(people)
        for start in range(0, len(gone), 500):
            self._rows.filter(person__in=gone[start : start + 500]).delete()

    @property
    def _rows(self) -> QuerySet[CertificatePaper]:
        return CertificatePaper.objects.all()


def whose(number: str) -> str:
    """The person of a certificate whose paper was erased: the ledger remembers the number. "" for none."""
    rows = PersonEntry.objects.filter(
        kind=Kind.CERTIFIED.value, body__contains=f'"number":"{number}"'
    )
    return rows.values_list("case", flat=True).first() or ""


def _paper(row: CertificatePaper) -> Paper:
    return Paper(
        row.number, row.person, row.name, row.born, row.code, row.proof, bytes.fromhex(row.salt)
    )
