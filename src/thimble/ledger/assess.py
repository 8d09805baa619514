"""From what is known to what to do: a pure function of situation, protocol, moment and site.

Nothing here knows a clinical limit: limits come from the protocol's tables. What this module knows is
time (which hours a table counts, when a window closes) and doubt (what is settled, what stays open,
what nobody can tell).
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta, tzinfo
from decimal import Decimal, InvalidOperation
from typing import Protocol as Shape

from thimble.clinical.computed import compute
from thimble.clinical.doses import DoseNeeds, DoseRule, dose
from thimble.clinical.durations import add, hours_between, parse
from thimble.ledger.plan import Action, Caution, KnownFact, Plan, Situation, State, Window
from thimble.protocol.finding import Evaluation, Finding, Item, Question, Reason
from thimble.protocol.model import Table
from thimble.protocol.protocol import Protocol
from thimble.protocol.vocabulary import Value

HOURS = "hours_since_exposure"
WEIGHT = "worker_weight"
HBIG_AMOUNT = ("hbig_amount", "hbig_amount_per", "hbig_amount_unit")
FROM_EXPOSURE = "exposure"
NONE = "-"
_HOUR = timedelta(hours=1)


class Site(Shape):
    """What `assess` needs of a site: the zone whose calendar its days and months follow."""

    @property
    def zone(self) -> tzinfo:
        """The site's time zone."""


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


def assess(situation: Situation, protocol: Protocol, now: datetime, site: Site) -> Plan:
    """The plan for a situation under a protocol at a moment.

    Tables with a stopped clock (`clock_stops_with`) are answered with the hours at which that action
    was done, and whatever rests on their decisions follows them: prophylaxis begun in time stays
    indicated when the limit for beginning it has passed. An exposure known to the hour or the date is
    answered for every whole and half hour it may have been; what they do not agree on stays open.
    Its windows count from its first possible instant, so that none closes later than shown.

    Raises:
        ValueError: `now` has no offset, or a window's text is no duration.
    """
    if now.utcoffset() is None:
        raise ValueError(f"now needs its offset from UTC; found {now.isoformat()}")
    moment = moment_of(situation, site.zone, now)
    contradictions: list[str] = []
    if moment.first is not None and moment.first > now:
        contradictions.append(
            "The exposure is recorded as later than now. Until its time is corrected, the hours "
            "since then are treated as not known."
        )
        moment = Moment(None, None)

    known = {fact: told.value for fact, told in situation.facts.items() if fact != HOURS}
    known, told = _consistent(known, protocol)
    contradictions += told
    computed = compute(known)
    facts = {**known, **computed.facts}

    evaluation, more = _evaluate(facts, protocol, moment, now, situation)
    contradictions += more
    findings = dict(evaluation.findings)
    actions, needs_weight = _actions(evaluation, protocol, situation, moment, now, site.zone, facts)
    questions = _questions(evaluation.questions, computed.missing, situation, needs_weight)
    explanations = dict(computed.explanations)
    if moment.first is not None and moment.last is not None:
        explanations[HOURS] = _hours_words(moment.first, moment.last, now)
    for fact, reason in computed.reasons.items():
        explanations.setdefault(fact, reason)
    return Plan(
        now=now,
        protocol_id=protocol.id,
        protocol_edition=protocol.edition,
        protocol_digest=protocol.digest,
        findings=findings,
        questions=questions,
        actions=actions,
        cautions=_cautions(evaluation, protocol),
        undecidable={
            name: stuck
            for name, finding in findings.items()
            if finding.value is None
            and (stuck := tuple(f for f in finding.open_facts if f in situation.cannot_be_known))
        },
        contradictions=tuple(dict.fromkeys(contradictions)),
        computed=explanations,
        reasons={
            table.id: evaluation.items.get(table.id, ())
            for table in protocol.tables
            if table.role == "reasons"
        },
    )


