"""Samples that the plan still asks for although their result has come: nobody recorded the drawing."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass
from datetime import datetime

from thimble.clinical.serology import Analyte, Result, current
from thimble.ledger.plan import TO_DO, Action, Plan
from thimble.ledger.results.of_worker import WorkersResults
from thimble.ledger.results.recorded import BASELINE
from thimble.ledger.situation import Situation
from thimble.protocol.protocol import Protocol


@dataclass(frozen=True, slots=True)
class Drawn:
    """An action whose sample must have been drawn: a result of it is on record, under these numbers."""

    action: Action
    at: datetime
    specimen: str
    request: str


def drawn_by_results(situation: Situation, plan: Plan, protocol: Protocol) -> tuple[Drawn, ...]:
    """Each sample to be drawn of which the worker's results show that it was, and when.

    A result counts if its blood was taken inside the window, for the same purpose (at the exposure, or
    in follow-up), and a result of each test of that sample is of the same instant. `Protocol.named_actions`
    says by `drawn_for_…` which samples go with which test. Nothing is recorded: somebody says so.
    """
    counts = current(WorkersResults.of(situation).results)
    standing = (*counts.settled, *counts.preliminary)
    taken: dict[tuple[bool, datetime], dict[Analyte, Result]] = defaultdict(dict)
    for found in situation.results:
        if found.result in standing and (at := found.result.taken_at) is not None:
            taken[found.drawn_for == BASELINE, at][found.result.analyte] = found.result
    named = protocol.named_actions
    shown = []
    for action in plan.actions:
        tests = {test for test in Analyte if action.id in named.get(f"drawn_for_{test}", ())}
        if not tests or action.state not in TO_DO:
            continue
        at_exposure = action.id in named.get("baseline_samples", ())
        fits = [
            (at, tuple(results[test] for test in Analyte if test in tests))
            for (first, at), results in taken.items()
            if first == at_exposure and tests <= set(results) and _inside(action, at)
        ]
        for at, results in sorted(fits, key=lambda each: each[0])[:1]:
            specimen = next((r.specimen for r in results if r.specimen), "")
            request = next((r.request for r in results if r.request), "")
            shown.append(Drawn(action, at, specimen, request))
    return tuple(shown)


def _inside(action: Action, instant: datetime) -> bool:
    window = action.window
    return (window.earliest is None or window.earliest <= instant) and (
        window.latest is None or instant <= window.latest
    )
