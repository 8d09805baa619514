"""Our engine against its peers on the same tables and situations, each answer checked equal first."""

from __future__ import annotations

import statistics
import time
from collections.abc import Callable, Sequence
from dataclasses import replace
from typing import Any

from bench import peer_chain
from bench.peer_duckdb import DuckPeer
from bench.peer_z3 import Opened, Z3Peer, item_name
from bench.peer_zen import ZenPeer
from bench.situations import Sample, Situation

from thimble.protocol import Evaluation, Protocol
from thimble.protocol.proving.checking import prove
from thimble.protocol.reading import read_folder

ROUNDS = 5
SOLVED = 12
"""Half-known situations that z3 is asked about; it needs seconds for what the others do at once."""


def median_us(ask: Callable[[Any], object], asked: Sequence[Any], rounds: int = ROUNDS) -> float:
    """Median microseconds a question, over all questions and rounds."""
    times = []
    for _ in range(rounds):
        for question in asked:
            begin = time.perf_counter_ns()
            ask(question)
            times.append(time.perf_counter_ns() - begin)
    return statistics.median(times) / 1000


def first_time(protocol: Protocol, asked: Sequence[Situation]) -> float:
    """Median microseconds of ours where nothing is remembered of earlier situations."""
    times = []
    for _ in range(ROUNDS):
        for situation in asked:
            protocol.forget()
            begin = time.perf_counter_ns()
            protocol.evaluate(situation)
            times.append(time.perf_counter_ns() - begin)
    return statistics.median(times) / 1000


def row(label: str, ours: float, peer: float, aim: str) -> None:
    """One line: our time, the peer's, how many times faster we are, and the aim."""
    print(f"  {label:<46}{ours:>11.1f}{peer:>14.1f}{peer / ours:>10.2f}x   {aim}")


def head(title: str) -> None:
    print(f"\n{title}\n  {'':<46}{'ours, µs':>11}{'peer, µs':>14}{'faster':>11}   aim")


# -- (a) one whole decision with its explanation ------------------------------------------------


def whole_decisions(sample: Sample) -> None:
    protocol, full = sample.protocol, sample.full
    zen, duck, chain = ZenPeer(protocol), DuckPeer(protocol, full), peer_chain.generate(protocol)
    contexts = [zen.context(situation) for situation in full]
    for n, (situation, context) in enumerate(zip(full, contexts, strict=True)):
        wanted = rules_of(protocol, protocol.evaluate(situation))
        assert peer_chain.as_rules(chain(situation)) == wanted, situation
        assert zen.as_rules(zen.ask(context)) == wanted, situation
        if n < 20:
            assert duck.as_rules(duck.ask(n)[0]) == wanted, situation
    ours = first_time(protocol, full)
    for situation in full:
        protocol.evaluate(situation)
    again = median_us(protocol.evaluate, full)
    traced, chained = median_us(zen.ask, contexts), median_us(chain, full)
    untraced = median_us(lambda context: zen.ask(context, trace=False), contexts)
    head(f"(a) One whole decision with explanation: {protocol.id}, {len(full)} situations")
    row("zen-engine with trace", ours, traced, ">= 10x")
    row("zen-engine with trace, ours remembered", again, traced, ">= 10x")
    row("zen-engine without trace", ours, untraced, "-")
    row("generated Python if-chain", ours, chained, ">= 0.33x")
    row("generated Python if-chain, ours remembered", again, chained, ">= 0.33x")
    row("DuckDB, one situation a query", ours, median_us(duck.ask, range(20), 1), "-")
    begin = time.perf_counter()
    duck.ask_all()
    a_row = (time.perf_counter() - begin) * 1e6 / len(full)
    row(f"DuckDB, all {len(full)} in one query, each", ours, a_row, "-")


def rules_of(protocol: Protocol, evaluation: Evaluation) -> dict[str, set[str]]:
    """Table → rules that fired."""
    found: dict[str, set[str]] = {table.id: set() for table in protocol.tables}
    for finding in evaluation.findings.values():
        for reason in finding.because:
            found[reason.table].add(reason.rule)
    for items in evaluation.items.values():
        for item in items:
            found[item.table] |= {reason.rule for reason in item.because}
    return found


# -- (b) half the facts unknown -----------------------------------------------------------------


