"""Every word of the page of a course, from plain values: no query, no clock."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, tzinfo

from thimble.clinical.prophylaxis import put
from thimble.clinical.prophylaxis.tables import OTHER
from thimble.clinical.site import Site
from thimble.ledger.assess import assess
from thimble.ledger.bodies import (
    ADHERENCE,
    RESUMED_END,
    REVIEW_DECISIONS,
    SEVERITIES,
    STOP_REASONS,
)
from thimble.ledger.compare import diff
from thimble.ledger.course import (
    ANSWER,
    FIRST_DOSE,
    Course,
    course_of,
    follows_from_course,
    without,
)
from thimble.ledger.course_record import STOP
from thimble.ledger.course_told import course_told, not_covered_words, pack_words
from thimble.ledger.exposed import protocol_for, told
from thimble.ledger.fold import fold
from thimble.ledger.next_thing import time_left
from thimble.ledger.plan import TO_DO, Action, CourseRecord, Told
from thimble.protocol.protocol import Protocol
from thimble.web.course.places import RESUMED_REVIEW, REVIEW, form_for, open_questions
from thimble.web.course.strip import Strip, strip_of
from thimble.web.desk.plan import expert_facts
from thimble.web.desk.reading import Reading
from thimble.web.desk.words import point

ADVICE = "course_advice"
BLOODS = "bloods"
TOPICS: Mapping[str, str] = {
    "late_dose": "A late dose",
    "missed": "Doses missed",
    "side_effects": "Side effects",
    BLOODS: "Blood",
    "resumed": "Taken up again",
}
SHOWN_CHANGES = 12


@dataclass(frozen=True, slots=True)
class Due:
    """One thing to do, with its time and where it is recorded. `ahead`: its window has not opened yet."""

    what: str
    left: str
    href: str
    confirmed: bool
    ahead: bool


@dataclass(frozen=True, slots=True)
class Row:
    """Something on record: what, more about it, when and by whom, the entry."""

    what: str
    more: str
    at: str
    entry: int


@dataclass(frozen=True, slots=True)
class Awaited:
    """Advice that was sought."""

    of: str
    asked: str
    advice: str
    answered: str
    entry: int
    open: bool


@dataclass(frozen=True, slots=True)
class Check:
    """A sentence to weigh with the product, and how well it is known. `now`: about how it goes."""

    topic: str
    text: str
    confirmed: bool
    names_it: bool = False
    now: bool = False


@dataclass(frozen=True, slots=True)
class CoursePage:
    """The page of a course; without a course only advice can be asked and given."""

    case: str
    position: int
    begun: bool
    product: str
    state: str
    began: str
    end: str
    left: str
    supply: str
    packs: tuple[str, ...]
    pauses: tuple[Row, ...]
    missed: str
    strip: Strip | None
    due: tuple[Due, ...]
    given: tuple[Row, ...]
    gaps: tuple[Row, ...]
    side_effects: tuple[Row, ...]
    reviews: tuple[Row, ...]
    ended: Row | None
    sought: tuple[Awaited, ...]
    questions: Mapping[str, str]
    expert: str
    expert_number: str
    to_tell: tuple[tuple[str, str], ...]
    checks: tuple[Check, ...]
    changes: tuple[str, ...]
    since: str
    running: bool
    closed: bool
    may_record: bool
    today: str

    @property
    def now_due(self) -> tuple[Due, ...]:
        """What can be done now."""
        return tuple(due for due in self.due if not due.ahead)

    @property
    def later_due(self) -> tuple[Due, ...]:
        """What opens later on, folded away."""
        return tuple(due for due in self.due if due.ahead)

    @property
    def news(self) -> tuple[str, ...]:
        """What is different in the plan, without what stands under what is to be done."""
        return tuple(c for c in self.changes if not any(due.what in c for due in self.due))

    @property
    def ahead(self) -> tuple[Check, ...]:
        """The checks that are about how this course goes: its gaps, its side effects."""
        return tuple(check for check in self.checks if check.now)

    @property
    def others(self) -> tuple[Check, ...]:
        """The other checks, folded away."""
        return tuple(check for check in self.checks if not check.now)

    @property
    def felt(self) -> str:
        """The side effects in a few words."""
        count = len(self.side_effects)
        return f"{count} on record" if count else "none on record"

    @property
    def awaited(self) -> bool:
        """Whether an expert still owes an answer."""
        return any(sought.open for sought in self.sought)

    @classmethod
    def of(
        cls,
        reading: Reading,
        *,
        protocol: Protocol,
        site: Site,
        names: Mapping[str, str],
        case_href: str,
        may_record: bool,
    ) -> CoursePage:
        """The course as it stands at the moment of the plan."""
        situation, now, zone = reading.situation, reading.plan.now, site.zone
        protocol = protocol_for(protocol, situation)
        course = course_of(situation, protocol.id, now, zone)
        words = _Words(now, zone, names, told(STOP_REASONS, situation))
        record = situation.course
        changes, since = _since_review(reading, record, protocol, site, words)
        return cls(
            case=reading.case,
            position=reading.position,
            begun=course is not None,
            product="" if course is None else course.product,
            state="" if course is None else _state(course),
            began="" if course is None else words.at(course.began),
            end="" if course is None else _end(course, words),
            left="" if course is None else _left(course, now, zone),
            supply="" if course is None else _supply(course, words),
            packs=() if course is None else pack_words(course),
            pauses=words.pauses(record),
            missed="" if course is None else _missed(course, record),
            strip=None if course is None else strip_of(course, now, zone),
            due=_due(reading, case_href, running=course is not None),
            given=words.given(record, course),
            gaps=words.gaps(record),
            side_effects=words.told(record.side_effects, SEVERITIES),
            reviews=words.told(record.reviews, REVIEW_DECISIONS),
            ended=next(iter(words.told(_one(record.stopped), words.reasons)), None),
            sought=tuple(
                Awaited(
                    sought.of,
                    words.at(sought.at),
                    sought.advice,
                    words.at(sought.answered_at) if sought.answered_at else "",
                    sought.entry,
                    sought.open,
                )
                for sought in reversed(record.sought)
            ),
            questions=open_questions(reading.plan),
            expert=site.expert_phone.name,
            expert_number=site.expert_phone.number,
            to_tell=(
                *course_told(situation, protocol.id, now, zone),
                *expert_facts(situation, protocol),
            ),
            checks=_checks(reading, course),
            changes=changes,
            since=since,
            running=course is not None and course.ended is None,
            closed=situation.closed_at is not None,
            may_record=may_record,
            today=now.astimezone(zone).date().isoformat(),
        )


def _one(told: Told | None) -> tuple[Told, ...]:
    return () if told is None else (told,)


def _state(course: Course) -> str:
    if course.ended is not None:
        return f"Ended on day {course.day}"
    gone = sum(map(len, course.without))
    stopped = f", {gone} day{'s' * (gone != 1)} of them without a dose" if gone else ""
    if course.days is None:
        return f"Day {course.day}{stopped}"
    if course.day > course.days:
        return f"Past day {course.days}: its end is not on record"
    return f"Day {course.day} of {course.days}{stopped}"


def _end(course: Course, words: _Words) -> str:
    if course.ended is not None:
        return f"Last dose {words.at(course.ended)}"
    if course.planned_end is None:
        return "How long a course lasts could not be read"
    return f"Planned to {words.at(course.planned_end)}"


def _left(course: Course, now: datetime, zone: tzinfo) -> str:
    days = course.days_left(now, zone)
    if course.ended is not None:
        return ""
    if days is None:
        return "For how many days tablets were handed out is not on record"
    if days <= 1:
        return "Today's tablets are the last" if days else "No tablets left"
    return f"Tablets for today and {days - 1} more day{'' if days == 2 else 's'}"


def _supply(course: Course, words: _Words) -> str:
    if course.ended is not None or course.covered_until is None:
        return ""
    if course.planned_end is not None and course.covered_until >= course.planned_end:
        return "They reach to the end of the course."
    said = f"The next are due by {words.at(course.covered_until)}."
    if rest := not_covered_words(course, words.zone):
        said = f"{rest}. {said}"
    if course.uncovered:
        said += f" On {course.uncovered} day{'s' * (course.uncovered != 1)} there were none."
    return said


def _missed(course: Course, record: CourseRecord) -> str:
    if course.missed:
        return f"{course.missed} dose{'s' * (course.missed != 1)} missed, by the record"
    if record.reviews and record.adherence == "all_taken":
        return f"At the last review: {ADHERENCE[record.adherence]}"
    return (
        "No missed dose is on record; nobody has asked" if not record.reviews else "None on record"
    )


def _due(reading: Reading, case_href: str, *, running: bool) -> tuple[Due, ...]:
    """What is to be done about the course, in the one order of the plan."""
    found = []
    for action in reading.plan.actions:
        own = follows_from_course(action) or (
            running and action.id in (REVIEW, RESUMED_REVIEW, STOP)
        )
        if action.state not in TO_DO or not (own or action.id == FIRST_DOSE):
            continue
        found.append(
            Due(
                action.what if action.certain else f"{action.what} (may be needed)",
                time_left(action, reading.plan.now),
                _place(action, running) or f"{case_href}#action-{action.id}",
                all(reason.confirmed for reason in action.because),
                action.window.earliest is not None and action.window.earliest > reading.plan.now,
            )
        )
    return tuple(found)


def _place(action: Action, running: bool) -> str:
    """Where on this page an action is recorded; "" where only the case's page can."""
    asks = action.kind == "advice" and not action.id.startswith(ANSWER)
    if asks and follows_from_course(action):
        return f"?do=ask&about={action.id}#ask"
    return form_for(action.id, begun=running)


