"""What is known of one person as of a moment: a pure function of the entries of their file.

A correction acts where the entry it corrects stands, as in a case. An import that was undone leaves
nothing behind: its entries count as never written, and stay in the history.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date, datetime
from typing import Any

from thimble.ledger.entries import Entry
from thimble.ledger.standing import Standing, known_by, standing
from thimble.people.certificates.issued import Issued, taken
from thimble.people.entries import CERTIFICATES, EVIDENCE, THEMSELF, Kind
from thimble.people.reports import Change, changes_of, key_of

PLACES = ("role", "site", "department", "cohort")
"""Where somebody works, in words."""


@dataclass(frozen=True, slots=True)
class Employment:
    """How, where and when somebody works here. Days are None where nobody has said."""

    works_as: str
    role: str = ""
    site: str = ""
    department: str = ""
    cohort: str = ""
    starts_on: date | None = None
    ends_on: date | None = None
    exposure_prone: str = "not_known"
    categories: tuple[tuple[str, str], ...] = ()

    def here_on(self, day: date) -> bool:
        """Whether the person has not left by a day. The day of leaving is still a day here."""
        return self.ends_on is None or day <= self.ends_on


@dataclass(frozen=True, slots=True)
class Verified:
    """That somebody saw what a piece of evidence rests on."""

    entry: int
    by: str
    at: datetime
    seen: str


@dataclass(frozen=True, slots=True)
class Evidence:
    """One piece of evidence as it stands: its entry's position, kind and body, who wrote it and when; and
    when it was last corrected."""

    entry: int
    kind: Kind
    body: Mapping[str, Any]
    by: str
    recorded_at: datetime
    verified: Verified | None = None
    corrected_at: datetime | None = None

    @property
    def said_at(self) -> datetime:
        """Since when the file says it as it stands."""
        return self.corrected_at or self.recorded_at

    @property
    def vouched(self) -> bool:
        """Whether somebody compared it with something, gave or said it here, or the laboratory itself sent
        it."""
        here = self.kind is Kind.COUNSELLED or self.body.get("given_here")
        return self.verified is not None or bool(here or self.body.get("message"))


@dataclass(frozen=True, slots=True)
class Document:
    """A scan that was attached: the position of its entry and what the entry says of it.

    `brought` marks one that the person brought on their own page; `looked_at` is when somebody of the
    department looked at it, or None.
    """

    entry: int
    name: str
    digest: str
    type: str
    size: int
    shows: str
    text: str
    recorded_at: datetime
    brought: bool = False
    looked_at: datetime | None = None


@dataclass(frozen=True, slots=True)
class Sample:
    """A sample that was drawn here. `identified` says whether photo identity was checked; `session` where
    it was drawn at one."""

    entry: int
    number: str
    on: date
    identified: str
    session: int | None = None


@dataclass(frozen=True, slots=True)
class Offer:
    """That a vaccine was offered; `how` is an id of `choices.OFFERED_BY`, "" for face to face."""

    entry: int
    disease: str
    on: date
    informed: bool
    how: str = ""


@dataclass(frozen=True, slots=True)
class Invitation:
    """That somebody was written to: about what and how (ids of `people.choices`), when, in which run of
    letters, and against which diseases vaccine was offered."""

    entry: int
    about: str
    how: str
    on: date
    letters: str = ""
    offers: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Person:
    """A person's file as of a moment; `entries` is the position of the last entry that counts.

    `enrolled` is False where the import that brought the person was undone. `exposure_prone_since` is when
    it was written down whether the work holds such procedures, as it stands. `preliminary` are results
    whose final version has not come; `changes` are the laboratory's; `looked` has, by the position of a
    result, that of the last entry in which somebody said to have seen it.
    """

    reference: str
    as_of: datetime
    enrolled: bool
    employment: Employment
    evidence: tuple[Evidence, ...]
    documents: tuple[Document, ...]
    offers: tuple[Offer, ...]
    samples: tuple[Sample, ...]
    invitations: tuple[Invitation, ...]
    entries: int
    last_number: int
    enrolled_at: datetime
    exposure_prone_since: datetime
    certificates: tuple[Issued, ...] = ()
    preliminary: tuple[Evidence, ...] = ()
    changes: tuple[Change, ...] = ()
    looked: Mapping[int, int] = field(default_factory=dict)

    @property
    def to_look_at(self) -> tuple[Document, ...]:
        """Scans that the person brought and nobody of the department has looked at."""
        return tuple(d for d in self.documents if d.brought and d.looked_at is None)

    @property
    def unverified(self) -> int:
        """How many pieces of evidence nobody compared with anything, nor gave or drew themself."""
        return sum(not e.vouched for e in self.evidence)

    def of(self, *kinds: Kind) -> tuple[Evidence, ...]:
        """The evidence of these kinds, as recorded."""
        return tuple(e for e in self.evidence if e.kind in kinds)


def undone(entries: Iterable[Entry[Kind]]) -> set[int]:
    """The positions whose entries an undone import takes back."""
    return {
        position
        for entry in entries
        if entry.kind is Kind.IMPORT_UNDONE
        for position in entry.body["entries"]
    }


def fold(entries: Iterable[Entry[Kind]], as_of: datetime) -> Person:
    """The person as of a moment. Only entries recorded by then count.

    Raises:
        ValueError: there is no entry by `as_of`, or the entries are of more than one person.
    """
    known = known_by(entries, as_of)
    if not known:
        raise ValueError(f"nothing is recorded by {as_of.isoformat()}")
    if len(files := {entry.case for entry in known}) > 1:
        raise ValueError(f"fold takes one person at a time; found {', '.join(sorted(files))}")
    reading = _Reading()
    taken_back = undone(known)
    for position, found in standing(known).items():
        if found is not None and position not in taken_back:
            reading.take(found)
    return Person(
        reference=known[0].case,
        as_of=as_of,
        enrolled=reading.enrolled,
        employment=reading.employment,
        evidence=reading.checked(),
        documents=reading.seen(),
        offers=tuple(reading.offers),
        samples=tuple(reading.samples),
        invitations=tuple(reading.invitations),
        entries=known[-1].position,
        last_number=known[-1].number,
        enrolled_at=known[0].recorded_at,
        exposure_prone_since=reading.exposure_prone_since or known[0].recorded_at,
        certificates=tuple(reading.certificates.values()),
        preliminary=reading.awaited(changes := changes_of(known)),
        changes=changes,
        looked=reading.looked,
    )


class _Reading:
    """The person while the file is being read; one entry at a time."""

    def __init__(self) -> None:
        self.enrolled = False
        self.employment = Employment("staff")
        self.exposure_prone_since: datetime | None = None
        self.evidence: list[Evidence] = []
        self.documents: list[Document] = []
        self.offers: list[Offer] = []
        self.samples: list[Sample] = []
        self.invitations: list[Invitation] = []
        self.verified: dict[int, Verified] = {}
        self.looked_at: dict[int, datetime] = {}
        self.corrected: dict[int, Entry[Kind]] = {}
        self.certificates: dict[str, Issued] = {}
        self.preliminary: list[Evidence] = []
        self.looked: dict[int, int] = {}

    def take(self, found: Standing[Kind]) -> None:
        entry, body = found.entry, found.body
        kind = entry.kind
        if kind is Kind.ENROLLED:
            self.enrolled = True
            self.employment = _changed(self.employment, body)
        elif kind in {Kind.CHANGED, Kind.MOVED}:
            before, self.employment = self.employment, _changed(self.employment, body)
            if before.exposure_prone != self.employment.exposure_prone:
                self.exposure_prone_since = entry.recorded_at
        elif kind is Kind.LEFT:
            self.employment = replace(self.employment, ends_on=date.fromisoformat(body["on"]))
        elif kind is Kind.RETURNED:
            day = date.fromisoformat(body["on"])
            self.employment = replace(self.employment, starts_on=day, ends_on=None)
        elif kind in EVIDENCE:
            self.evidence.append(Evidence(entry.position, kind, body, entry.by, entry.recorded_at))
        elif kind is Kind.PRELIMINARY_RECORDED:
            self.preliminary.append(
                Evidence(entry.position, kind, body, entry.by, entry.recorded_at)
            )
        elif kind is Kind.RESULT_LOOKED_AT:
            self.looked |= dict.fromkeys(body["entries"], entry.position)
        elif kind is Kind.DOCUMENT_ATTACHED:
            told = {key: body[key] for key in ("name", "digest", "type", "size", "shows", "text")}
            self.documents.append(
                Document(
                    entry=entry.position,
                    recorded_at=entry.recorded_at,
                    brought=entry.role == THEMSELF,
                    **told,
                )
            )
        elif kind is Kind.DOCUMENT_LOOKED_AT:
            self.looked_at.setdefault(body["document"], entry.recorded_at)
        elif kind is Kind.SAMPLE_TAKEN:
            day = date.fromisoformat(body["on"])
            number, identified = body["number"], body["identified"]
            sample = Sample(entry.position, number, day, identified, body.get("session"))
            self.samples.append(sample)
        elif kind is Kind.OFFERED:
            day = date.fromisoformat(body["on"])
            how = body.get("how", "")
            self.offers.append(Offer(entry.position, body["disease"], day, body["informed"], how))
        elif kind is Kind.INVITED:
            day = date.fromisoformat(body["on"])
            run, offers = body["letters"], tuple(body.get("offers", ()))
            self.invitations.append(
                Invitation(entry.position, body["about"], body["how"], day, run, offers)
            )
        elif kind is Kind.EVIDENCE_VERIFIED:
            seen = Verified(entry.position, entry.by, entry.recorded_at, body["seen"])
            self.verified |= dict.fromkeys(body["entries"], seen)
        elif kind is Kind.IDENTITY_PURGED:
            # The scans went with the name.
            self.documents.clear()
        elif kind is Kind.CORRECTED:
            self.corrected[body["corrects"]] = entry
        elif kind in CERTIFICATES and (made := taken(self.certificates, entry, body)):
            self.certificates[made.number] = made

    def seen(self) -> tuple[Document, ...]:
        """The scans with when somebody looked at them: said so, or wrote down what one shows."""
        written: dict[int, datetime] = {}
        for each in self.evidence:
            if (shown_on := each.body.get("document")) is not None:
                written.setdefault(shown_on, each.recorded_at)
        return tuple(
            replace(d, looked_at=self.looked_at.get(d.entry, written.get(d.entry)))
            for d in self.documents
        )

    def awaited(self, changes: Sequence[Change]) -> tuple[Evidence, ...]:
        """The preliminary results of which no final version came, nor was taken back."""
        results = [e.body for e in self.evidence if e.kind is Kind.RESULT_RECORDED]
        over = {key_of(body) for body in results} | {c.key for c in changes if c.withdrawn}
        typed = {(body["test"], body["when"]) for body in results if body["when"]}
        return tuple(
            each
            for each in self.preliminary
            if key_of(each.body) not in over and (each.body["test"], each.body["when"]) not in typed
        )

    def checked(self) -> tuple[Evidence, ...]:
        """The evidence with when it was corrected and who verified it. What was corrected since was not
        what they saw."""
        return tuple(map(self._checked, self.evidence))

    def _checked(self, each: Evidence) -> Evidence:
        last, seen = self.corrected.get(each.entry), self.verified.get(each.entry)
        if last is not None:
            each = replace(each, corrected_at=last.recorded_at)
        if seen is not None and seen.entry > (0 if last is None else last.position):
            each = replace(each, verified=seen)
        return each


def _changed(before: Employment, body: Mapping[str, Any]) -> Employment:
    told: dict[str, Any] = {
        key: body[key] for key in ("works_as", *PLACES, "exposure_prone") if key in body
    }
    for key in ("starts_on", "ends_on"):
        if key in body:
            told[key] = None if body[key] is None else date.fromisoformat(body[key])
    if "categories" in body:
        told["categories"] = tuple(sorted(body["categories"].items()))
    return replace(before, **told)


def as_body(person: Person) -> dict[str, Any]:
    """Somebody's employment as the body of an `enrolled` entry has it."""
    held = person.employment
    return {
        "works_as": held.works_as,
        "role": held.role,
        "site": held.site,
        "department": held.department,
        "cohort": held.cohort,
        "starts_on": None if held.starts_on is None else held.starts_on.isoformat(),
        "ends_on": None if held.ends_on is None else held.ends_on.isoformat(),
        "exposure_prone": held.exposure_prone,
        "categories": dict(held.categories),
    }


def differing(person: Person, changes: Mapping[str, Any]) -> dict[str, Any]:
    """Of some changes those that say anything new."""
    held = as_body(person)
    return {key: value for key, value in changes.items() if held[key] != value}


def touched_since(entries: Sequence[Entry[Kind]], import_id: str) -> list[Entry[Kind]]:
    """The entries of a file that were written after those of an import: it cannot be undone there."""
    own = [e.position for e in entries if e.body.get("import") == import_id]
    return [e for e in entries if own and e.position > own[-1]]
