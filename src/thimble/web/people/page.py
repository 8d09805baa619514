"""A person's page in plain values."""

from __future__ import annotations

from collections.abc import Container, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, tzinfo
from typing import Any

from thimble.clinical.diseases import DISEASES
from thimble.clinical.saying import calendar_day
from thimble.clinical.series import PartialDate
from thimble.ledger.entries import Entry
from thimble.ledger.fitness import decided_words
from thimble.people import choices
from thimble.people.certificates.stating import RESTRICTIONS, Statement
from thimble.people.entries import CERTIFICATES, EVIDENCE, Kind
from thimble.people.fold import Document, Evidence, Person, undone
from thimble.people.identity import PersonIdentity
from thimble.people.immunity import about
from thimble.web.people import register, words
from thimble.web.people.time_line import Mark, time_line
from thimble.web.words import moment


@dataclass(frozen=True, slots=True)
class Item:
    """One piece of evidence as the page shows it."""

    entry: int
    when: str
    title: str
    remarks: str
    verified: str
    document: int | None


@dataclass(frozen=True, slots=True)
class Part:
    """What is documented about one disease, or about several with the same evidence."""

    id: str
    name: str
    items: tuple[Item, ...]


@dataclass(frozen=True, slots=True)
class Scan:
    """A document in a line."""

    entry: int
    shows: str
    text: str
    facts: str
    picture: bool
    waits: bool


@dataclass(frozen=True, slots=True)
class PersonPage:
    """Everything on the page."""

    reference: str
    name: str
    born: str
    facts: tuple[tuple[str, str], ...]
    parts: tuple[Part, ...]
    time_line: str
    undated: int
    missing: tuple[str, ...]
    scans: tuple[Scan, ...]
    offers: tuple[str, ...]
    unverified: int
    position: int


def age(born: date, today: date) -> int:
    """Whole years. Who is born on 29 February is a year older on 1 March."""
    return today.year - born.year - ((today.month, today.day) < (born.month, born.day))


def page_of(
    person: Person,
    identity: PersonIdentity | None,
    *,
    names: Mapping[str, str],
    asked: Sequence[str],
    today: date,
    zone: tzinfo,
) -> PersonPage:
    """The page; `names` are the display names of accounts."""
    who = identity or PersonIdentity()
    by_disease: dict[str, list[Evidence]] = {}
    for each in sorted(person.evidence, key=words.order):
        for disease in about(each) or (THE_PERSON,):
            by_disease.setdefault(disease, []).append(each)
    scans = {document.entry for document in person.documents}
    grouped = _grouped(by_disease, asked)
    parts = tuple(
        Part(together[0], _names(together), tuple(_item(e, scans, names, zone) for e in evidence))
        for together, evidence in grouped
    )
    rows = [(_names(together), _marks(evidence)) for together, evidence in grouped]
    born = ""
    if who.birth_date:
        born = f"born {words.born(who.birth_date)}, {age(who.birth_date, today)} years old"
    return PersonPage(
        reference=person.reference,
        name=who.name or "Name erased",
        born=born,
        facts=_facts(person, who, today),
        parts=parts,
        time_line=time_line(rows, today),
        undated=sum(_day_of(each) is None for each in person.evidence),
        missing=words.undocumented(person, tuple(asked)),
        scans=tuple(_scan(each, zone) for each in person.documents),
        offers=tuple(
            f"{DISEASES[offer.disease]}: offered {calendar_day(offer.on)}"
            + (f", {choices.OFFERED_BY[offer.how]}" if offer.how else "")
            + ("" if offer.informed else ", no information on record")
            for offer in person.offers
        ),
        unverified=person.unverified,
        position=person.entries,
    )


THE_PERSON = "the_person"
"""Where evidence stands that is about no disease."""


def _grouped(
    by_disease: Mapping[str, list[Evidence]], asked: Sequence[str]
) -> list[tuple[list[str], list[Evidence]]]:
    """Diseases with their evidence, those that the site asks for first; a dose of several is told once
    where nothing else tells them apart."""
    groups: list[tuple[list[str], list[Evidence]]] = []
    for disease in (*asked, *(d for d in DISEASES if d not in asked), THE_PERSON):
        evidence = by_disease.get(disease)
        if evidence is None:
            continue
        same = next((group for group in groups if group[1] == evidence), None)
        if same is None:
            groups.append(([disease], evidence))
        else:
            same[0].append(disease)
    return groups


def _day_of(evidence: Evidence) -> str | None:
    return evidence.body.get("when") or evidence.body.get("on")


def _marks(evidence: Sequence[Evidence]) -> list[Mark]:
    """What has a date, as the time line draws it."""
    kinds = {Kind.DOSE_RECORDED: "dose", Kind.RESULT_RECORDED: "result"}
    found = []
    for each in evidence:
        if (text := _day_of(each)) is not None:
            when = PartialDate.parse(text)
            found.append(Mark(when.first, when.last, kinds.get(each.kind, "other")))
    return found


def _names(diseases: Sequence[str]) -> str:
    first, *rest = (DISEASES.get(disease, "About the person") for disease in diseases)
    return ", ".join((first, *(name if name[1:2].isupper() else name.lower() for name in rest)))


