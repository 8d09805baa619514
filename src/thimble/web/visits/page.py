"""The words on the page of a case's visits. Pure."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, tzinfo

from thimble.clinical.saying import calendar_day, inside, minute
from thimble.clinical.visits import (
    words,
)
from thimble.ledger.bodies import AGREEMENTS, CONTACT_BY, CONTACT_OUTCOMES
from thimble.ledger.follow_up.visiting import Visiting
from thimble.ledger.plan import Plan
from thimble.ledger.series import series_found
from thimble.ledger.situation import Situation
from thimble.web.support.page import Support
from thimble.web.visits.cards import ExpectedLine, VisitCard, card_of, expected_line
from thimble.web.visits.picture import picture
from thimble.web.visits.reaching import NextStep


@dataclass(frozen=True, slots=True)
class EarlierDoses:
    """The doses of a vaccine series from before the exposure, where they count: `asked` while none is on
    record; `typed` is what stands in the form."""

    asked: bool
    known: tuple[str, ...]
    typed: str

    @classmethod
    def of(
        cls, plan: Plan, situation: Situation, zone: tzinfo, typed: str | None = None
    ) -> EarlierDoses | None:
        """None where no series is asked for, or doses from before do not count for it."""
        series = series_found(plan.findings, situation, plan.protocol_id, zone)
        if series is None or not series.counts_before:
            return None
        doses = situation.doses_before
        return cls(
            asked=series.unknown,
            known=tuple(dose.when.words for dose in doses),
            typed=", ".join(str(dose.when) for dose in doses) if typed is None else typed,
        )


@dataclass(frozen=True, slots=True)
class VisitsPage:
    """Everything that the page shows."""

    case: str
    position: int
    today: str
    picture: str
    problems: tuple[str, ...]
    due: tuple[str, ...]
    waiting: tuple[str, ...]
    cards: tuple[VisitCard, ...]
    dropped: tuple[str, ...]
    expected: tuple[ExpectedLine, ...]
    as_agreed: bool
    agreed_once: bool
    away: tuple[tuple[str, str, str], ...]
    contacts: tuple[str, ...]
    ways: tuple[tuple[str, str], ...]
    outcomes: tuple[tuple[str, str], ...]
    may_record: bool
    may_print: bool
    closed: bool
    has_calendar: bool
    link_since: str
    next_step: NextStep | None
    agrees: tuple[str, ...]
    mail_due: bool
    support: Support
    fault: str
    doses: EarlierDoses | None

    @classmethod
    def of(
        cls,
        found: Visiting,
        situation: Situation,
        zone: tzinfo,
        *,
        away: Sequence[tuple[date, date]],
        capabilities: Collection[str],
        link_since: datetime | None = None,
        next_step: NextStep | None = None,
        mail_due: bool = False,
        claimed: Sequence[datetime] = (),
        hours: Mapping[str, str] | None = None,
        fault: str = "",
        doses: EarlierDoses | None = None,
    ) -> VisitsPage:
        """The page for the visits of a case; `link_since` is when its calendar's address was made,
        `claimed` when mails were begun of which nothing else is known. `hours` are what was typed, by
        field; None: those agreed before stand.
        """
        planned, names = found.planned, found.names
        problems = [words.overdue(each, names) for each in planned.overdue]
        problems += [words.unplaceable(each, names) for each in planned.unplaceable]
        problems += [words.refusal(each, names) for each in planned.refused]
        return cls(
            case=situation.case,
            position=situation.entries,
            today=found.today.isoformat(),
            picture=picture(planned, found.windows, names, found.today),
            problems=tuple(problems),
            due=tuple(names.get(a.id, a.id) for a in found.due),
            waiting=tuple(
                f"{names.get(a.id, a.id)} (counts from: "
                f"{inside(names.get(a.window.waits_for, a.window.waits_for.replace('_', ' ')))})"
                for a in found.waiting
            ),
            cards=tuple(card_of(visit, found, zone, hours) for visit in planned.visits),
            dropped=tuple(calendar_day(day) for day in planned.dropped),
            expected=tuple(expected_line(each, names) for each in found.expected),
            as_agreed=found.as_agreed,
            agreed_once=situation.follow_up.agreed_by is not None,
            away=tuple(
                (
                    first.isoformat(),
                    last.isoformat(),
                    f"{calendar_day(first)} to {calendar_day(last)}",
                )
                for first, last in away
            ),
            contacts=tuple(
                f"{minute(at, zone)}, {CONTACT_BY['email']}: {CONTACT_OUTCOMES['not_known']}"
                for at in claimed
            )
            + tuple(
                f"{minute(at, zone)}, {CONTACT_BY[how]}: {CONTACT_OUTCOMES[outcome]}"
                for at, how, outcome in reversed(situation.follow_up.contacts)
            ),
            ways=tuple(CONTACT_BY.items()),
            # Of what a person did it is known whether it was done.
            outcomes=tuple(each for each in CONTACT_OUTCOMES.items() if each[0] != "not_known"),
            may_record="record_facts" in capabilities,
            may_print="print_documents" in capabilities,
            closed=situation.closed_at is not None,
            has_calendar=situation.follow_up.agreed_by is not None,
            link_since="" if link_since is None else minute(link_since, zone),
            next_step=next_step,
            agrees=tuple(
                words
                for to, words in AGREEMENTS.items()
                if situation.follow_up.agreements.get(to, False)
            ),
            mail_due=mail_due,
            support=Support.of(situation, zone),
            fault=fault,
            doses=doses,
        )
