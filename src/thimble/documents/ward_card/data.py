"""First aid and where to go, for the wall: one sheet from the active protocol and the site's settings."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from datetime import datetime
from typing import Any

from thimble.clinical.site import Site
from thimble.documents.frame import Contact, Frame, contacts, frame, mark_of, phone
from thimble.documents.words import input_in_words
from thimble.protocol.feel import UnaryTest
from thimble.protocol.model import Rule, Table
from thimble.protocol.protocol import Protocol

_ROUTE = "route"
_FIRST_AID = "first_aid"
_REPORTING = "reporting"


@dataclass(frozen=True, slots=True)
class Step:
    """One instruction; `only` names the case that it is for, or is ""."""

    text: str
    only: str
    unconfirmed: bool


@dataclass(frozen=True, slots=True)
class Panel:
    """First aid for one way that blood reaches a person, or for several with the same steps."""

    titles: tuple[str, ...]
    steps: tuple[Step, ...]


@dataclass(frozen=True, slots=True)
class WardCard:
    """Every word of the card."""

    frame: Frame
    panels: tuple[Panel, ...]
    always: tuple[Step, ...]
    here: tuple[str, ...]
    contacts: tuple[Contact, ...]
    emergency_phone: str
    address: str
    any_unconfirmed: bool

    def to_data(self) -> dict[str, Any]:
        """For the template."""
        return asdict(self)


def ward_card(site: Site, protocol: Protocol, now: datetime) -> WardCard:
    """The card.

    Every first-aid row of the protocol is on it, under each route that it holds for; a row that holds
    for every route stands once, below.

    Raises:
        ValueError: the protocol has no first aid: a card without any must not hang on a wall.
    """
    rows = _first_aid(protocol)
    if not rows:
        raise ValueError(
            f"protocol {protocol.id} has no first aid; add cautions of topic first_aid, or actions "
            "of kind first_aid, before a card is made"
        )
    vocabulary = protocol.vocabulary
    route = vocabulary[_ROUTE]
    by_route = [(row, _test(*row, _ROUTE)) for row in rows]
    always = _steps([row for row, test in by_route if test is None], protocol)
    panels: list[Panel] = []
    for value in route.values:
        mine = [row for row, test in by_route if test is not None and test.accepts_code(value)]
        steps = _steps(mine, protocol)
        same = next((at for at, panel in enumerate(panels) if panel.steps == steps), None)
        if same is not None:
            panels[same] = Panel((*panels[same].titles, route.label(value)), steps)
        elif steps:
            panels.append(Panel((route.label(value),), steps))
    every_step = (*always, *(step for panel in panels for step in panel.steps))
    return WardCard(
        frame=frame(
            "Blood on you? Do this now",
            "Needle, cut, splash or bite: then go and be seen.",
            site,
            now,
            mark_of(protocol),
        ),
        panels=tuple(panels),
        always=always,
        here=site.first_aid_notes,
        contacts=contacts(site),
        emergency_phone=phone(site.emergency_phone),
        address=site.base_url,
        any_unconfirmed=any(step.unconfirmed for step in every_step),
    )


def _first_aid(protocol: Protocol) -> list[tuple[Table, Rule]]:
    """Rows that say how; where a protocol has none, rows that only say that it is to be given.

    What to do about reporting stands behind them.
    """

    def rows(role: str, column: str, values: set[str]) -> list[tuple[Table, Rule]]:
        return [
            (table, rule)
            for table in protocol.tables
            if table.role == role
            for rule in table.rules
            if rule.outputs[column] in values
        ]

    how = rows("cautions", "topic", {_FIRST_AID}) or rows("actions", "kind", {_FIRST_AID})
    return [*how, *rows("cautions", "topic", {_REPORTING})] if how else []


def _test(table: Table, rule: Rule, column: str) -> UnaryTest | None:
    """What a rule asks of a column; None where it leaves it open or the table does not have it."""
    test = dict(zip(table.inputs, rule.tests, strict=True)).get(column)
    return None if test is None or test.any else test


def _steps(rows: list[tuple[Table, Rule]], protocol: Protocol) -> tuple[Step, ...]:
    steps: dict[tuple[str, str], Step] = {}
    for table, rule in rows:
        only = ", ".join(
            _only(column, test, protocol)
            for column, test in zip(table.inputs, rule.tests, strict=True)
            if column != _ROUTE and not test.any
        )
        text = rule.outputs["text" if table.role == "cautions" else "what"]
        # Two rows may give one instruction for two situations: it is printed once.
        steps.setdefault((text, only), Step(text, only, rule.standing != "read"))
    return tuple(sorted(steps.values(), key=lambda step: step.only != ""))


def _only(column: str, test: UnaryTest, protocol: Protocol) -> str:
    id_, _, member = column.partition(".")
    words = input_in_words(column, test, protocol)
    name = id_.replace("_", " ")
    fact = protocol.vocabulary.get(id_)
    if fact is None:
        return f"{name}: {words}"
    if member:
        return f"{fact.labels.get(member, member)}: {words}"
    short = {"yes": name, "no": f"no {name}", "unknown": f"{name} unknown"}
    return short.get(test.text.strip(), words)
