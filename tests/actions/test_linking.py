"""The patient's own protection: two cases that name each other, and identities that change places."""

from __future__ import annotations

from datetime import date, timedelta

import pytest

from ledger.builders import NIGHT, us
from thimble import actions
from thimble.actions import MemoryIdentityStore, Refused, SourceIdentity, WorkerIdentity
from thimble.actions.linking import TOUCHED, open_patient_case
from thimble.ledger.entries import Kind
from thimble.ledger.fold import fold
from thimble.ledger.linking import PATIENT_CASE, WORKER_CASE, is_patient_case, linked
from thimble.ledger.situation import Situation
from thimble.ledger.store import MemoryStore, Overtaken
from thimble.web.safety.overview import Period, exposures

BY = {"by": "u-7", "role": "emergency_clinician"}
V = us().vocabulary
LATER = NIGHT + timedelta(hours=1)
OWN = {"worker_hiv": "positive", "worker_pregnancy": "pregnant", "source_hiv": "positive"}


class Two:
    """A worker's case and whatever is opened beside it."""

    def __init__(self, **facts: str) -> None:
        self.store, self.identities = MemoryStore(), MemoryIdentityStore()
        self.case = actions.report(
            self.store, occurred_at=NIGHT, occurred_at_precision="minute", vocabulary=V, now=NIGHT,
            facts={"route": "percutaneous", "fluid": "bloody_fluid", "device": "blade", **facts},
            identities=self.identities, account="Mr Nonesuch moved",
            worker=WorkerIdentity("Zoë Sampleworth", "Q1", "555", date(1990, 2, 3), "z@home.example"),
            source=SourceIdentity("A. Nonesuch", "H-1", date(1950, 1, 2), "Ward 2"),
        ).case  # fmt: skip

    def open(self, **more: int) -> str:
        return open_patient_case(
            self.store, self.case, identities=self.identities, vocabulary=V, now=LATER, **BY, **more
        )

    def situation(self, case: str) -> Situation:
        return fold(self.store.entries(case), LATER, V)


@pytest.mark.parametrize("said", ["yes", "unknown"])
def test_a_patient_who_was_touched_or_may_have_been_gets_a_case_and_each_names_the_other(said: str):
    """An unknown is never a no."""
    two = Two(**{TOUCHED: said})
    opened = two.open()

    assert linked(two.situation(two.case), PATIENT_CASE) == (opened,)
    assert linked(two.situation(opened), WORKER_CASE) == (two.case,)
    assert is_patient_case(two.situation(opened))
    assert not is_patient_case(two.situation(two.case))


def test_the_event_is_carried_over_and_nothing_of_anybodys_health():
    two = Two(**OWN, **{TOUCHED: "yes"})
    opened = two.situation(two.open())

    assert {id_: known.value for id_, known in opened.facts.items()} == {
        "route": "percutaneous", "device": "blade", "fluid": "blood",
    }  # fmt: skip
    assert opened.occurred_at == NIGHT
    body = two.store.entries(opened.case)[0].body
    assert (body["account"], body["task"], body["place"]) == ("", "", "")


def test_identities_change_places_and_the_worker_is_named_by_the_least():
    two = Two(**{TOUCHED: "yes"})
    opened = two.open()
    patient, source = two.identities.worker(opened), two.identities.source(opened)

    assert patient == WorkerIdentity(
        "A. Nonesuch", date_of_birth=date(1950, 1, 2), department="Ward 2"
    )
    assert source == SourceIdentity("Zoë Sampleworth", date_of_birth=date(1990, 2, 3))
    assert two.identities.worker(two.case) == WorkerIdentity(
        "Zoë Sampleworth", "Q1", "555", date(1990, 2, 3), "z@home.example"
    )


def test_no_entry_of_either_case_names_anybody():
    two = Two(**{TOUCHED: "yes"})
    opened = two.open()
    said = str([e.body for case in (opened,) for e in two.store.entries(case)])
    for name in ("Nonesuch", "Sampleworth", "H-1", "Q1"):
        assert name not in said


@pytest.mark.parametrize("facts", [{}, {TOUCHED: "no"}])
def test_without_the_answer_that_the_patient_was_touched_none_is_opened(facts: dict[str, str]):
    two = Two(**facts)
    with pytest.raises(Refused, match="answer first"):
        two.open()
    assert len(two.store.entries(two.case)) == 1


def test_a_second_one_is_refused_with_the_reference_of_the_first():
    two = Two(**{TOUCHED: "yes"})
    opened = two.open()
    with pytest.raises(Refused, match=opened):
        two.open()


def test_a_patients_case_opens_no_other():
    two = Two(**{TOUCHED: "yes"})
    opened = two.open()
    actions.learn_facts(
        two.store, opened, {TOUCHED: "yes"}, said_by="clinician", vocabulary=V, now=LATER, **BY
    )
    with pytest.raises(Refused, match="a patient's already"):
        open_patient_case(
            two.store, opened, identities=two.identities, vocabulary=V, now=LATER, **BY
        )


def test_whoever_comes_late_opens_nothing():
    two = Two(**{TOUCHED: "yes"})
    actions.note(two.store, two.case, "seen", now=LATER, **BY)
    with pytest.raises(Overtaken):
        two.open(expected_position=1)
    assert [e.kind for e in two.store.entries(two.case)] == [Kind.REPORTED, Kind.NOTED]


def test_the_patients_case_is_no_exposure_of_staff():
    two = Two(**{TOUCHED: "yes"})
    opened = two.open()
    entries = [*two.store.entries(two.case), *two.store.entries(opened)]
    period = Period(NIGHT - timedelta(days=1), NIGHT + timedelta(days=1), "")  # type: ignore[call-arg]

    assert len(exposures(entries, period, V, NIGHT.tzinfo)) == 1  # type: ignore[arg-type]
    assert len(exposures(two.store.entries(two.case), period, V, NIGHT.tzinfo)) == 1  # type: ignore[arg-type]
