"""Clocks on a protocol of our own, made so that one table rests on a decision of another."""

from dataclasses import replace

import pytest

from ledger.builders import NIGHT, SITE, after
from thimble.clinical.vocabulary import vocabulary
from thimble.ledger.assess import assess, situation_of
from thimble.ledger.entries import Kind
from thimble.ledger.fold import Done
from thimble.protocol.protocol import load_protocol

MANIFEST = """
id = "small"
title = "Small"
jurisdiction = "nowhere"
edition = "1"
in_force_from = 2026-01-01
note = "A protocol for tests."
[sources]
OWN = "Made for a test"
[outputs.give]
values = ["yes", "no"]
label = "Give it?"
[outputs.leaflet]
values = ["yes", "no"]
label = "Hand out the leaflet?"
[outputs.late]
values = ["yes", "no"]
label = "Is it late?"
[[tables]]
id = "give"
file = "give.csv"
hit_policy = "UNIQUE"
question = "Give it?"
decides = ["give"]
clock_stops_with = "dose"
[[tables]]
id = "leaflet"
file = "leaflet.csv"
hit_policy = "UNIQUE"
question = "Hand out the leaflet?"
decides = ["leaflet"]
[[tables]]
id = "late"
file = "late.csv"
hit_policy = "UNIQUE"
question = "Is it late?"
decides = ["late"]
[[tables]]
id = "todo"
file = "todo.csv"
hit_policy = "COLLECT"
role = "actions"
key = "action"
question = "What is done?"
"""
GIVE = """rule,hours_since_exposure,→ give,source,standing,note
G-1,<= 10 h,yes,OWN: 1,read,-
G-2,> 10 h,no,OWN: 1,read,-
"""
LEAFLET = """rule,give,→ leaflet,source,standing,note
L-1,yes,yes,OWN: 1,read,-
L-2,no,no,OWN: 1,read,-
"""
LATE = """rule,hours_since_exposure,→ late,source,standing,note
T-1,<= 10 h,no,OWN: 1,read,-
T-2,> 10 h,yes,OWN: 1,read,-
"""
TODO = """\
rule,give,→ action,→ what,→ kind,→ for,→ counted_from,→ earliest,→ target,→ latest,source,standing,note
D-1,yes,dose,Give it,dose,worker,exposure,PT0H,-,PT10H,OWN: 1,read,-
"""
CASES = """[[case]]
name = "early"
source = "own"
facts = { hours_since_exposure = 1 }
expect = { give = "yes" }
"""


@pytest.fixture
def small(tmp_path):
    files = {
        "protocol.toml": MANIFEST,
        "give.csv": GIVE,
        "leaflet.csv": LEAFLET,
        "late.csv": LATE,
        "todo.csv": TODO,
        "cases.toml": CASES,
    }
    for name, text in files.items():
        (tmp_path / name).write_text(text, encoding="utf-8")
    return load_protocol(tmp_path, vocabulary())


def values(small, now, **more):
    situation = replace(situation_of({}, occurred_at=NIGHT, now=NIGHT), **more)
    found = assess(situation, small, now, SITE)
    return {name: finding.value for name, finding in found.findings.items()}


def test_a_table_that_rests_on_a_decision_follows_its_clock_and_others_run_on(small):
    assert values(small, after(20)) == {"give": "no", "leaflet": "no", "late": "yes"}
    given = {"dose": Done(2, after(10), Kind.DOSE_GIVEN)}
    assert values(small, after(20), done=given) == {"give": "yes", "leaflet": "yes", "late": "yes"}
    late = {"dose": Done(2, after(10, 1), Kind.DOSE_GIVEN)}
    assert values(small, after(20), done=late) == {"give": "no", "leaflet": "no", "late": "yes"}


def test_an_hour_that_holds_a_limit_leaves_open_what_the_limit_parts(small):
    """Known to the hour from 02:00: at 12:30 it was between 9.5 and 10.5 hours ago."""
    rough = {"occurred_at_precision": "hour"}
    at = NIGHT.replace(hour=12, minute=30)
    assert values(small, at, **rough) == {"give": None, "leaflet": None, "late": None}
    assert set(values(small, NIGHT.replace(hour=12, minute=0), **rough).values()) == {"yes", "no"}
