"""The pack for when computers are down: how to use it, a blank form, every table in words, the sources.

Everything comes from the active protocol, the vocabulary and the site's settings, so a pack printed
after a change of protocol is the new protocol; the foot of every page says which.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict, dataclass
from datetime import datetime
from typing import Any

from thimble.clinical.saying import opening
from thimble.clinical.site import Site
from thimble.documents.frame import Contact, Frame, all_contacts, frame, mark_of
from thimble.documents.words import ABOUT, WHOM, duration_in_words, input_in_words
from thimble.protocol.finding import STANDINGS
from thimble.protocol.model import COURSE_CLOCKS, Rule, Table
from thimble.protocol.protocol import Protocol
from thimble.protocol.vocabulary import Fact

_DUTIES = (
    "Exposure",
    "First aid begun",
    "First aid ended",
    "Seen by a clinician",
    "Source patient asked",
    "Source patient agreed or refused",
    "Expert rung",
    "Plan signed",
)


@dataclass(frozen=True, slots=True)
class Row:
    """One rule in words: its inputs, then its outcomes, in the order of the table's columns.

    `when` says the inputs that matter as one list, for tables too wide to be read across.
    """

    rule: str
    cells: tuple[str, ...]
    when: tuple[str, ...]
    outcomes: tuple[str, ...]
    source: str
    standing: str
    note: str
    unconfirmed: bool


@dataclass(frozen=True, slots=True)
class Sheet:
    """One table in words."""

    number: int
    id: str
    question: str
    how: str
    one_fits: bool
    inputs: tuple[str, ...]
    outputs: tuple[str, ...]
    rows: tuple[Row, ...]


@dataclass(frozen=True, slots=True)
class Blank:
    """A question of the blank form: boxes to tick, or a line with a unit."""

    question: str
    help: str
    choices: tuple[str, ...]
    unit: str
    several: bool


@dataclass(frozen=True, slots=True)
class Section:
    """The blank questions about one of exposure, source and worker."""

    title: str
    blanks: tuple[Blank, ...]


@dataclass(frozen=True, slots=True)
class Source:
    """A document that rules rest on."""

    key: str
    citation: str


@dataclass(frozen=True, slots=True)
class DowntimePack:
    """Every word of the pack."""

    frame: Frame
    protocol_title: str
    jurisdiction: str
    in_force_from: str
    sheets: tuple[Sheet, ...]
    sections: tuple[Section, ...]
    duties: tuple[str, ...]
    doses_and_samples: tuple[str, ...]
    sources: tuple[Source, ...]
    standings: tuple[str, ...]
    contacts: tuple[Contact, ...]
    address: str

    def to_data(self) -> dict[str, Any]:
        """For the template."""
        return asdict(self)


def downtime_pack(site: Site, protocol: Protocol, now: datetime) -> DowntimePack:
    """The pack, printed at `now` (aware)."""
    return DowntimePack(
        frame=frame(
            "Downtime pack",
            "For when computers are down: the forms and tables to decide on paper.",
            site,
            now,
            mark_of(protocol),
        ),
        protocol_title=protocol.title,
        jurisdiction=protocol.jurisdiction,
        in_force_from=protocol.in_force_from.isoformat(),
        sheets=tuple(
            _sheet(number, table, protocol) for number, table in enumerate(protocol.tables, start=1)
        ),
        sections=_sections(protocol),
        duties=_DUTIES,
        doses_and_samples=_doses_and_samples(protocol),
        sources=tuple(Source(key, citation) for key, citation in protocol.sources.items()),
        standings=tuple(STANDINGS.values()),
        contacts=all_contacts(site),
        address=site.base_url,
    )


def _sheet(number: int, table: Table, protocol: Protocol) -> Sheet:
    if table.role == "actions":
        outputs: tuple[str, ...] = ("What to do", "For", "When")
    else:
        outputs = tuple(_output_label(column, table, protocol) for column in table.outputs)
    return Sheet(
        number=number,
        id=table.id,
        question=table.question,
        how=(
            "Exactly one row fits."
            if table.hit_policy == "UNIQUE"
            else "Every row that fits applies; there may be several, or none."
        ),
        one_fits=table.hit_policy == "UNIQUE",
        inputs=tuple(_input_label(column, protocol) for column in table.inputs),
        outputs=outputs,
        rows=tuple(_row(table, rule, protocol) for rule in table.rules),
    )


def _output_label(column: str, table: Table, protocol: Protocol) -> str:
    output = protocol.outputs.get(column)
    if output is not None and output.label:
        return output.label
    if table.role == "reasons":
        return "Reason"
    return column.replace("_", " ").capitalize()


def _input_label(column: str, protocol: Protocol) -> str:
    id_, _, member = column.partition(".")
    fact = protocol.vocabulary.get(id_)
    if fact is not None:
        return f"{fact.question} {fact.labels.get(member, member)}".strip()
    output = protocol.outputs.get(id_)
    label = output.label if output and output.label else id_.replace("_", " ").capitalize()
    label = label if label.endswith("?") else f"{label}:"
    decided = next((str(n) for n, t in enumerate(protocol.tables, start=1) if id_ in t.decides), "")
    return f"{label[:-1]} (table {decided}){label[-1]}" if decided else label


def _row(table: Table, rule: Rule, protocol: Protocol) -> Row:
    cells = tuple(
        input_in_words(column, test, protocol)
        for column, test in zip(table.inputs, rule.tests, strict=True)
    )
    return Row(
        rule=rule.id,
        cells=cells,
        when=tuple(
            f"{_input_label(column, protocol)} {words}"
            for column, test, words in zip(table.inputs, rule.tests, cells, strict=True)
            if not test.any
        ),
        outcomes=_outcomes(table, rule, protocol),
        source=rule.source,
        standing=STANDINGS[rule.standing],
        note=rule.note,
        unconfirmed=rule.standing != "read",
    )


def _outcomes(table: Table, rule: Rule, protocol: Protocol) -> tuple[str, ...]:
    if table.role == "actions":
        cells = rule.outputs
        return (cells["what"], WHOM.get(cells["for"], cells["for"]), _when(cells, protocol))
    words = []
    for column in table.outputs:
        cell = rule.outputs[column]
        output = protocol.outputs.get(column)
        said = output.words(cell) if output else cell.replace("_", " ")
        words.append(opening(said))
    return tuple(words)


def _when(cells: Any, protocol: Protocol) -> str:
    counted_from = cells["counted_from"]
    if counted_from == "exposure":
        clock = "from the exposure"
    elif counted_from in COURSE_CLOCKS:
        clock = f"from {COURSE_CLOCKS[counted_from]}"
    else:
        clock = f"from when this is done: {protocol.action_words(counted_from)}"
    earliest, target, latest = (
        duration_in_words(cells[column]) for column in ("earliest", "target", "latest")
    )
    parts = []
    if earliest and not earliest.startswith("0 "):
        parts.append(f"not before {earliest}")
    if target:
        parts.append("best at once" if target.startswith("0 ") else f"best by {target}")
    action, _, waits = cells.get("not_before", "-").partition(" ")
    if waits:
        told = protocol.action_words(action)
        parts.append(f"nor before {duration_in_words(waits)} after this: {told}")
    if latest:
        parts.append("at once" if latest.startswith("0 ") else f"no later than {latest}")
    if not parts:
        return "As soon as it can be done" if counted_from == "exposure" else f"At once {clock}"
    told = f"{', '.join(parts)}; {clock}"
    return opening(told)


def _sections(protocol: Protocol) -> tuple[Section, ...]:
    """Blank questions for every fact that some table looks at, in the order of the vocabulary."""
    asked = {column.partition(".")[0] for table in protocol.tables for column in table.inputs}
    sections = []
    for about, title in ABOUT.items():
        blanks = tuple(
            _blank(fact)
            for id_, fact in protocol.vocabulary.items()
            if id_ in asked and fact.about == about
        )
        if blanks:
            sections.append(Section(title, blanks))
    return tuple(sections)


def _blank(fact: Fact) -> Blank:
    choices: Sequence[str] = [fact.labels.get(value, value) for value in fact.values]
    return Blank(fact.question, fact.help, tuple(choices), fact.unit, fact.kind == "set")


def _doses_and_samples(protocol: Protocol) -> tuple[str, ...]:
    found: dict[str, None] = {}
    for table in protocol.tables:
        if table.role == "actions":
            for rule in table.rules:
                if rule.outputs["kind"] in ("dose", "sample"):
                    found[rule.outputs["what"]] = None
    return tuple(found)
