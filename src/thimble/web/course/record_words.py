"""What is on record of a course, entry by entry: doses, gaps, pauses, side effects, reviews."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, tzinfo

from thimble.clinical.saying import counted
from thimble.ledger.bodies import (
    RESUMED_END,
    SEVERITIES,
)
from thimble.ledger.prophylaxis.course import (
    Course,
    without,
)
from thimble.ledger.prophylaxis.record import CourseRecord, Told
from thimble.web.desk.words import point


@dataclass(frozen=True, slots=True)
class Row:
    """Something on record: what, more about it, when and by whom, the entry."""

    what: str
    more: str
    at: str
    entry: int


@dataclass(frozen=True, slots=True)
class RecordWords:
    """What is on record of a course, in words as of a moment."""

    now: datetime
    zone: tzinfo
    names: Mapping[str, str]
    reasons: Mapping[str, str]

    def at(self, at: datetime) -> str:
        return point(at, self.now, self.zone)

    def given(self, record: CourseRecord, course: Course | None) -> tuple[Row, ...]:
        rows = []
        for given in () if course is None else course.supplies:
            days = counted(given.days, "day") if given.days else "days not on record"
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
            what = counted(missed.count, "dose")
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
                    f"{counted(gone, 'day')} without a dose between; "
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
