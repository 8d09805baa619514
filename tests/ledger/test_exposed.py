"""Who is exposed: every shipped sentence said of a patient, and no person taken for the other."""

from __future__ import annotations

import csv
import re
import tomllib
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

import thimble
from ledger.builders import NIGHT, SITE, reported, us, write
from thimble.clinical.library import protocol as shipped_protocol
from thimble.ledger.assess import assess
from thimble.ledger.entries import Kind
from thimble.ledger.exposed import left_out, of_a_patient, phrases, protocol_for, told
from thimble.ledger.fold import fold
from thimble.ledger.linking import WORKER_CASE
from thimble.ledger.plan import Plan
from thimble.ledger.situation import Situation
from thimble.ledger.store import MemoryStore

ROOT = Path(thimble.__file__).parent
# Of people of the house before an exposure, and of nobody's case.
NOT_OF_A_CASE = ("fitness", "immunity", "screening", "clearance", "offers", "exposed_patient")
CITED = ("source", "sources")
LATER = NIGHT + timedelta(hours=1)


def texts(found: object) -> Iterator[str]:
    if isinstance(found, str):
        yield found
    elif isinstance(found, dict):
        for key, one in found.items():
            if key not in CITED:
                yield from texts(one)
    elif isinstance(found, list):
        for one in found:
            yield from texts(one)


def sentences() -> Iterator[str]:
    """What the tables and vocabularies of a case say; what they cite is not said."""
    for file in sorted((ROOT / "protocols").rglob("*.csv")):
        if not file.parent.name.startswith(NOT_OF_A_CASE):
            with file.open(encoding="utf-8", newline="") as rows:
                for row in csv.DictReader(rows):
                    yield from (text for column, text in row.items() if column != "source")
    vocabularies = [
        *(ROOT / "clinical").glob("*.toml"),
        *(ROOT / "clinical/serology").glob("*.toml"),
    ]
    for file in [*sorted((ROOT / "protocols").rglob("*.toml")), *sorted(vocabularies)]:
        if not file.parent.name.startswith(NOT_OF_A_CASE) and file.name != "cases.toml":
            yield from texts(tomllib.loads(file.read_text(encoding="utf-8")))


SENTENCES = sorted({text for text in sentences() if " " in text})
OF_BOTH = re.compile(
    "After it had injured the worker, did the instrument, or the worker's blood, touch|"
    "the patient was exposed to the worker's blood|the injured worker"
)


def test_the_shipped_protocols_speak_of_workers_so_that_this_file_tests_something():
    assert sum("worker" in sentence for sentence in SENTENCES) > 80
    assert sum("source patient" in sentence for sentence in SENTENCES) > 15


def test_no_shipped_sentence_calls_the_patient_a_worker():
    """Left are the injured worker, named as that, and the question about both people."""
    left = [s for s in map(of_a_patient, SENTENCES) if re.search("(?i)worker", OF_BOTH.sub("", s))]
    assert left == []


def test_no_shipped_sentence_calls_the_source_a_patient():
    """A "patient" that was in a sentence already was the source, except in these."""
    of_nobody = re.compile(
        r"patients\b|between patient and staff|patient leaflet|touch the patient's tissue|"
        r"If so, the patient was exposed|where the patient lacks|when the patient lacks"
    )
    left = []
    for sentence in SENTENCES:
        if re.search(r"(?i)\bpatient\b", of_nobody.sub("", sentence)):
            said = of_nobody.sub("", of_a_patient(sentence))
            before, after = (
                len(re.findall(r"(?i)\bworker\b", of_nobody.sub("", sentence))),
                len(re.findall(r"(?i)\bpatient\b", said)),
            )
            # Every "patient" that is left was a worker.
            if after > before:
                left.append(sentence)
    assert left == []


def test_a_sentence_that_is_said_twice_is_the_same():
    """Else the patient of the first time would be taken for the source the second time."""
    for sentence in SENTENCES:
        assert of_a_patient(of_a_patient(sentence)) == of_a_patient(sentence)


@given(st.lists(st.sampled_from(sorted({*phrases(), *phrases().values(), "the", "of", "."}))))
def test_any_phrases_beside_each_other_are_said_twice_as_once(words: list[str]):
    once = of_a_patient(" ".join(words))
    assert of_a_patient(once) == once


