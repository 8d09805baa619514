"""What every letter is made of.

As on the worker's plan, nothing that staff typed freely (reasons, notes, accounts) is printed: it may
speak of the source patient. A letter has a name and an address that were typed for it alone, and ruled
lines where something is to be said by hand.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator
from dataclasses import asdict, dataclass
from datetime import date, tzinfo
from typing import Any

from thimble.clinical.saying import calendar_day, day, opening
from thimble.clinical.serology import Result
from thimble.clinical.site import Site
from thimble.documents.frame import Contact, Frame, contact
from thimble.documents.words import window_for_a_person
from thimble.documents.worker_plan.plain import plain_words
from thimble.ledger.plan import TO_DO, Action, Plan
from thimble.ledger.results.recorded import said_of
from thimble.protocol.finding import Reason

MOST_LINES, LONGEST_LINE = 6, 80
"""Of an address."""


@dataclass(frozen=True, slots=True)
class Table:
    """Rows under their heads; `widths` are the shares of the columns."""

    heads: tuple[str, ...]
    widths: tuple[float, ...]
    rows: tuple[tuple[str, ...], ...]


@dataclass(frozen=True, slots=True)
class Part:
    """A part under its heading: sentences, a list, a table; each may be empty. `by_hand` is how many
    ruled lines follow."""

    heading: str
    sentences: tuple[str, ...] = ()
    points: tuple[str, ...] = ()
    table: Table | None = None
    by_hand: int = 0


@dataclass(frozen=True, slots=True)
class OwnPage:
    """Where somebody finds their own page: the address, and the same as a QR code for a phone, each row of
    it a number whose bits are the modules, the last one the rightmost."""

    address: str = ""
    qr: tuple[int, ...] = ()
    sentences: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Letter:
    """Every word of a letter. `to` are the lines of the address; `about` the person it is about, where
    that is not the one it is sent to."""

    frame: Frame
    to: tuple[str, ...]
    about: str
    opening: tuple[str, ...]
    parts: tuple[Part, ...]
    contacts: tuple[Contact, ...]
    signed_by: str
    any_unconfirmed: bool = False
    page: OwnPage = OwnPage()

    def to_data(self) -> dict[str, Any]:
        """For the template."""
        return asdict(self)


def here(site: Site) -> tuple[Contact, ...]:
    """The department that writes."""
    return (contact(site.occupational_medicine),)


def person(name: str, born: date | None) -> str:
    """A person as a letter names them: "Zoë Sampleworth, born Sat 3 Jan 1970"; "" without a name."""
    if not name:
        return ""
    return f"{name}, born {calendar_day(born)}" if born else name


def address(name: str, lines: str) -> tuple[str, ...]:
    """A recipient as typed, as the lines of an address.

    Raises:
        ValueError: a sentence that says what to change.
    """
    typed = [" ".join(line.split()) for line in lines.splitlines()]
    found = [" ".join(name.split()), *(line for line in typed if line)]
    if not found[0]:
        raise ValueError("Say to whom the letter goes: a person by name, or a department.")
    if len(found) > MOST_LINES:
        raise ValueError(f"An address has at most {MOST_LINES} lines; found {len(found)}.")
    if long := next((line for line in found if len(line) > LONGEST_LINE), ""):
        raise ValueError(
            f"A line of an address has at most {LONGEST_LINE} characters; found {len(long)}."
        )
    return tuple(found)


def results_table(results: Iterable[Result], zone: tzinfo) -> Table:
    """Results in the words that are on record, with the day on which the blood was taken."""
    return Table(
        ("Test", "Blood taken", "Result"),
        (1.6, 1, 1.2),
        tuple(
            (
                opening(result.name),
                "day not recorded" if result.taken_at is None else day(result.taken_at, zone),
                said_of(result),
            )
            for result in results
        ),
    )


def rests_on(plan: Plan, kinds: Collection[str]) -> tuple[Reason, ...]:
    """The rules behind what `still_planned` names."""
    return tuple(reason for action in _open(plan, kinds) for reason in action.because)


def _open(plan: Plan, kinds: Collection[str]) -> Iterator[Action]:
    for action in plan.actions:
        mine = action.whom == "worker" and action.kind in kinds
        if mine and action.state in TO_DO and action.stands:
            yield action


def still_planned(plan: Plan, zone: tzinfo, kinds: Collection[str]) -> Table:
    """What is still to be done for the worker, each once, in plain words with its time."""
    plain = plain_words().actions

    def when(waits_for: str) -> str:
        return plain.get(waits_for, waits_for.replace("_", " "))

    rows = {
        (
            plain.get(action.id, action.what),
            window_for_a_person(action.window, plan.now, zone, when(action.window.waits_for)),
        ): None
        for action in _open(plan, kinds)
    }
    return Table(("What", "When"), (1.3, 1), tuple(rows))