def _facts(person: Person, who: PersonIdentity, today: date) -> tuple[tuple[str, str], ...]:
    work = person.employment
    categories = "; ".join(
        f"{choices.SCHEMES[scheme][0]} category {category}" for scheme, category in work.categories
    )
    prone = choices.EXPOSURE_PRONE[work.exposure_prone]
    rows = (
        ("Number", who.number),
        ("Works as", register.row(person, who, today, ()).works),
        ("Where", ", ".join(part for part in (work.department, work.site) if part)),
        ("Cohort", work.cohort),
        ("When", register.when(person, today)),
        ("Exposure-prone procedures", f"{prone} ({categories})" if categories else prone),
        ("E-mail", who.email),
    )
    # An address of mail is written as it is.
    return tuple(
        (term, value if "@" in value else value[:1].upper() + value[1:])
        for term, value in rows
        if value
    )


def _item(
    evidence: Evidence, scans: Container[int], names: Mapping[str, str], zone: tzinfo
) -> Item:
    body = evidence.body
    seen = evidence.verified
    verified = ""
    if seen is not None:
        how = choices.SEEN[seen.seen]
        verified = f"{how} by {names.get(seen.by, seen.by)}, {moment(seen.at, None, zone)}"
    elif body.get("given_here") or evidence.kind is Kind.COUNSELLED:
        by, at = names.get(evidence.by, evidence.by), moment(evidence.recorded_at, None, zone)
        here = "Told here" if evidence.kind is Kind.COUNSELLED else "Given here"
        verified = f"{here}, written down by {by}, {at}"
    elif body.get("message"):
        verified = (
            f"A message of the laboratory, recorded {moment(evidence.recorded_at, None, zone)}"
        )
    return Item(
        entry=evidence.entry,
        when=words.day(body.get("when") or body.get("on")),
        title=words.title(evidence),
        remarks=" · ".join(words.remarks(evidence)),
        verified=verified,
        document=document if (document := body.get("document")) in scans else None,
    )


def _scan(document: Document, zone: tzinfo) -> Scan:
    kind = choices.FILE_TYPES[document.type]
    how = "brought by the person" if document.brought else "attached"
    waits = document.brought and document.looked_at is None
    return Scan(
        entry=document.entry,
        shows=choices.DOCUMENTS[document.shows],
        text=document.text,
        facts=f"{kind}, {words.size(document.size)}, {how} {moment(document.recorded_at, None, zone)}"
        + ("; nobody has looked at it yet" if waits else ""),
        picture=document.type != "application/pdf",
        waits=waits,
    )


def scan_of(person: Person, entry: int, zone: tzinfo) -> Scan | None:
    """One scan of a person; None where there is no such entry."""
    return next((_scan(each, zone) for each in person.documents if each.entry == entry), None)


KIND_WORDS: Mapping[Kind, str] = {
    Kind.ENROLLED: "Enrolled",
    Kind.CHANGED: "Changed",
    Kind.MOVED: "Moved",
    Kind.LEFT: "Last day set",
    Kind.RETURNED: "Came back",
    Kind.OFFERED: "Vaccine offered",
    Kind.DOSE_RECORDED: "Dose written down",
    Kind.RESULT_RECORDED: "Result written down",
    Kind.PRELIMINARY_RECORDED: "Preliminary result",
    Kind.RESULT_LOOKED_AT: "Result of the laboratory seen",
    Kind.HISTORY_RECORDED: "Past disease written down",
    Kind.DECLINED: "Refusal written down",
    Kind.CONTRAINDICATED: "Contraindication written down",
    Kind.COUNSELLED: "Counselling written down",
    Kind.DOCUMENT_ATTACHED: "Scan attached",
    Kind.DOCUMENT_LOOKED_AT: "Scan looked at",
    Kind.SAMPLE_TAKEN: "Sample taken",
    Kind.EVIDENCE_VERIFIED: "Evidence verified",
    Kind.CORRECTED: "Corrected",
    Kind.IMPORT_UNDONE: "Import undone",
    Kind.NOTED: "Noted",
    Kind.CERTIFIED: "Certificate of clearance issued",
    Kind.CERTIFICATE_WITHDRAWN: "Certificate withdrawn",
    Kind.CERTIFICATE_CONFIRMED: "Certificate found to hold still",
    Kind.INVITED: "Written to",
    Kind.FITNESS_DECIDED: "Fitness decided",
    Kind.IDENTITY_PURGED: "Who this was is erased",
}
"""What each kind of entry is called."""


@dataclass(frozen=True, slots=True)
class Line:
    """One entry of the file's history."""

    position: int
    when: str
    what: str
    told: str
    by: str
    taken_back: bool
    digest: str


