"""Every word of the page of a course, from plain values: no query, no clock."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from thimble.clinical.site import Site
from thimble.ledger.assess import assess
from thimble.ledger.bodies import (
    REVIEW_DECISIONS,
    SEVERITIES,
    STOP_REASONS,
)
from thimble.ledger.compare import diff
from thimble.ledger.exposed import protocol_for, told
from thimble.ledger.fold import fold
from thimble.ledger.prophylaxis.course import (
    FIRST_DOSE,
    course_of,
)
from thimble.ledger.prophylaxis.record import CourseRecord, Told
from thimble.ledger.prophylaxis.told import course_told, pack_words
from thimble.protocol.protocol import Protocol
from thimble.web.course.checks import Check, checks_of
from thimble.web.course.due import Due, due_of
from thimble.web.course.places import open_questions
from thimble.web.course.record_words import RecordWords, Row
from thimble.web.course.standing import end_of, left_of, missed_of, state_of, supply_of
from thimble.web.course.strip import Strip, strip_of
from thimble.web.desk.plan import expert_facts
from thimble.web.desk.reading import Reading

SHOWN_CHANGES = 12


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
        words = RecordWords(now, zone, names, told(STOP_REASONS, situation))
        record = situation.course
        changes, since = _since_review(reading, record, protocol, site, words)
        return cls(
            case=reading.case,
            position=reading.position,
            begun=course is not None,
            product="" if course is None else course.product,
            state="" if course is None else state_of(course),
            began="" if course is None else words.at(course.began),
            end="" if course is None else end_of(course, words),
            left="" if course is None else left_of(course, now, zone),
            supply="" if course is None else supply_of(course, words),
            packs=() if course is None else pack_words(course),
            pauses=words.pauses(record),
            missed="" if course is None else missed_of(course, record),
            strip=None if course is None else strip_of(course, now, zone),
            due=due_of(reading, case_href, running=course is not None),
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
            checks=checks_of(reading, course),
            changes=changes,
            since=since,
            running=course is not None and course.ended is None,
            closed=situation.closed_at is not None,
            may_record=may_record,
            today=now.astimezone(zone).date().isoformat(),
        )


def _one(told: Told | None) -> tuple[Told, ...]:
    return () if told is None else (told,)


def _since_review(
    reading: Reading, record: CourseRecord, protocol: Protocol, site: Site, words: RecordWords
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