def open_decisions(sample: Sample) -> None:
    protocol, half = sample.protocol, sample.half
    z3 = Z3Peer(protocol)
    solved = half[:SOLVED]
    for situation in solved:
        theirs = z3.open(situation)
        assert opened(protocol, protocol.evaluate(situation), theirs) == theirs, situation

    at_first = first_time(protocol, half)
    for situation in half:
        protocol.evaluate(situation)
    again = median_us(protocol.evaluate, half)
    theirs_us = median_us(z3.open, solved, 1)
    head(f"(b) Exact outcomes and deciding facts, half the facts unknown: {protocol.id}")
    row("z3, ours asked for the first time", at_first, theirs_us, ">= 100x")
    row("z3, ours remembered", again, theirs_us, ">= 100x")


def opened(protocol: Protocol, evaluation: Evaluation, like: Opened) -> Opened:
    """Our answer in the peer's form."""
    found: Opened = {name: (frozenset({"no"}), frozenset()) for name in like}
    for decision, finding in evaluation.findings.items():
        found[decision] = (frozenset(finding.possible), frozenset(finding.open_facts))
    for table, items in evaluation.items.items():
        for item in items:
            outcomes = frozenset({"yes"} if item.certain else {"yes", "no"})
            name = item_name(table, tuple(item.outputs.values()))
            found[name] = (outcomes, frozenset(item.open_facts))
    assert protocol.id
    return found


# -- (c) proofs ---------------------------------------------------------------------------------


def proofs(protocol: Protocol, folder: Any) -> None:
    planted = list(faulty(protocol))
    for changed in planted:
        assert ours_found(changed) == Z3Peer(changed).prove(), changed.manifest.note
    manifest = protocol.manifest
    read = median_us(lambda _: read_folder(folder, protocol.vocabulary), range(5), 1)
    built = median_us(lambda _: Protocol(manifest, protocol.vocabulary), range(9), 1)
    proved = median_us(lambda _: prove(protocol), range(9), 1)
    their_build = median_us(lambda _: Z3Peer(protocol), range(3), 1)
    peer = Z3Peer(protocol)
    their_proof = median_us(lambda _: peer.prove(), range(3), 1)
    head(
        f"(c) Complete, unambiguous, monotone, alive, one meaning a key: {protocol.id} "
        f"({len(planted)} planted faults agreed)"
    )
    row("z3, proofs alone", proved, their_proof, ">= 20x")
    row("z3, compiling and proofs", built + proved, their_build + their_proof, ">= 20x")
    total = (read + built + proved) / 1000
    print(
        f"  whole suite: read {read / 1000:.1f} ms, compile {built / 1000:.1f} ms, "
        f"prove {proved / 1000:.1f} ms: {total:.1f} ms, {total / 100:.2f} of the aim of 100 ms"
    )


def ours_found(protocol: Protocol) -> set[tuple[str, ...]]:
    """Our faults in the peer's form."""
    found: set[tuple[str, ...]] = set()
    for fault in prove(protocol):
        table = next(t for t in protocol.tables if t.file == fault.file)
        message = fault.message
        if message.startswith("no rule covers"):
            found.add(("gap", table.id))
        elif "both cover" in message:
            found.add(("clash", table.id))
        elif "can never apply" in message:
            found.add(("dead", message.split()[2]))
        elif "two meanings" in message:
            found.add(("key", table.id))
        else:
            found.add(("order", fault.column.removeprefix("→ ")))
    return found


def faulty(protocol: Protocol) -> list[Protocol]:
    """The last table that nothing asks, spoilt in turn: a row left out, a test left open."""
    fed = {column for table in protocol.tables for column in table.inputs}
    found = [protocol]
    for table in protocol.tables:
        if table.hit_policy != "UNIQUE" or set(table.decides) & fed or len(table.rules) < 2:
            continue
        found.append(_with(protocol, replace(table, rules=table.rules[1:]), f"{table.id} gap"))
        for n, rule in enumerate(table.rules):
            at = next((i for i, test in enumerate(rule.tests) if not test.any), None)
            if at is not None:
                loose = replace(rule.tests[at], text="-", any=True)
                tests = (*rule.tests[:at], loose, *rule.tests[at + 1 :])
                rules = (*table.rules[:n], replace(rule, tests=tests), *table.rules[n + 1 :])
                found.append(_with(protocol, replace(table, rules=rules), f"{rule.id} open"))
    return found


def _with(protocol: Protocol, changed: Any, note: str) -> Protocol:
    tables = tuple(changed if t.id == changed.id else t for t in protocol.tables)
    manifest = replace(protocol.manifest, tables=tables, note=note)
    return Protocol(manifest, protocol.vocabulary)