# -- facts that cannot hold together ----------------------------------------------------------------


def _consistent(
    facts: Mapping[str, Value], protocol: Protocol
) -> tuple[dict[str, Value], list[str]]:
    """The facts without those that contradict one another, and a sentence for each contradiction."""
    kept = dict(facts)
    sentences: list[str] = []
    while found := protocol.contradictions(kept):
        for contradiction in found:
            sentences.append(
                _cannot_hold(contradiction.facts, contradiction.because, facts, protocol)
            )
        for contradiction in found:
            for fact in contradiction.facts:
                kept.pop(fact, None)
    return kept, sentences


def _cannot_hold(
    ids: Iterable[str], because: str, facts: Mapping[str, Value], protocol: Protocol
) -> str:
    answers = "; ".join(
        f"{protocol.vocabulary[id_].question} {protocol.vocabulary[id_].label(facts[id_])}"
        for id_ in ids
        if id_ in facts
    )
    because = because.strip().rstrip(".")
    return (
        f"These answers cannot hold together: {answers}. {because[:1].upper()}{because[1:]}. "
        "Until one is corrected they are treated as not settled."
    )


def _answer(facts: Mapping[str, Value], protocol: Protocol, sentences: list[str]) -> Evaluation:
    """`protocol.evaluate`, leaving out facts that leave no situation that can be."""
    kept, told = _consistent(facts, protocol)
    sentences += told
    try:
        return protocol.evaluate(kept)
    except ValueError:
        pass
    # No single declared impossibility is met, yet together they leave nothing: find the answers
    # that do it, one by one, and leave those open.
    possible: dict[str, Value] = {}
    for fact, value in kept.items():
        try:
            protocol.evaluate({**possible, fact: value})
        except ValueError:
            sentences.append(
                _cannot_hold(
                    [fact],
                    "It leaves no situation that can be, with the other answers",
                    kept,
                    protocol,
                )
            )
        else:
            possible[fact] = value
    return protocol.evaluate(possible)


# -- hours: which tables count which ----------------------------------------------------------------