@pytest.mark.parametrize(
    ("written", "said"),
    [
        ("What is the worker's own HIV status?", "What is the patient's own HIV status?"),
        ("The worker’s sheet", "The patient’s sheet"),
        ("Worker", "Patient"),
        (
            "Ask the source patient for consent; someone other than the exposed worker asks",
            "Ask the source (the injured worker) for consent; someone other than the exposed patient asks",
        ),
        ("Get the source patient's answer", "Get the source's (the injured worker's) answer"),
        (
            "The patient's blood, not the worker's own after the injury.",
            "The source's blood, not the patient's own after the injury.",
        ),
        ("from age 10; every worker is older.", "from age 10; a patient may be younger."),
        ("worker_hiv and co-workers", "worker_hiv and co-workers"),
    ],
)  # fmt: skip
def test_grammar_holds(written: str, said: str):
    assert of_a_patient(written) == said


def case(*, of_patient: bool, **facts: str) -> tuple[Situation, Plan]:
    store = MemoryStore()
    given = {"route": "percutaneous", "fluid": "blood", "device": "blade", **facts}
    write(store, "B2", (Kind.REPORTED, reported(given)), at=NIGHT)
    if of_patient:
        write(store, "B2", (Kind.LINKED, {"case": "K7QM-2F49", "is": WORKER_CASE}), at=NIGHT)
    situation = fold(store.entries("B2"), LATER, us().vocabulary)
    return situation, assess(situation, us(), LATER, SITE)


def test_the_plan_of_a_patient_speaks_of_the_patient_and_leaves_out_what_is_for_staff():
    _, worker = case(of_patient=False, source_hiv="positive")
    _, patient = case(of_patient=True, source_hiv="positive")
    out = left_out("us")
    assert {a.id for a in worker.actions} - {a.id for a in patient.actions} == out["actions"]
    mine = [a.what for a in patient.actions] + [c.text for c in patient.cautions]
    assert not [text for text in mine if "worker" in text.replace("injured worker", "")]
    assert "Draw the patient's anti-HCV" in " ".join(mine)
    assert "ordinary duties" in " ".join(c.text for c in worker.cautions)
    assert "ordinary duties" not in " ".join(c.text for c in patient.cautions)


def test_decisions_windows_rules_and_citations_are_those_of_a_worker():
    """Words follow the person, rules do not: which of them fit a patient, who treats them decides."""
    _, worker = case(of_patient=False, source_hiv="positive", worker_hiv="negative")
    _, patient = case(of_patient=True, source_hiv="positive", worker_hiv="negative")
    assert patient.protocol_digest == worker.protocol_digest
    assert {k: f.value for k, f in patient.findings.items()} == {
        k: f.value for k, f in worker.findings.items()
    }
    windows = {a.id: a.window for a in worker.actions}
    for action in patient.actions:
        assert action.window == windows[action.id]
    cited = {r.rule: r.source for a in worker.actions for r in a.because}
    assert all(cited[r.rule] == r.source for a in patient.actions for r in a.because)
    assert [q.fact for q in patient.questions] == [q.fact for q in worker.questions]


@pytest.mark.parametrize("name", ["us", "uk"])
def test_what_is_left_out_is_in_the_protocol(name: str):
    """An id that was renamed would bring an action for staff back into a patient's case."""
    tables = shipped_protocol(name).tables
    actions = {rule.outputs.get("action") for table in tables for rule in table.rules}
    rules = {r.id for t in tables if t.role == "cautions" for r in t.rules}
    assert left_out(name)["actions"] <= actions
    assert left_out(name)["cautions"] <= rules
    assert left_out(name)["actions"]
    assert left_out(name)["cautions"]


def test_facts_and_their_ids_stay():
    situation, _ = case(of_patient=True)
    said = protocol_for(us(), situation)
    assert list(said.vocabulary) == list(us().vocabulary)
    for id_, fact in said.vocabulary.items():
        assert (fact.id, fact.values, fact.about) == (
            id_, us().vocabulary[id_].values, us().vocabulary[id_].about,
        )  # fmt: skip
    assert said.vocabulary["worker_hiv"].question == "What is the patient's own HIV status?"
    assert protocol_for(us(), case(of_patient=False)[0]) is us()


@dataclass(frozen=True)
class Sheet:
    title: str
    reason: str
    whom: str
    parts: tuple[Any, ...]


def test_ids_and_what_was_typed_stay_as_they_are():
    situation, _ = case(of_patient=True)
    sheet = Sheet(
        "The worker", "The worker's sister called", "worker", ({"worker": "the worker"}, 3)
    )
    assert told(sheet, situation) == Sheet(
        "The patient", "The worker's sister called", "worker", ({"worker": "the patient"}, 3)
    )
    assert told(sheet, case(of_patient=False)[0]) is sheet
