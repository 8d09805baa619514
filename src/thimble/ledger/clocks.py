"""Which hours count: since an exposure known exactly or roughly, running or stopped by an action."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta, tzinfo
from functools import lru_cache
from itertools import pairwise

from thimble.clinical.durations import hours_between
from thimble.ledger.consistent import answer as answer_to
from thimble.ledger.situation import Situation
from thimble.protocol.finding import Evaluation, Finding, Item, Question, Reason
from thimble.protocol.model import Table
from thimble.protocol.protocol import Protocol
from thimble.protocol.vocabulary import Value

HOURS = "hours_since_exposure"
ANY = "-"
_HOUR = timedelta(hours=1)


@dataclass(frozen=True, slots=True)
class Moment:
    """When the exposure was, as exactly as it is known: within [`first`, `last`]; None if unknown."""

    first: datetime | None
    last: datetime | None


def moment_of(situation: Situation, zone: tzinfo, now: datetime) -> Moment:
    """When the exposure was.

    A time known to the hour or the date is an interval: never later than the report, nor than now.
    Where only the hours since are known, they count back from when that was said.
    """
    at = situation.occurred_at
    if at is None:
        told = situation.facts.get(HOURS)
        if told is None or not isinstance(told.value, float):
            return Moment(None, None)
        first = (told.known_at or now).astimezone(UTC) - _HOUR * told.value
        return Moment(first, first)
    if situation.occurred_at_precision not in ("hour", "date"):
        return Moment(at, at)
    local = at.astimezone(zone)
    start = local.replace(minute=0, second=0, microsecond=0)
    if situation.occurred_at_precision == "date":
        start = local.replace(hour=0, minute=0, second=0, microsecond=0, fold=0)
        # The next midnight on the wall: a day may have 23 or 25 hours.
        end = (start.replace(tzinfo=None) + timedelta(days=1)).replace(tzinfo=zone)
    else:
        end = (start.astimezone(UTC) + _HOUR).astimezone(zone)
    bounds = [end, now] + ([situation.reported_at] if situation.reported_at else [])
    last = min(bounds, key=lambda b: b.astimezone(UTC))
    return Moment(start, max(start, last, key=lambda b: b.astimezone(UTC)))


def evaluate(
    facts: Mapping[str, Value],
    protocol: Protocol,
    moment: Moment,
    now: datetime,
    situation: Situation,
) -> tuple[Evaluation, list[str]]:
    """What the protocol says at `now`, each table by its own clock; and sentences on contradictions.

    `facts` hold no hours: these come from `moment`.
    """
    sentences: list[str] = []

    def at(until: datetime) -> Evaluation:
        answers = [
            answer_to(facts if hours is None else {**facts, HOURS: hours}, protocol, sentences)
            for hours in _hours(moment, until, protocol)
        ]
        return answers[0] if len(answers) == 1 else _agree(answers)

    running = at(now)
    stopped = {
        action: at(min(done.at, now))
        for action in dict.fromkeys(t.clock_stops_with for t in protocol.tables)
        if action and (done := situation.done.get(action)) is not None
    }
    if not stopped:
        return running, sentences
    return _by_clock(running, stopped, protocol), sentences


def _hours(moment: Moment, until: datetime, protocol: Protocol) -> list[float | None]:
    """The hours since the exposure that have to be looked at; [None] while they are not known."""
    if moment.first is None or moment.last is None or HOURS not in protocol.vocabulary:
        return [None]
    fact = protocol.vocabulary[HOURS]

    def within(hours: float) -> float:
        # A follow-up may outlast the range that a form accepts; every limit lies inside it.
        return min(max(hours, fact.low), fact.high)

    most = within(hours_between(moment.first, until))
    least = within(hours_between(moment.last, until))
    axis = protocol.index.axes.get(HOURS)
    if axis is None or most == least:
        return [most]
    # One value in each cell that the interval reaches: the limits in it, and one between any two.
    ends = [least, *(cut for cut in axis.cuts if least < cut < most), most]
    between = [(one + other) / 2 for one, other in pairwise(ends)]
    return [*sorted({*ends, *between})]


def _agree(answers: Sequence[Evaluation]) -> Evaluation:
    """What several answers have in common: settled where they agree, open where they do not."""
    first = answers[0]
    findings: dict[str, Finding] = {}
    changed: dict[str, list[str]] = {}
    for name in first.findings:
        each = [answer.findings[name] for answer in answers if name in answer.findings]
        possible = tuple(dict.fromkeys(value for f in each for value in f.possible))
        if len(possible) == 1:
            findings[name] = Finding(name, possible[0], possible, union(f.because for f in each))
            continue
        open_facts = dict.fromkeys(fact for f in each for fact in f.open_facts)
        if len({f.possible for f in each}) > 1:
            open_facts = dict.fromkeys([*open_facts, HOURS])
            changed.setdefault(HOURS, []).append(name)
        findings[name] = Finding(name, None, possible, (), tuple(open_facts))
    items: dict[str, tuple[Item, ...]] = {}
    for table in first.items:
        distinct: dict[tuple[str, ...], list[Item]] = {}
        for answer in answers:
            for item in answer.items.get(table, ()):
                distinct.setdefault(tuple(item.outputs.values()), []).append(item)
        merged = []
        for same in distinct.values():
            everywhere = len(same) == len(answers)
            open_facts = dict.fromkeys(fact for i in same for fact in i.open_facts)
            if not everywhere or len({i.certain for i in same}) > 1:
                open_facts = dict.fromkeys([*open_facts, HOURS])
                if table not in changed.setdefault(HOURS, []):
                    changed[HOURS].append(table)
            merged.append(
                Item(
                    table,
                    same[0].outputs,
                    everywhere and all(i.certain for i in same),
                    union(i.because for i in same),
                    tuple(open_facts),
                )
            )
        items[table] = tuple(merged)
    for answer in answers:
        for question in answer.questions:
            for name in question.changes:
                if name not in changed.setdefault(question.fact, []):
                    changed[question.fact].append(name)
    order = dict.fromkeys([*([HOURS] if HOURS in changed else []), *_in_order(answers)])
    return Evaluation(
        findings, items, tuple(Question(fact, tuple(changed[fact])) for fact in order)
    )


def _in_order(answers: Iterable[Evaluation]) -> list[str]:
    return list(dict.fromkeys(q.fact for answer in answers for q in answer.questions))


def union(many: Iterable[tuple[Reason, ...]]) -> tuple[Reason, ...]:
    """All reasons, each once, in the order in which they come."""
    return tuple(dict.fromkeys(reason for because in many for reason in because))


@dataclass(frozen=True, slots=True)
class _Clocks:
    """For each decision and each row of a collection, the actions that can stop its hours."""

    decisions: Mapping[str, tuple[str, ...]]
    rows: Mapping[str, Mapping[str, tuple[str, ...]]]


@lru_cache(maxsize=16)
def _clocks_of(protocol: Protocol) -> _Clocks:
    """A table without a clock of its own follows those of the decisions it rests on.

    A table that itself counts hours counts them as they run. A row of a collection rests on the
    columns that it tests: those whose cell is not `-`.
    """
    decisions: dict[str, tuple[str, ...]] = {}
    rows: dict[str, dict[str, tuple[str, ...]]] = {}

    def inherited(columns: Iterable[str]) -> tuple[str, ...]:
        return tuple(dict.fromkeys(clock for c in columns for clock in decisions.get(c, ())))

    for table in protocol.tables:
        own = (table.clock_stops_with,) if table.clock_stops_with else ()
        if table.hit_policy == "UNIQUE":
            clocks = own or (() if HOURS in table.inputs else inherited(table.inputs))
            decisions.update(dict.fromkeys(table.decides, clocks))
        else:
            rows[table.id] = {
                rule.id: own
                or inherited(
                    column
                    for column, cell in zip(table.inputs, rule.cells, strict=True)
                    if cell.strip() != ANY
                )
                for rule in table.rules
            }
    return _Clocks(decisions, rows)


def _by_clock(
    running: Evaluation, stopped: Mapping[str, Evaluation], protocol: Protocol
) -> Evaluation:
    """One evaluation in which each decision, and each row of a collection, follows its own clock."""
    clocks = _clocks_of(protocol)

    def clock(names: tuple[str, ...]) -> str:
        return next((name for name in names if name in stopped), "")

    findings = {
        name: stopped.get(clock(clocks.decisions[name]), running).findings.get(name, finding)
        for name, finding in running.findings.items()
    }
    items = {
        table.id: _rows_by_clock(
            table,
            {rule: clock(names) for rule, names in clocks.rows[table.id].items()},
            running,
            stopped,
        )
        for table in protocol.tables
        if table.hit_policy == "COLLECT"
    }
    return Evaluation(findings, items, _follow(running, stopped, findings, items))


def _rows_by_clock(
    table: Table,
    row_clock: Mapping[str, str],
    running: Evaluation,
    stopped: Mapping[str, Evaluation],
) -> tuple[Item, ...]:
    clocks = dict.fromkeys(row_clock.values())
    if len(clocks) == 1:
        return stopped.get(next(iter(clocks)), running).items.get(table.id, ())
    kept: dict[tuple[str, ...], Item] = {}
    for clock in clocks:
        for item in stopped.get(clock, running).items.get(table.id, ()):
            because = tuple(r for r in item.because if row_clock.get(r.rule) == clock)
            if not because:
                continue
            own = Item(item.table, item.outputs, item.certain, because, item.open_facts)
            key = tuple(own.outputs.values())
            kept[key] = either(kept[key], own) if key in kept else own
    first_row = {rule.id: rule.row for rule in reversed(table.rules)}
    return tuple(sorted(kept.values(), key=lambda i: min(first_row[r.rule] for r in i.because)))


def either(one: Item, other: Item) -> Item:
    """Two findings of the same entry as one: certain if either is, resting on the rules of both."""
    certain = one.certain or other.certain
    open_facts = () if certain else tuple(dict.fromkeys([*one.open_facts, *other.open_facts]))
    return Item(one.table, one.outputs, certain, union([one.because, other.because]), open_facts)


def _follow(
    running: Evaluation,
    stopped: Mapping[str, Evaluation],
    findings: Mapping[str, Finding],
    items: Mapping[str, tuple[Item, ...]],
) -> tuple[Question, ...]:
    """The questions that still change something once each table follows its own clock."""
    open_in = {name: set(finding.open_facts) for name, finding in findings.items()}
    for table, found in items.items():
        open_in[table] = {fact for item in found for fact in item.open_facts}
    changes: dict[str, dict[str, None]] = {}
    for evaluation in (running, *stopped.values()):
        for question in evaluation.questions:
            for name in question.changes:
                if question.fact in open_in.get(name, set()):
                    changes.setdefault(question.fact, {})[name] = None
    return tuple(Question(fact, tuple(names)) for fact, names in changes.items())


def hours_words(first: datetime, last: datetime, now: datetime) -> str:
    """The hours from an exposure within [`first`, `last`] to `now`, for people."""
    most, least = hours_between(first, now), hours_between(last, now)
    if first == last:
        return f"{most:.1f} h from the exposure to now"
    return f"{least:.1f} to {most:.1f} h from the exposure to now"
