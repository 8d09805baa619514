"""What comes up again for who works here: offers, refusals, non-responders, evidence that runs out."""

from __future__ import annotations

from collections.abc import Hashable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, date, timedelta, tzinfo
from enum import StrEnum
from functools import lru_cache

from thimble.clinical import fitness
from thimble.clinical.diseases import DISEASES
from thimble.clinical.immunity import Judgement, days_of, recurring, rules
from thimble.clinical.offers import OfferLaw, last_day
from thimble.clinical.saying import calendar_day, inside
from thimble.clinical.series import PartialDate
from thimble.people.counselled import told_already
from thimble.people.entries import Kind
from thimble.people.fold import Evidence, Person
from thimble.people.hepatitis_b import hepatitis_b
from thimble.people.hepatitis_b_many import HepatitisBSaid
from thimble.people.immunity import about, vaccine_doses
from thimble.people.judged import judged
from thimble.people.products import is_vaccine
from thimble.people.readiness.waiting import due_since
from thimble.people.to_see import WORDS, to_see

HEPATITIS_B = "hepatitis_b"


class Topic(StrEnum):
    """What a line is about. Their order is that of the filters."""

    LOOK_AT = "look_at"
    OFFER = "offer"
    NON_RESPONDER = "non_responder"
    SERIES = "series"
    RUNS_OUT = "runs_out"
    SEASON = "season"
    REFUSED = "refused"
    OVER = "over"
    MONITORED = "monitored"


@dataclass(frozen=True, slots=True)
class House:
    """What a site goes by: its diseases, protocol, rule set of fitness, calendar, law of offers, and the
    zone of its days."""

    asked: tuple[str, ...]
    protocol: str
    rule_set: str
    country: str
    subdivision: str
    law: OfferLaw | None
    zone: tzinfo = UTC


@dataclass(frozen=True, slots=True)
class Recheck:
    """One line. `due` is None where no source names a day; `late` whether that day has passed. Where it
    `stands`, nobody set a day for it, and `due` is the one since which it could have been done."""

    person: str
    topic: Topic
    what: str
    why: str
    due: date | None
    late: bool
    stands: bool = False

    @property
    def order(self) -> tuple[bool, date, str]:
        """Overdue first, then by the day; what has no day last."""
        return (not self.late, self.due or date.max, self.person)


def rechecks(
    person: Person, born: date | None, on: date, house: House, hepatitis_b: HepatitisBSaid | None
) -> tuple[Recheck, ...]:
    """The lines of one person on a day; for who has not begun, or has left, only what waits to be seen.

    Args:
        hepatitis_b: None where the tables could not be asked.
    """
    work = person.employment
    waits = tuple(_to_see(person, on, house.zone))
    if not work.here_on(on) or (work.starts_on is not None and work.starts_on > on):
        return waits
    known = judged(person, born, on, house.protocol, _to_judge(person, house))
    offer = list(_offer(person, on, house, hepatitis_b))
    lines = [
        *waits,
        *offer,
        *_hepatitis_b(person, born, on, house, hepatitis_b, offered=not offer),
        *(line for each in known.values() for line in _runs_out(person, each, on, house)),
        *_refused(person, on, house, hepatitis_b, known),
        *_over(person, on, known, hepatitis_b),
    ]
    return tuple(sorted(lines, key=lambda line: line.order))


def _to_judge(person: Person, house: House) -> Sequence[str]:
    """The diseases that a line can be about: of the others, most of them, nothing comes up again."""
    against = {
        e.body["disease"] for kind in (Kind.DECLINED, Kind.CONTRAINDICATED) for e in person.of(kind)
    }
    try:
        against |= recurring(house.protocol)
    except LookupError:
        return ()
    return [disease for disease in house.asked if disease in against]


def _to_see(person: Person, on: date, zone: tzinfo) -> Iterable[Recheck]:
    """Results of the laboratory. A list is read over shoulders: what they say stands in the file alone."""
    waiting = to_see(person)
    if not waiting:
        return
    days = [min(one.since.astimezone(zone).date(), on) for one in waiting]
    told = [
        f"A result {WORDS[one.why]}, {calendar_day(day)}."
        for one, day in zip(waiting, days, strict=True)
    ]
    why = " ".join((*dict.fromkeys(told), "What it says stands in the file."))
    what = "a result" if len(waiting) == 1 else f"{len(waiting)} results"
    yield _line(person, Topic.LOOK_AT, f"See {what} of the laboratory", why, days[0], on)