def lines_of(
    entries: Sequence[Entry[Kind]], names: Mapping[str, str], zone: tzinfo
) -> tuple[Line, ...]:
    """The history, last entry first."""
    gone = undone(entries)
    gone |= {
        e.body["corrects"] for e in entries if e.kind is Kind.CORRECTED and e.body.get("withdrawn")
    }
    return tuple(
        Line(
            position=e.position,
            when=moment(e.recorded_at, None, zone),
            what=KIND_WORDS[e.kind],
            told=_told(e),
            by=names.get(e.by, e.by),
            taken_back=e.position in gone,
            digest=e.digest[:16],
        )
        for e in reversed(entries)
    )


_FIELDS: Mapping[str, str] = {
    "works_as": "works as",
    "role": "role",
    "site": "site",
    "department": "department",
    "cohort": "cohort",
    "starts_on": "first day",
    "ends_on": "last day",
    "exposure_prone": "exposure-prone procedures",
    "categories": "categories",
    "on": "day",
}


def _told(entry: Entry[Kind]) -> str:
    body, kind = entry.body, entry.kind
    if kind in {Kind.ENROLLED, Kind.CHANGED, Kind.MOVED, Kind.LEFT, Kind.RETURNED}:
        told = [
            f"{words_} {_value(body[name])}" for name, words_ in _FIELDS.items() if body.get(name)
        ]
        told += [f"{words_} emptied" for name, words_ in _FIELDS.items() if body.get(name) in ("", {})
                 and kind is not Kind.ENROLLED]  # fmt: skip
        told += [f"{name.replace('_', ' ')} changed" for name in body.get("identity", ())]
        if body.get("import"):
            told.append("from an import")
        return "; ".join(told)
    if kind in EVIDENCE or kind is Kind.PRELIMINARY_RECORDED:
        evidence = Evidence(entry.position, kind, body, entry.by, entry.recorded_at)
        when = words.day(body.get("when") or body.get("on"))
        diseases = ", ".join(DISEASES[d] for d in about(evidence))
        origin = ""
        if row := body.get("list"):
            origin = f"from an import, row {row['row']} of the file {row['file'][:16]}"
        return "; ".join(filter(None, (words.title(evidence), when, diseases, origin)))
    if kind is Kind.OFFERED:
        how = f", {choices.OFFERED_BY[body['how']]}" if "how" in body else ""
        return f"{DISEASES[body['disease']]}, {words.day(body['on'])}{how}"
    if kind is Kind.FITNESS_DECIDED:
        # In terms of work alone. What it rests on is the physician's, on the page of fitness.
        return decided_words(body)
    if kind is Kind.IDENTITY_PURGED:
        left, kept = words.day(body["left_on"]), words.day(body["kept_until"])
        return f"Left on {left}; kept until {kept}. Rule: {body['rule']}"
    if kind is Kind.INVITED:
        return f"{choices.LETTERS[body['about']]}, {choices.LETTER_BY[body['how']]}"
    if kind is Kind.DOCUMENT_ATTACHED:
        return choices.DOCUMENTS[body["shows"]]
    if kind is Kind.SAMPLE_TAKEN:
        return f"{body['number']}, {words.day(body['on'])}"
    if kind is Kind.DOCUMENT_LOOKED_AT:
        return "; ".join(part for part in (f"Entry {body['document']}", body["text"]) if part)
    if kind is Kind.RESULT_LOOKED_AT:
        return f"Entries {', '.join(str(position) for position in body['entries'])}: {body['text']}"
    if kind is Kind.EVIDENCE_VERIFIED:
        which = ", ".join(str(position) for position in body["entries"])
        return f"{choices.SEEN[body['seen']]}: entries {which}"
    if kind is Kind.CORRECTED:
        done = "withdrawn" if body.get("withdrawn") else "set right"
        new = _result_words(body) if body.get("report") and "body" in body else ""
        return f"Entry {body['corrects']} {done}: {body['reason']}{new}"
    if kind is Kind.IMPORT_UNDONE:
        return "Entries " + ", ".join(str(position) for position in body["entries"]) + " taken back"
    if kind is Kind.CERTIFIED:
        said = Statement(body["restriction"], body["exposure_prone"])
        until = f"until {words.day(body['valid_until'])}"
        parts = (body["number"], said.words, said.about_exposure_prone, until, body["reason"])
        return "; ".join(part for part in parts if part)
    if kind is Kind.CERTIFICATE_CONFIRMED and "in_spite_of" in body:
        restriction = RESTRICTIONS[body["in_spite_of"]]
        return f"{body['number']}; in spite of: {restriction}; {body['reason']}"
    if kind in CERTIFICATES:
        return f"{body['number']}: {body['reason']}"
    return str(body.get("text", ""))


def _result_words(correction: Mapping[str, Any]) -> str:
    """What a result says now."""
    body = correction["body"]
    name, value = choices.TESTS[body["test"]][1], words.result_value(body)
    return f"; {name}: {value}, {words.day(body['when'])}"


def _value(value: object) -> str:
    if isinstance(value, dict):
        return ", ".join(f"{choices.SCHEMES[k][0]} {v}" for k, v in sorted(value.items()))
    text = str(value)
    if len(text) == 10 and text[4] == "-" and text[:4].isdecimal():
        return words.day(text)
    return (choices.WORKS_AS | choices.YES_NO).get(text, text)  # type: ignore[operator]