def _checks(reading: Reading, course: Course | None) -> tuple[Check, ...]:
    """The renal and interaction checks as they stand now, those that name the medicine first."""
    if course is None:
        return ()
    medicine = str(course.facts["medicine"])
    told = [
        Check(
            "Medicines and kidney",
            caution.text if caution.certain else f"May apply: {caution.text}",
            all(reason.confirmed for reason in caution.because),
            medicine != OTHER and medicine in caution.text.lower(),
        )
        for caution in reading.plan.cautions
        if caution.topic == "medicines" and caution.certain
    ]
    own = [
        Check(
            TOPICS.get(item.outputs["topic"], item.outputs["topic"]),
            item.outputs["text"] if item.certain else f"May apply: {item.outputs['text']}",
            all(reason.confirmed for reason in item.because),
            now=item.outputs["topic"] != BLOODS,
        )
        for item in put(course.facts).items.get(ADVICE, ())
    ]
    return (*own, *sorted(told, key=lambda check: not check.names_it))


def _since_review(
    reading: Reading, record: CourseRecord, protocol: Protocol, site: Site, words: _Words
) -> tuple[tuple[str, ...], str]:
    """What the plan says now that it did not say at the last review, else at the first dose."""
    marks = [told.entry for told in record.reviews] or [
        given.entry for given in record.given if given.action == FIRST_DOSE
    ]
    if not marks:
        return (), ""
    known = [entry for entry in reading.entries if entry.position <= marks[-1]]
    then = known[-1].recorded_at
    before = assess(fold(known, then, protocol.vocabulary), protocol, reading.plan.now, site)
    said = diff(before, reading.plan).words(protocol.outputs)
    since = "the last review" if record.reviews else "the first dose"
    return tuple(said[:SHOWN_CHANGES]), f"{since}, {words.at(known[-1].happened_at)}"