def _line(
    person: Person,
    topic: Topic,
    what: str,
    why: str,
    due: date | None,
    on: date,
    *,
    stands: bool = False,
) -> Recheck:
    late = due is not None and due < on
    return Recheck(person.reference, topic, what, why, due, late, stands)


def wants_offer(person: Person, on: date, house: House, found: HepatitisBSaid | None) -> bool:
    """Whether the law of the house wants somebody offered the vaccine, or it was and they may still answer:
    nothing is begun, complete, immune, declined or contraindicated. Also before their first day."""
    law, work = house.law, person.employment
    if law is None or law.disease not in house.asked:
        return False
    if work.ends_on is not None and work.ends_on < on:
        return False
    if found is not None and (found.complete or found.immunity in ("immune", "past_infection")):
        return False
    answers = (_answers_the_offer(each, law.disease, work.starts_on) for each in person.evidence)
    return not any(answers)


def was_offered(person: Person, law: OfferLaw) -> bool:
    """Whether an offer of the law's vaccine is on record."""
    return any(offer.disease == law.disease for offer in person.offers)


def _offer(
    person: Person, on: date, house: House, found: HepatitisBSaid | None
) -> Iterable[Recheck]:
    """Offered, begun, complete, immune, declined or contraindicated: then the law asks no offer more."""
    law, start = house.law, person.employment.starts_on
    if law is None or was_offered(person, law) or not wants_offer(person, on, house, found):
        return
    name = inside(DISEASES[law.disease])
    if start is None:
        why = f"{law.source}: {law.words}. The first day is not known: enter it."
        yield _line(person, Topic.OFFER, f"Offer {name} vaccine", why, None, on)
        return
    due = last_day(start, law.working_days, house.country, house.subdivision)
    why = f"{law.source}: {law.words}; first day {calendar_day(start)}."
    yield _line(person, Topic.OFFER, f"Offer {name} vaccine", why, due, on)


def _answers_the_offer(each: Evidence, disease: str, start: date | None) -> bool:
    if disease not in about(each):
        return False
    if each.kind is Kind.DECLINED:
        return bool(each.body["what"] == "vaccine")
    if each.kind is Kind.DOSE_RECORDED and is_vaccine(each.body["product"]):
        # A dose since the first day was offered, whoever wrote nothing down.
        when = each.body["when"]
        return bool(when) and (start is None or PartialDate.parse(when).first >= start)
    return each.kind is Kind.CONTRAINDICATED


def _hepatitis_b(
    person: Person,
    born: date | None,
    on: date,
    house: House,
    found: HepatitisBSaid | None,
    *,
    offered: bool,
) -> Iterable[Recheck]:
    """A series that was begun is gone on with; of who is still to be offered it the offer tells."""
    if found is None or HEPATITIS_B not in house.asked:
        return
    if found.immunity == "non_responder":
        if told_already(person, on, house.protocol, found.next_step) is None:
            why = "After an exposure immunoglobulin is needed: the person should know."
            what = f"Hepatitis B: {inside(found.step_words)}"
            since = _stands_since(person, born, on, house)
            yield _line(person, Topic.NON_RESPONDER, what, why, since, on, stands=True)
    elif (
        offered and found.next_step not in ("none", "refer") and vaccine_doses(person, HEPATITIS_B)
    ):
        due = found.dose_due if found.next_step == "dose" else found.due
        if due is not None and due == on:
            due = _stands_since(person, born, on, house) or due
        if due is not None and person.employment.starts_on is not None:
            # Nobody was late here before they came.
            due = max(due, person.employment.starts_on)
        why = "By the clearance tables; its reasons stand on the person's page."
        what = f"Hepatitis B: {inside(found.step_words)}"
        yield _line(person, Topic.SERIES, what, why, due, on, stands=True)
    if person.employment.exposure_prone == "yes" and found.immunity in (
        "non_responder",
        "not_immune",
    ):
        last = _last_negative(person, "hbsag", on)
        for due, source in _hbsag_again(house.rule_set, last) if last else ():
            what = "HBsAg again, for exposure-prone procedures"
            yield _line(person, Topic.NON_RESPONDER, what, source, due, on)


def _stands_since(person: Person, born: date | None, on: date, house: House) -> date | None:
    """The day since which the next step against hepatitis B is due without a break."""

    def seen(then: Person, day: date) -> dict[Hashable, date]:
        found = hepatitis_b(then, born, day, house.protocol)
        if found is None or found.cleared.next_due is None:
            return {}
        return {(found.cleared.next_step, found.cleared.valid_doses): found.cleared.next_due}

    due = [step for step, day in seen(person, on).items() if day <= on]
    return next(iter(due_since(due, person, on, house.zone, seen).values()), None)


