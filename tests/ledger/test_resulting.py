"""Results are kept as they came, and what the laboratory takes back is known no more."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ledger.builders import NIGHT, us
from thimble.clinical.serology.analytes import Analyte
from thimble.clinical.serology.results import COMPARATORS, Quantity, Result, Status, Word
from thimble.ledger.bodies import faults_of
from thimble.ledger.entries import Draft, Kind
from thimble.ledger.fold import fold
from thimble.ledger.results.recorded import BASELINE, body_of, results_in
from thimble.ledger.store import MemoryStore

VOCABULARY = us().vocabulary
REPORTED = {
    "facts": {"route": "percutaneous"}, "occurred_at": NIGHT.isoformat(),
    "occurred_at_precision": "minute", "place": "", "task": "", "account": "",
    "contact_left": False, "reported_by": "clinician",
}  # fmt: skip

quantities = st.builds(
    Quantity,
    st.floats(0, 1e9, allow_nan=False),
    st.sampled_from(["m[IU]/mL", "", "{copies}/mL"]),
    st.sampled_from(COMPARATORS),
)
results = st.builds(
    Result,
    analyte=st.sampled_from(Analyte),
    of=st.sampled_from(["worker", "source"]),
    status=st.sampled_from(Status),
    taken_at=st.none() | st.just(NIGHT),
    reported_at=st.just(NIGHT + timedelta(hours=9)),
    word=st.sampled_from(Word),
    quantity=st.none() | quantities,
    as_sent=st.sampled_from(["", "NON REACTIVE"]),
    request=st.sampled_from(["", "R-1"]),
    specimen=st.sampled_from(["", "S-1"]),
)


@given(results)
def test_a_result_comes_back_from_its_entry_as_it_was(result: Result):
    body = body_of([result], {})

    assert faults_of(Kind.RESULT_RECEIVED, body, VOCABULARY) == []
    (found,) = results_in(body, 3)
    assert found.result == result
    assert found.entry == 3
    assert found.drawn_for == ("follow_up" if result.of == "worker" else "")


def one(status: Status = Status.FINAL, word: Word | None = Word.NEGATIVE) -> Result:
    return Result(Analyte.HIV_AG_AB, "source", status, NIGHT, NIGHT + timedelta(hours=9), word=word)


def test_results_of_two_people_are_not_one_entry():
    other = Result(Analyte.HBSAG, "worker", Status.FINAL, NIGHT, NIGHT, word=Word.NEGATIVE)
    with pytest.raises(ValueError, match="one sample"):
        body_of([one(), other], {})
    with pytest.raises(ValueError, match="at least one"):
        body_of([], {})


@pytest.mark.parametrize("key", ["of", "reported_at", "taken_at"])
def test_results_without_whose_and_when_are_refused(key: str):
    body = body_of([one()], {})
    del body[key]

    assert f"{key} belongs to results" in faults_of(Kind.RESULT_RECEIVED, body)[0]


def test_a_result_of_the_worker_says_what_it_was_drawn_for():
    worker = Result(Analyte.HBSAG, "worker", Status.FINAL, NIGHT, NIGHT, word=Word.NEGATIVE)
    body = body_of([worker], {}, drawn_for=BASELINE)
    assert results_in(body, 1)[0].drawn_for == "baseline"
    del body["drawn_for"]

    assert "drawn_for belongs" in faults_of(Kind.RESULT_RECEIVED, body)[0]


def test_a_result_that_says_nothing_is_none_unless_it_takes_back():
    body = body_of([one(Status.RETRACTED, None)], {})
    assert faults_of(Kind.RESULT_RECEIVED, body) == []
    body["results"][0]["status"] = "final"

    assert "has a word or a number" in faults_of(Kind.RESULT_RECEIVED, body)[0]


def known(*drafts: tuple[Kind, dict[str, object]]) -> object:
    store = MemoryStore()
    for at, (kind, body) in enumerate(((Kind.REPORTED, REPORTED), *drafts)):
        store.append(
            "K7QM-2F49", [Draft(kind, NIGHT, body)], expected_position=at, now=NIGHT, by="u",
            role="nurse",
        )  # fmt: skip
    return fold(store.entries("K7QM-2F49"), datetime.now(UTC), VOCABULARY)


def test_what_the_laboratory_takes_back_is_known_no_more():
    said = body_of([one()], {"source_hiv": "negative"})
    back = body_of([one(Status.RETRACTED, None)], {"source_hiv": None})

    assert known((Kind.RESULT_RECEIVED, said)).facts["source_hiv"].value == "negative"  # type: ignore[attr-defined]
    after = known((Kind.RESULT_RECEIVED, said), (Kind.RESULT_RECEIVED, back))
    assert "source_hiv" not in after.facts  # type: ignore[attr-defined]
    assert len(after.results) == 2  # type: ignore[attr-defined]


def test_what_others_said_is_not_the_laboratorys_to_take_away():
    chart = {"facts": {"source_hiv": "positive"}, "said_by": "record"}
    back = body_of([one(Status.RETRACTED, None)], {"source_hiv": None})
    after = known((Kind.FACT_LEARNED, chart), (Kind.RESULT_RECEIVED, back))

    assert after.facts["source_hiv"].value == "positive"  # type: ignore[attr-defined]