def _evaluate(
    facts: Mapping[str, Value],
    protocol: Protocol,
    moment: Moment,
    now: datetime,
    situation: Situation,
) -> tuple[Evaluation, list[str]]:
    sentences: list[str] = []

    def at(until: datetime) -> Evaluation:
        answers = [
            _answer(facts if hours is None else {**facts, HOURS: hours}, protocol, sentences)
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
    if moment.first == moment.last or most == least:
        return [most]
    halves = (step / 2 for step in range(int(least * 2), int(most * 2) + 2))
    return [*sorted({least, most, *(h for h in halves if least < h < most)})]


def _agree(answers: Sequence[Evaluation]) -> Evaluation:
    """What several answers have in common: settled where they agree, open where they do not."""
    first = answers[0]
    findings: dict[str, Finding] = {}
    changed: dict[str, list[str]] = {}
    for name in first.findings:
        each = [answer.findings[name] for answer in answers if name in answer.findings]
        possible = tuple(dict.fromkeys(value for f in each for value in f.possible))
        if len(possible) == 1:
            findings[name] = Finding(name, possible[0], possible, _union(f.because for f in each))
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
                    _union(i.because for i in same),
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


def _union(many: Iterable[tuple[Reason, ...]]) -> tuple[Reason, ...]:
    return tuple(dict.fromkeys(reason for because in many for reason in because))


def _by_clock(
    running: Evaluation, stopped: Mapping[str, Evaluation], protocol: Protocol
) -> Evaluation:
    """One evaluation in which each table, or each row of a collection, follows its own clock."""
    clock_of: dict[str, str] = {}  # decision → the action that stops its hours, "" if none has

    def inherited(columns: Iterable[str]) -> str:
        clocks = dict.fromkeys(clock_of.get(column, "") for column in columns)
        return next((clock for clock in clocks if clock), "")

    findings: dict[str, Finding] = {}
    items: dict[str, tuple[Item, ...]] = {}
    for table in protocol.tables:
        own = table.clock_stops_with if table.clock_stops_with in stopped else ""
        if table.hit_policy == "UNIQUE":
            clock = own or ("" if HOURS in table.inputs else inherited(table.inputs))
            source = stopped.get(clock, running)
            for decision in table.decides:
                clock_of[decision] = clock
                if decision in source.findings:
                    findings[decision] = source.findings[decision]
            continue
        row_clock = {rule.id: own or inherited(_rests_on(table, rule.id)) for rule in table.rules}
        items[table.id] = _rows_by_clock(table, row_clock, running, stopped)
    questions = _follow(running, stopped, findings, items)
    return Evaluation({n: findings[n] for n in running.findings if n in findings}, items, questions)


def _rests_on(table: Table, rule_id: str) -> list[str]:
    """The columns that a row tests: those whose cell is not `-`."""
    rule = next(rule for rule in table.rules if rule.id == rule_id)
    return [c for c, cell in zip(table.inputs, rule.cells, strict=True) if cell.strip() != NONE]


def _rows_by_clock(
    table: Table,
    row_clock: Mapping[str, str],
    running: Evaluation,
    stopped: Mapping[str, Evaluation],
) -> tuple[Item, ...]:
    kept: dict[tuple[str, ...], Item] = {}
    for clock in dict.fromkeys(row_clock.values()):
        for item in stopped.get(clock, running).items.get(table.id, ()):
            because = tuple(r for r in item.because if row_clock.get(r.rule) == clock)
            if not because:
                continue
            own = Item(item.table, item.outputs, item.certain, because, item.open_facts)
            key = tuple(own.outputs.values())
            kept[key] = _either(kept[key], own) if key in kept else own
    first_row = {rule.id: rule.row for rule in reversed(table.rules)}
    return tuple(sorted(kept.values(), key=lambda i: min(first_row[r.rule] for r in i.because)))


def _either(one: Item, other: Item) -> Item:
    certain = one.certain or other.certain
    open_facts = () if certain else tuple(dict.fromkeys([*one.open_facts, *other.open_facts]))
    return Item(one.table, one.outputs, certain, _union([one.because, other.because]), open_facts)


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


def _hours_words(first: datetime, last: datetime, now: datetime) -> str:
    most, least = hours_between(first, now), hours_between(last, now)
    if first == last:
        return f"{most:.1f} h from the exposure to now"
    return f"{least:.1f} to {most:.1f} h from the exposure to now"


# -- questions and cautions -------------------------------------------------------------------------


def _questions(
    asked: Iterable[Question],
    missing: Mapping[str, tuple[str, ...]],
    situation: Situation,
    needs_weight: bool,
) -> tuple[Question, ...]:
    """The questions to ask: a computed fact whose inputs are partly known asks for the others."""
    changes: dict[str, dict[str, None]] = {}
    for question in asked:
        inputs = [f for f in missing.get(question.fact, ()) if f not in situation.cannot_be_known]
        for fact in inputs or [question.fact]:
            if fact not in situation.cannot_be_known:
                changes.setdefault(fact, {}).update(dict.fromkeys(question.changes))
    if needs_weight and WEIGHT not in situation.cannot_be_known:
        changes.setdefault(WEIGHT, {})[HBIG_AMOUNT[0]] = None
    return tuple(Question(fact, tuple(names)) for fact, names in changes.items())


def _cautions(evaluation: Evaluation, protocol: Protocol) -> tuple[Caution, ...]:
    merged: dict[tuple[str, str], Item] = {}
    for table in protocol.tables:
        if table.role != "cautions":
            continue
        for item in evaluation.items.get(table.id, ()):
            key = (item.outputs["topic"], item.outputs["text"])
            merged[key] = _either(merged[key], item) if key in merged else item
    return tuple(
        Caution(topic, text, item.certain, item.because, item.open_facts)
        for (topic, text), item in merged.items()
    )


# -- actions ----------------------------------------------------------------------------------------


def _actions(
    evaluation: Evaluation,
    protocol: Protocol,
    situation: Situation,
    moment: Moment,
    now: datetime,
    zone: tzinfo,
    facts: Mapping[str, Value],
) -> tuple[tuple[Action, ...], bool]:
    departed = {departure.subject for departure in situation.departures}
    produced: dict[str, list[Item]] = {}
    for table in protocol.tables:
        if table.role == "actions":
            for item in evaluation.items.get(table.id, ()):
                produced.setdefault(item.outputs["action"], []).append(item)

    amount, needs_weight = _hbig_amount(evaluation, facts)
    actions: list[Action] = []
    gives_hbig = False
    for id_, items in produced.items():
        windows = [_window(item.outputs, situation, moment, zone) for item in items]
        # Where the meaning is still open, the window that closes first is the one to keep.
        best = min(
            range(len(items)),
            key=lambda at: (not items[at].certain, _closes(windows[at]), at),
        )
        outputs, window = items[best].outputs, windows[best]
        certain = any(item.certain for item in items)
        open_facts = dict.fromkeys(fact for item in items for fact in item.open_facts)
        done = situation.done.get(id_)
        is_hbig = outputs["kind"] == "dose" and id_.startswith("hbig")
        gives_hbig = gives_hbig or (is_hbig and done is None)
        actions.append(
            Action(
                id=id_,
                what=outputs["what"],
                kind=outputs["kind"],
                whom=outputs["for"],
                window=window,
                state=_state(id_, window, done is not None, departed, now),
                certain=certain,
                because=_union(item.because for item in items),
                open_facts=() if certain else tuple(open_facts),
                amount=amount if is_hbig else "",
                done_at=None if done is None else done.at,
                done_by_entry=None if done is None else done.entry,
            )
        )
    actions += _left_over(set(produced), protocol, situation, moment, zone)
    order = {action.id: at for at, action in enumerate(actions)}
    actions.sort(key=lambda a: (_rank(a.state), _closes(a.window), not a.certain, order[a.id]))
    return tuple(actions), needs_weight and gives_hbig


def _state(id_: str, window: Window, done: bool, departed: set[str], now: datetime) -> State:
    if done:
        return State.DONE
    if id_ in departed:
        return State.DEPARTED
    # Limits are inclusive: at the last instant there is still time.
    if window.latest is not None and now > window.latest:
        return State.LATE
    return State.OPEN


def _rank(state: State) -> int:
    if state in (State.OPEN, State.LATE):
        return 0
    return 1 + [State.DEPARTED, State.NO_LONGER_NEEDED, State.DONE].index(state)


_FAR = datetime.max.replace(tzinfo=UTC)


def _closes(window: Window) -> tuple[int, datetime]:
    """What actions are ordered by: the last instant, else the target, else nothing; started first."""
    closes = window.latest or window.target
    if closes is not None:
        return (0, closes.astimezone(UTC))
    return (2 if window.waits_for else 1, _FAR)


def _window(
    outputs: Mapping[str, str], situation: Situation, moment: Moment, zone: tzinfo
) -> Window:
    counted_from = outputs["counted_from"]
    start: datetime | None
    if counted_from in (FROM_EXPOSURE, NONE):
        start, waits_for = moment.first, ""
    else:
        done = situation.done.get(counted_from)
        start, waits_for = (None, counted_from) if done is None else (done.at, "")
    if start is None:
        return Window(None, None, None, waits_for)

    def limit(column: str) -> datetime | None:
        text = outputs[column]
        return None if text == NONE else add(start, parse(text), zone)

    return Window(limit("earliest"), limit("target"), limit("latest"), waits_for)


def _left_over(
    produced: set[str],
    protocol: Protocol,
    situation: Situation,
    moment: Moment,
    zone: tzinfo,
) -> list[Action]:
    """What was done or signed and no longer follows: kept, with what it was."""
    rows = {
        rule.outputs["action"]: rule.outputs
        for table in reversed(protocol.tables)
        if table.role == "actions"
        for rule in reversed(table.rules)
    }
    signed = [id_ for plan in situation.signed for id_ in plan.actions]
    left: list[Action] = []
    for id_ in dict.fromkeys([*signed, *situation.done]):
        done = situation.done.get(id_)
        if id_ in produced or (done is not None and id_ not in rows and id_ not in signed):
            continue
        outputs = rows.get(id_)
        left.append(
            Action(
                id=id_,
                # An edition of the protocol that no longer has the row leaves only its id.
                what=outputs["what"] if outputs else id_.replace("_", " "),
                kind=outputs["kind"] if outputs else "review",
                whom=outputs["for"] if outputs else "worker",
                window=(
                    _window(outputs, situation, moment, zone)
                    if outputs
                    else Window(None, None, None)
                ),
                state=State.NO_LONGER_NEEDED if done is None else State.DONE,
                certain=True,
                because=(),
                done_at=None if done is None else done.at,
                done_by_entry=None if done is None else done.entry,
            )
        )
    return left


def _hbig_amount(evaluation: Evaluation, facts: Mapping[str, Value]) -> tuple[str, bool]:
    """The words for the amount of hepatitis B immunoglobulin, and whether the weight is missing."""
    values = [
        finding.value if (finding := evaluation.findings.get(name)) is not None else None
        for name in HBIG_AMOUNT
    ]
    amount, per, unit = values
    if amount is None or per is None or unit is None:
        return "", False
    try:
        number = Decimal(amount)
    except InvalidOperation:
        return "", False
    if not number.is_finite() or number <= 0:
        return "", False
    weight = facts.get(WEIGHT)
    answer = dose(
        DoseRule(number, unit, per_kg=per == "kg", route="IM"),
        weight if isinstance(weight, float) else None,
    )
    return answer.text, isinstance(answer, DoseNeeds)


# -- a plan's fingerprint ---------------------------------------------------------------------------


def fingerprint(plan: Plan) -> str:
    """What a clinician sees of a plan, as one short text: equal fingerprints, the same advice.

    The passing of time alone changes it only where it changes the advice or makes an action late.
    """
    seen = [
        plan.protocol_digest,
        *(f"{name}={finding.value}:{finding.possible}" for name, finding in plan.findings.items()),
        *sorted(
            f"{a.id}|{a.what}|{a.state.value}|{a.certain}|{a.amount}|{a.window}"
            for a in plan.actions
        ),
        *(f"{c.topic}|{c.text}|{c.certain}" for c in plan.cautions),
        *plan.contradictions,
    ]
    return hashlib.sha256("\n".join(seen).encode()).hexdigest()[:32]


def known_facts(facts: Mapping[str, Value], at: datetime, said_by: str) -> dict[str, KnownFact]:
    """Facts that come from a file or a form rather than from a ledger, as a situation holds them."""
    return {fact: KnownFact(fact, value, said_by, at, None) for fact, value in facts.items()}


def situation_of(
    facts: Mapping[str, Value],
    *,
    occurred_at: datetime | None,
    now: datetime,
    said_by: str = "record",
) -> Situation:
    """A situation without a ledger: one file, one plan."""
    return Situation(
        case="",
        as_of=now,
        occurred_at=occurred_at,
        occurred_at_precision="unknown" if occurred_at is None else "minute",
        reported_at=None,
        facts=known_facts(facts, now, said_by),
        cannot_be_known={},
        done={},
        source_steps={},
        signed=(),
        departures=(),
        closed_at=None,
        closed_reason="",
        entries=0,
        last_digest="",
    )
