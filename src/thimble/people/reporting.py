"""From results of a message to entries of a person's file: new, corrected, taken back, or in doubt.

Pure. A version is ranked as in a case (`clinical.serology.current`): a preliminary never displaces a final
one, nor a copy of it a correction. What is on record already is not written again.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from typing import Any

from thimble.clinical.serology import Analyte, Status
from thimble.clinical.serology.analytes import name_of
from thimble.exchange.hl7v2.reading import Standing
from thimble.exchange.matching import NOT_TO_PROMOTE, PROMOTED_OTHERWISE, Reported, Reports
from thimble.exchange.rows import STATUS
from thimble.people import choices
from thimble.people.bodies import faults_of
from thimble.people.entries import Kind
from thimble.people.fold import Evidence, Person
from thimble.people.report_bodies import body_of, report_of
from thimble.people.report_versions import Held, above, alike, below, held_of, later
from thimble.people.reported_doubts import Around, agree, doubts_of
from thimble.people.reports import (
    CORRECTED,
    SAME,
    TAKEN_BACK,
    ResultKey,
    result_key,
    value_of,
)

Draft = tuple[Kind, dict[str, Any]]


@dataclass(frozen=True, slots=True)
class Weighed:
    """What is to be written, in order; what speaks against it; what makes it impossible as it stands.

    Nobody can overrule `impossible`; of `doubts` somebody may say to have looked.
    """

    drafts: tuple[Draft, ...]
    doubts: tuple[str, ...] = ()
    impossible: tuple[str, ...] = ()


def weigh(
    person: Person,
    reports: Reports,
    around: Around,
    *,
    message: str,
    looked_at: str = "",
    drawn_on: date | None = None,
) -> Weighed:
    """What a sample's results make of a file.

    Args:
        message: the digest of the message.
        looked_at: how somebody knew whose they are, or why they are recorded all the same.
        drawn_on: the day of the draw as somebody told it; that of a session goes before it.
    """
    weighing = _Weighing(person, reports, around, message, looked_at, drawn_on)
    for reported in dict.fromkeys(reports.results):
        weighing.take(reported)
    return Weighed(
        tuple(weighing.drafts),
        tuple(dict.fromkeys(weighing.doubts)),
        tuple(dict.fromkeys(weighing.impossible)),
    )


class _Weighing:
    def __init__(
        self,
        person: Person,
        reports: Reports,
        around: Around,
        message: str,
        looked_at: str,
        drawn_on: date | None,
    ) -> None:
        self.person, self.reports, self.around = person, reports, around
        self.message, self.looked_at = message, looked_at
        self.told_day = reports.whose.drawn_on or drawn_on
        self.drafts: list[Draft] = []
        self.doubts: list[str] = []
        self.impossible: list[str] = []
        self._said: dict[ResultKey, Reported] = {}

    # -- which version ----------------------------------------------------------------------------

    def take(self, reported: Reported) -> None:
        if reported.test not in choices.TESTS:
            name = (
                name_of(Analyte(reported.test)) if reported.test in set(Analyte) else reported.test
            )
            self.impossible.append(
                f"{name}: a file of the register does not keep this test. Enter what is needed of it by "
                "hand, and settle the message."
            )
            return
        name = choices.TESTS[reported.test][1]
        key = self._key(reported)
        before = self._said.setdefault(key, reported)
        if before is not reported:
            if not alike(before, reported):
                self.impossible.append(
                    f"{name}: the message says two things of one sample. Ask the laboratory which holds."
                )
            return
        held = held_of(self.person, key)
        if reported.standing is Standing.PROMOTED:
            self._promote(name, reported, held)
            return
        status = STATUS[reported.standing]
        if held is None:
            if status is Status.RETRACTED:
                self.impossible.append(
                    f"{name}: the laboratory takes back a result that did not come as a message of this "
                    "sample. If somebody typed it in, withdraw it in the file."
                )
            else:
                self._write(name, reported, status)
            return
        if below(status, held):
            self._late(name, reported, held)
            return
        if status is Status.RETRACTED:
            # Of a correction and a retraction issued at one instant the retraction counts.
            at_once = reported.reported_at == held.reported_at
            again = held.status is Status.RETRACTED
            if above(status, held) or later(reported, held) or (at_once and not again):
                self._withdraw(held, reported)
            return
        body = self._body(reported, status)
        if body is None:
            self.impossible.append(f"{name}: {NO_DAY}")
        elif held.status is Status.RETRACTED:
            if later(reported, held):
                self._write(name, reported, status)
        elif value_of(body) != value_of(held.body):
            self._differs(name, reported, status, held)
        elif held.status is Status.PRELIMINARY and status is not Status.PRELIMINARY:
            self._write(name, reported, status)
        elif above(status, held) or (status is not Status.FINAL and later(reported, held)):
            # It says the same; from now on nothing older displaces it.
            self._add(name, self._kind(status), body, held)

    def _differs(self, name: str, reported: Reported, status: Status, held: Held) -> None:
        """Another value under the same numbers."""
        newer = above(status, held)
        if held.status is Status.PRELIMINARY and newer:
            self._write(name, reported, status)
        elif newer or (status is not Status.FINAL and later(reported, held)):
            self._write(name, reported, status, instead=held)
        elif status is Status.FINAL or reported.reported_at == held.reported_at:
            self.impossible.append(
                f"{name}: it was reported differently before under the same numbers, and is not called "
                "a correction. Ask the laboratory which holds."
            )

    def _late(self, name: str, reported: Reported, held: Held) -> None:
        """A copy of an earlier version. Of what was taken back nothing comes again unseen."""
        if held.status is Status.RETRACTED and later(reported, held):
            self.impossible.append(
                f"{name}: the laboratory took this result back before, and sends it again without calling "
                "it a correction. Ask the laboratory which holds."
            )

    def _promote(self, name: str, reported: Reported, held: Held | None) -> None:
        if held is not None and held.kind is Kind.RESULT_RECORDED:
            if held.status is Status.RETRACTED or (
                reported.sent and reported.as_sent != held.body["as_written"]
            ):
                self.impossible.append(f"{name}: {PROMOTED_OTHERWISE}")
            return
        if held is None or held.reported_at > reported.reported_at:
            self.impossible.append(f"{name}: {NOT_TO_PROMOTE}")
        elif reported.sent and reported.as_sent != held.body["as_written"]:
            self.impossible.append(f"{name}: {PROMOTED_OTHERWISE}")
        else:
            body = {
                **held.body,
                "message": self.message,
                "report": report_of(reported, Status.FINAL),
            }
            self._add(name, Kind.RESULT_RECORDED, body, None)

    def _key(self, reported: Reported) -> ResultKey:
        return result_key(reported.test, reported.request, reported.specimen)

    # -- what is written --------------------------------------------------------------------------

    def _write(
        self, name: str, reported: Reported, status: Status, *, instead: Held | None = None
    ) -> None:
        body = self._body(reported, status)
        if body is None:
            self.impossible.append(f"{name}: {NO_DAY}")
            return
        mine = instead.entry if instead is not None else 0
        others = [e for e in self.person.of(Kind.RESULT_RECORDED) if e.entry != mine]
        self.doubts += doubts_of(
            name, reported, body, others, self.around, self.reports.whose.drawn_on
        )
        self._add(name, self._kind(status), body, instead)

    @staticmethod
    def _kind(status: Status) -> Kind:
        preliminary = status is Status.PRELIMINARY
        return Kind.PRELIMINARY_RECORDED if preliminary else Kind.RESULT_RECORDED

    def _add(self, name: str, kind: Kind, body: dict[str, Any], instead: Held | None) -> None:
        if faults := faults_of(kind, body):
            self.impossible += [f"{name}: {fault}." for fault in faults]
            return
        before = instead or self._typed_the_same(kind, body)
        if before is None:
            self.drafts.append((kind, body))
        else:
            self._correct(before, body)

    def _correct(self, before: Held | Evidence, body: dict[str, Any]) -> None:
        if "document" in before.body:
            body["document"] = before.body["document"]
        correction = {
            "corrects": before.entry,
            "reason": SAME if agree(before.body, body) else CORRECTED,
            "body": body,
            "message": self.message,
            "report": body["report"],
        }
        self.drafts.append((Kind.CORRECTED, correction))

    def _withdraw(self, held: Held, reported: Reported) -> None:
        reason = TAKEN_BACK + (f" {self.reports.check}" if self.reports.check else "")
        correction = {
            "corrects": held.entry,
            "reason": reason,
            "withdrawn": True,
            "message": self.message,
            "report": report_of(reported, Status.RETRACTED),
        }
        self.drafts.append((Kind.CORRECTED, correction))

    def _body(self, reported: Reported, status: Status) -> dict[str, Any] | None:
        """The body of an entry; None where nobody knows on which day the sample was drawn."""
        day = self.told_day.isoformat() if self.told_day else reported.collected_on
        if day is None:
            return None
        return body_of(self.reports, reported, status, day, self.message, self.looked_at)

    def _typed_the_same(self, kind: Kind, body: Mapping[str, Any]) -> Evidence | None:
        """The same result of the same day, typed in before the message came."""
        if kind is not Kind.RESULT_RECORDED:
            return None
        return next(
            (
                each
                for each in self.person.of(Kind.RESULT_RECORDED)
                if "report" not in each.body and agree(each.body, body)
            ),
            None,
        )


NO_DAY = (
    "neither the message nor a session says on which day the sample was taken. Give the day, or ask the "
    "laboratory."
)