@lru_cache(maxsize=4096)
def _hbsag_again(rule_set: str, last: date) -> tuple[tuple[date, str], ...]:
    """When HBsAg is due again of somebody without immunity, by the tables of fitness."""
    if not rule_set:
        return ()
    facts = {
        "rule_set": rule_set,
        "hbsag": "negative",
        "hbv_immunity": "not_immune",
        "anti_hcv": "negative",
        "hiv": "negative",
    }
    due = fitness.schedule(facts, {"hbv_sample": last}).due
    return tuple((each.on, "; ".join(r.cited for r in each.because)) for each in due)


def _last_negative(person: Person, test: str, on: date) -> date | None:
    """The first day that the latest negative result can have been of: never later than it was."""
    found = [
        days[0]
        for each in person.of(Kind.RESULT_RECORDED)
        if each.body["test"] == test
        and each.body["word"] == "negative"
        and (days := _days(each.body["when"], on)) is not None
    ]
    return date.fromordinal(max(found)) if found else None


def _runs_out(person: Person, each: Judgement, on: date, house: House) -> Iterable[Recheck]:
    name = DISEASES[each.disease]
    why = "; ".join(reason.cited for reason in each.because)
    in_season = each.disease in rules(house.protocol).doses and (
        rules(house.protocol).doses[each.disease].in_season
    )
    if in_season:
        if each.next_step in ("dose", "find_days"):
            until = rules(house.protocol).season.offered_last(on)
            yield _line(person, Topic.SEASON, f"{name}: {inside(each.step_words)}", why, until, on)
        return
    if each.again_on is None or each.offer == "declined":
        return
    step = (
        f"{name}: {inside(each.step_words)}" if not each.satisfied else f"{name}: evidence runs out"
    )
    # What ran out before somebody came ran out elsewhere.
    came = person.employment.starts_on or each.again_on
    yield _line(person, Topic.RUNS_OUT, step, why, max(each.again_on, came), on)


def _refused(
    person: Person,
    on: date,
    house: House,
    found: HepatitisBSaid | None,
    known: Mapping[str, Judgement],
) -> Iterable[Recheck]:
    """Refusals that stand: the offer stands too, at any time."""
    law = house.law
    for disease in house.asked:
        refusals = [
            e for e in person.of(Kind.DECLINED) if e.body["disease"] == disease
        ]  # fmt: skip
        if not refusals:
            continue
        if disease == HEPATITIS_B:
            if not _stands(person, refusals, disease) or (found and found.immunity == "immune"):
                continue
        elif disease not in known or known[disease].offer != "declined" or known[disease].satisfied:
            continue
        last = max(refusals, key=lambda e: str(e.body["on"]))
        day = calendar_day(date.fromisoformat(last.body["on"]))
        why = f"Declined {day}. The offer stands."
        if law is not None and law.disease == disease:
            why = f"Declined {day}. {law.declined} {law.declined_source}."
        what = f"{DISEASES[disease]}: offer the {last.body['what']} again"
        yield _line(person, Topic.REFUSED, what, why, None, on)


def _stands(person: Person, refusals: Sequence[Evidence], disease: str) -> bool:
    refused = max((str(e.body["on"]) for e in refusals if e.body["what"] == "vaccine"), default="")
    doses = [str(e.body["when"]) for e in vaccine_doses(person, disease) if e.body["when"]]
    return bool(refused) and refused >= max(doses, default="")


def _over(
    person: Person, on: date, known: Mapping[str, Judgement], found: HepatitisBSaid | None
) -> Iterable[Recheck]:
    """Contraindications whose time is over: what they stood against can be given."""
    for each in person.of(Kind.CONTRAINDICATED):
        disease, until = each.body["disease"], each.body["until"]
        if not until or PartialDate.parse(until).last >= on:
            continue
        if disease in known and (known[disease].satisfied or known[disease].offer != "open"):
            continue
        if disease == HEPATITIS_B and found is not None and found.complete:
            continue
        since = PartialDate.parse(until).last + timedelta(days=1)
        if any(offer.disease == disease and offer.on >= since for offer in person.offers):
            continue
        what = f"{DISEASES[disease]}: the contraindication is over, offer the vaccine"
        why = f"It was {inside(str(each.body['reason']))}, until {PartialDate.parse(until).words}."
        yield _line(person, Topic.OVER, what, why, since, on, stands=True)


def _days(when: str | None, on: date) -> tuple[int, int] | None:
    try:
        return days_of(when, None, on.toordinal())
    except ValueError:
        return None
