"""Letters about dates, for the worker: those agreed, and one that was missed.

They go by post: nothing on them tells what a visit is for.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from datetime import date

from thimble.clinical.neutral import require_neutral
from thimble.clinical.saying import calendar_day
from thimble.clinical.site import Site
from thimble.clinical.visits import DayWindow
from thimble.documents.frame import frame, mark_of, phone
from thimble.documents.letters.letter import Letter, Part, Table, here
from thimble.ledger.exposed import say
from thimble.ledger.follow_up.visiting import Expected, Kept
from thimble.ledger.plan import Plan
from thimble.ledger.situation import Situation
from thimble.protocol.protocol import Protocol

TO_COME = (Kept.TODAY, Kept.AHEAD)


def why_no_dates(expected: Iterable[Expected]) -> str:
    """Why there is nothing to write, in a sentence; "" where there is."""
    if any(each.kept in TO_COME for each in expected):
        return ""
    return "No date to come is agreed with the worker. Agree the visits first."


def visit_dates(
    plan: Plan,
    situation: Situation,
    site: Site,
    protocol: Protocol,
    expected: Iterable[Expected],
    windows: Mapping[str, DayWindow],
    *,
    name: str = "",
) -> Letter:
    """The letter as of `plan.now`.

    Args:
        expected, windows: of `ledger.follow_up.visiting.Visiting`.
        name: the worker's; "" leaves a line to write on.

    Raises:
        ValueError: no date is to come.
        thimble.clinical.neutral.Telling: the site's own words tell what the visits are for.
    """
    ahead = [each for each in expected if each.kept in TO_COME]
    if why := why_no_dates(ahead):
        raise ValueError(why)
    place = site.messages.place or site.occupational_medicine.where
    rows = tuple(
        (
            calendar_day(each.visit.day),
            f"at {each.visit.at:%H:%M}" if each.visit.at else _hours(each, site, windows),
            place,
        )
        for each in ahead
    )
    written = Letter(
        frame=frame(
            "Your appointments", site.messages.appointment, site, plan.now, mark_of(protocol), situation
        ),
        to=(name,) if name else (),
        about="",
        opening=(
            "These are the dates that we agreed with you. Each visit is short. If a date does not suit "
            "you, please call: we find another that is as good.",
        ),
        parts=(
            Part("When and where", table=Table(("Day", "Come", "Where"), (1, 1, 1.4), rows)),
            Part(
                "Please bring",
                points=(
                    "this letter, or the reference at its head",
                    say("your staff card", situation),
                    "the papers that we gave you",
                    "a list of what you take or have been given since we last saw you",
                ),
            ),
            Part(
                "If you cannot come",
                sentences=(
                    f"Please call {phone(site.occupational_medicine.phone)}, also at short notice. "
                    "If you feel ill before the date, call at once and do not wait for it.",
                ),
            ),
        ),
        contacts=here(site),
        signed_by="",
    )  # fmt: skip
    return _neutral(written)


def why_not_missed(expected: Iterable[Expected]) -> str:
    """Why there is nobody to write to about a missed visit, in a sentence; "" where there is."""
    if any(each.kept is Kept.MISSED for each in expected):
        return ""
    return "No visit is recorded as missed."


def missed_visit(
    plan: Plan,
    situation: Situation,
    site: Site,
    protocol: Protocol,
    expected: Iterable[Expected],
    *,
    name: str = "",
) -> Letter:
    """The letter to a worker who did not come to the first of the visits recorded as missed.

    Raises:
        ValueError: none is.
        thimble.clinical.neutral.Telling: the site's own words tell what the visits are for.
    """
    missed = [each.visit.day for each in expected if each.kept is Kept.MISSED]
    if not missed:
        raise ValueError(why_not_missed(()))
    call = phone(site.occupational_medicine.phone)
    return _neutral(
        Letter(
            frame=frame(
                "We expected you", site.messages.appointment, site, plan.now, mark_of(protocol),
                situation,
            ),
            to=(name,) if name else (),
            about="",
            opening=(
                f"We expected you on {calendar_day(min(missed))} and did not see you.",
                f"Please call {call}, so that we can find another date. It is not too late. If you do "
                "not want to come any more, please tell us: we then ask no further, and you can come "
                "back at any time.",
                "If you feel ill, please call at once and do not wait for a date.",
            ),
            parts=(),
            contacts=here(site),
            signed_by="Name and role",
        )
    )  # fmt: skip


def _neutral(letter: Letter) -> Letter:
    for text in (*letter.opening, *(w for p in letter.parts for w in (*p.sentences, *p.points))):
        require_neutral(text)
    return letter


def _hours(each: Expected, site: Site, windows: Mapping[str, DayWindow]) -> str:
    """From when to when: the clinic's hours, within those of whatever counts by the hour that day."""
    parts = [
        part
        for id_ in each.left
        if id_ in windows
        for part in windows[id_].hours
        if part.day == each.visit.day
    ]
    if parts:
        opens = max(part.opens for part in parts).astimezone(site.zone)
        closes = min(part.closes for part in parts).astimezone(site.zone)
        return f"between {opens:%H:%M} and {closes:%H:%M}"
    return _open_on(each.visit.day, site) or "please call for the hour"


def _open_on(day: date, site: Site) -> str:
    sessions = site.occupational_medicine.hours.week[day.weekday()]
    return ", or ".join(f"between {s.opens:%H:%M} and {s.closes:%H:%M}" for s in sessions)
