"""A cohort in plain values: who is counted, who is shown, in which order and words."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta, tzinfo

from thimble.clinical.diseases import DISEASES
from thimble.clinical.readiness import Lack, Need, Readiness, Status, said_together
from thimble.clinical.saying import calendar_day, day, inside
from thimble.people.choices import TESTS
from thimble.people.fold import Person
from thimble.people.identity import PersonIdentity
from thimble.people.names import list_key
from thimble.people.readiness.cohorts import DRAWS, PROCEDURES, Demand, Member

RECENT = timedelta(days=90)
"""A cohort is followed until so long after its last first day."""

PAGE = 50

STATUS_WORDS: Mapping[Status, str] = {
    Status.READY: "Ready",
    Status.READY_WITHOUT: "Ready without exposure-prone procedures",
    Status.TO_JUDGE: "To be judged",
    Status.ON_COURSE: "On course",
    Status.LATE: "Not by the first day",
    Status.OPEN: "No day can be said",
    Status.NOT_FIT: "Not fit by decision",
}
SHOWS: Mapping[str, str] = {
    "all": "Everybody",
    "ready": "Ready",
    "not_ready": "Not ready",
    **{s.value: words for s, words in STATUS_WORDS.items() if s is not Status.READY},
    "declined": "Declined something",
    "unanswered": "No answer",
}
"""Parts of a cohort."""

_SEVERITY = (
    Status.LATE,
    Status.OPEN,
    Status.TO_JUDGE,
    Status.NOT_FIT,
    Status.READY_WITHOUT,
    Status.ON_COURSE,
    Status.READY,
)


@dataclass(frozen=True, slots=True)
class Row:
    """One person as the list shows them. `now` is what is due or has no day, `then` what follows;
    `beside` what a physician decides or decided."""

    reference: str
    name: str
    number: str
    role: str
    start: str
    status: str
    ready: bool
    by: str
    soonest: str
    now: tuple[str, ...]
    then: tuple[str, ...]
    why: tuple[str, ...]
    unjudged: str
    beside: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class CohortLine:
    """A cohort in the list of cohorts; counts are None where it is no longer followed."""

    name: str
    people: int
    starts: str
    counts: Mapping[str, int] | None


def followed(person: Person, today: date) -> bool:
    """Whether somebody starts or started not long ago, and has not left."""
    start = person.employment.starts_on
    return person.employment.here_on(today) and (start is None or start >= today - RECENT)


def passes(member: Member, show: str) -> bool:
    """Whether somebody belongs to a part of a cohort."""
    if show == "ready":
        return member.ready
    if show == "not_ready":
        return not member.ready
    if show == "declined":
        return member.declined
    if show == "unanswered":
        return member.unanswered
    return show in {"all", member.readiness.status.value}


def missing_words(group: str) -> str:
    """A group of `Member.missing`, such as `dose:hepatitis_b`, in words."""
    need, _, disease = group.partition(":")
    name = "exposure-prone procedures" if disease == PROCEDURES else inside(DISEASES[disease])
    return {
        Need.DOSE: f"A dose, {name}",
        Need.TEST: f"A test, {name}",
        Need.RECORD: f"A record, {name}",
        Need.PHYSICIAN: f"The physician, {name}",
    }[Need(need)]


def ordered(members: Iterable[Member], identities: Mapping[str, PersonIdentity]) -> list[Member]:
    """What matters first: not ready before ready, the sooner first day, the worse standing, the step that
    stands longest, the name."""

    def key(member: Member) -> tuple[bool, date, int, date, tuple[str, ...]]:
        who = identities.get(member.reference)
        name = () if who is None else (*list_key(who.family_name), *list_key(who.given_name))
        status = member.readiness.status
        waits = member.waits_since or date.max
        return member.ready, member.start or date.max, _SEVERITY.index(status), waits, name

    return sorted(members, key=key)


CLEARED_BY = (
    "Nothing is missing before exposure-prone procedures: the physician decides about them."
)


def row(
    member: Member,
    identity: PersonIdentity | None,
    today: date,
    zone: tzinfo,
) -> Row:
    """Somebody in a line; `zone` is the one whose days decisions are dated in."""
    whole, who = member.readiness, identity or PersonIdentity()
    now = [lack for lack in whole.lacks if not _later(lack, today)]
    then = [lack for lack in whole.lacks if _later(lack, today)]
    sooner = whole.status is Status.LATE and whole.soonest != whole.ready_on
    return Row(
        reference=member.reference,
        name=who.name or "Name erased",
        number=who.number,
        role=", ".join(part for part in (member.role, member.site) if part),
        start=_start(member, today),
        status=_status(member, zone),
        ready=member.ready,
        by=_by(whole),
        soonest=f"At the earliest {calendar_day(whole.soonest)}."
        if sooner and whole.soonest
        else "",
        now=said_together(now, today),
        then=said_together(then, today),
        why=(
            *(why for why in whole.open if not why.startswith("Nothing is documented")),
            *(f"{each}." for each in whole.unsaid),
        ),
        unjudged=", ".join(inside(DISEASES[disease]) for disease in whole.unjudged),
        beside=_beside(member, today),
    )


def _status(member: Member, zone: tzinfo) -> str:
    """The standing, with the decision that made it: its restriction or its day."""
    whole = member.readiness
    if whole.status is Status.NOT_FIT and member.decision is not None:
        return f"{STATUS_WORDS[Status.NOT_FIT]} of {day(member.decision.at, zone)}"
    if whole.restriction and whole.status in (Status.READY, Status.READY_WITHOUT):
        return whole.said().rstrip(".")
    return STATUS_WORDS[whole.status]


def _start(member: Member, today: date) -> str:
    if member.start is None:
        return "First day not known"
    start, ago = calendar_day(member.start), (today - member.start).days
    if member.ready or ago <= 0:
        return start
    return f"{start}, {ago} {'day' if ago == 1 else 'days'} ago"


def _by(whole: Readiness) -> str:
    if whole.ready_on is None:
        # Nothing is missing, and what stays open is said beside it.
        return whole.said() if whole.status is Status.TO_JUDGE and whole.open else ""
    return f"With them {whole.by()}." if whole.status is Status.READY_WITHOUT else whole.said()


def _beside(member: Member, today: date) -> tuple[str, ...]:
    """What a physician decided or decides, in terms of work alone, where the standing does not say it."""
    decision, whole = member.decision, member.readiness
    due = decision is not None and decision.due(today)
    if whole.status is Status.NOT_FIT:
        return ("The review of that decision is due.",) if due else ()
    said = whole.restriction and whole.status in (Status.READY, Status.READY_WITHOUT)
    if decision is not None and (due or (decision.outcome != "fit" and not said)):
        review = "; its review is due" if due else ""
        return (f"Decided about fitness: {inside(decision.words)}{review}.",)
    alone = member.ready and member.exposure_prone == "yes" and decision is None
    return (CLEARED_BY,) if alone else ()


def _later(lack: Lack, today: date) -> bool:
    return lack.recommended is not None and lack.recommended > today


def demand_columns(weeks: Sequence[Demand]) -> tuple[list[str], list[str]]:
    """The products and tests that some week takes; draws come last."""
    doses = sorted({item for week in weeks for item in week.doses})
    tests = sorted({item for week in weeks for item in week.tests} - {DRAWS})
    return doses, [*tests, DRAWS] if tests else []


def test_words(item: str) -> str:
    """A test's name; draws in words."""
    return "Blood draws" if item == DRAWS else TESTS[item][1]


def demand_rows(weeks: Sequence[Demand]) -> tuple[list[str], list[tuple[date, list[str]]]]:
    """Demand by week as a table: its heads, and of each week its Monday and its numbers."""
    doses, tests = demand_columns(weeks)
    heads = ["Week from", *(f"Doses: {item}" for item in doses)]
    heads += [test_words(item) for item in tests]
    rows = [
        (
            week.monday,
            [str(week.doses.get(item, 0)) for item in doses]
            + [str(week.tests.get(item, 0)) for item in tests],
        )
        for week in weeks
    ]
    return heads, rows


def starts_of(starts: Iterable[date | None]) -> str:
    """The first days of a cohort: one day, or from when to when."""
    days = sorted({day for day in starts if day is not None})
    if not days:
        return "first day not known"
    if len(days) == 1:
        return f"starts {calendar_day(days[0])}"
    return f"starts {calendar_day(days[0])} to {calendar_day(days[-1])}"