@dataclass(frozen=True, slots=True)
class _Words:
    now: datetime
    zone: tzinfo
    names: Mapping[str, str]
    reasons: Mapping[str, str]

    def at(self, at: datetime) -> str:
        return point(at, self.now, self.zone)

    def given(self, record: CourseRecord, course: Course | None) -> tuple[Row, ...]:
        rows = []
        for given in () if course is None else course.supplies:
            days = (
                f"{given.days} day{'s' * (given.days != 1)}" if given.days else "days not on record"
            )
            more = ", ".join(part for part in (days, given.batch and f"lot {given.batch}") if part)
            rows.append(Row(given.product, more, self.at(given.at), given.entry))
        for change in record.changes:
            rows.append(
                Row(
                    f"Changed to {change.words}", self.who(change), self.at(change.at), change.entry
                )
            )
        return tuple(sorted(rows, key=lambda row: row.entry))

    def gaps(self, record: CourseRecord) -> tuple[Row, ...]:
        rows = []
        for missed in record.missed:
            parts = []
            if missed.last_taken is not None:
                parts.append(f"last taken {self.at(missed.last_taken)}")
            if missed.taken_again is not None:
                parts.append(f"taken again {self.at(missed.taken_again)}")
            what = f"{missed.count} dose{'s' * (missed.count != 1)}"
            more = "; ".join(filter(None, [", ".join(parts), missed.text]))
            rows.append(Row(what, more, f"told {self.at(missed.at)}", missed.entry))
        return tuple(rows)

    def pauses(self, record: CourseRecord) -> tuple[Row, ...]:
        rows = []
        for pause in record.pauses:
            gone = len(without(pause, self.zone))
            of = f", on the advice of {pause.resumed.more}" if pause.resumed.more else ""
            rows.append(
                Row(
                    f"Stopped ({self.reasons[pause.stopped.code]}), taken up again: {pause.resumed.words}",
                    f"last dose {self.at(pause.stopped.at)}, first again {self.at(pause.resumed.at)}; "
                    f"{gone} day{'s' * (gone != 1)} without a dose between; "
                    f"end {RESUMED_END[pause.resumed.code]}{of}",
                    self.who(pause.resumed),
                    pause.resumed.entry,
                )
            )
        return tuple(rows)

    def told(self, told: Sequence[Told], codes: Mapping[str, str]) -> tuple[Row, ...]:
        return tuple(
            Row(
                codes[one.code].capitalize() if codes is not SEVERITIES else f"“{one.words}”",
                one.words
                if codes is not SEVERITIES
                else "; ".join(filter(None, [f"{one.code}, {codes[one.code]}", one.more])),
                f"{self.at(one.at)}, {self.who(one)}",
                one.entry,
            )
            for one in reversed(told)
        )

    def who(self, told: Told) -> str:
        return self.names.get(told.by, told.by)
