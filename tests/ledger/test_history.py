"""Every kind of entry reads in plain words, with what was written in them."""

from datetime import UTC, datetime

import pytest

from ledger.builders import ZONE, after, reported, us, write
from ledger.test_bodies import GOOD
from thimble.ledger.bodies import CLOSED_REASONS
from thimble.ledger.entries import Kind
from thimble.ledger.history import LABELS, fact_words, history
from thimble.ledger.store import MemoryStore

VOCABULARY = us().vocabulary


def lines(*drafts, **more):
    store = MemoryStore()
    write(store, "K7QM-2F49", (Kind.REPORTED, reported()), *drafts, at=after(1), **more)
    return history(
        store.entries("K7QM-2F49"), VOCABULARY, ZONE, actions={"hbig_first_dose": "Give HBIG"}
    )


@pytest.mark.parametrize("kind", list(Kind))
def test_each_kind_has_a_label_and_says_what_it_holds(kind):
    (line,) = lines((kind, GOOD[kind]))[1:]
    assert line.label == LABELS[kind]
    said = " ".join(line.details)
    for key in ("text", "reason", "advice", "product", "batch", "amount", "decided", "note"):
        value = GOOD[kind].get(key)
        if value and kind is not Kind.CLOSED:
            assert value in said


def test_facts_read_as_questions_with_the_words_of_their_answers():
    assert fact_words("worker_weight", 72.5, VOCABULARY).endswith("72.5 kg")
    assert fact_words("route", "human_bite", VOCABULARY).endswith("Human bite")
    assert fact_words("shoe_size", 42, VOCABULARY) == "shoe size: 42"
    assert fact_words("route", "gone", VOCABULARY).endswith("gone")


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({}, "Happened on Mon 2 Mar 2026, 02:40."),
        ({"occurred_at_precision": "hour"}, "Happened on Mon 2 Mar 2026 in the hour from 02:00."),
        ({"occurred_at_precision": "date"}, "Happened on Mon 2 Mar 2026, at a time not known."),
        (
            {"occurred_at": None, "occurred_at_precision": "unknown"},
            "When it happened is not known.",
        ),
        ({"occurred_at": "2026-03-01T23:30:00+00:00"}, "Happened on Mon 2 Mar 2026, 00:30."),
    ],
)
def test_the_time_of_the_exposure_is_told_as_exactly_as_it_is_known(changes, words):
    assert lines((Kind.REPORTED, reported(**changes)))[1].details[0] == words


def test_an_action_reads_in_the_words_of_the_protocol_where_they_are_known():
    assert lines((Kind.DOSE_GIVEN, GOOD[Kind.DOSE_GIVEN]))[1].details[0] == "Give HBIG"
    assert lines((Kind.SAMPLE_TAKEN, {"action": "baseline_hiv"}))[1].details == ("baseline hiv",)


def test_a_withdrawn_entry_stays_and_says_so():
    note = (Kind.NOTED, {"text": "wrong case"})
    gone = (Kind.CORRECTED, {"corrects": 2, "reason": "not this case", "withdrawn": True})
    found = lines(note, gone)
    assert (found[1].withdrawn, found[1].corrected_by, found[1].details) == (
        True,
        (3,),
        ("wrong case",),
    )
    assert "That entry is withdrawn: it counts no more." in found[2].details
    back = (Kind.CORRECTED, {"corrects": 3, "reason": "it was", "withdrawn": True})
    found = lines(note, gone, back)
    assert (found[1].withdrawn, found[1].corrected_by) == (False, ())


def test_a_time_other_than_that_of_writing_is_given():
    given = lines(happened_at=after(minutes=30))[0]
    assert given.happened_at == after(minutes=30)
    assert lines()[0].happened_at is None
    assert given.recorded_at == datetime(2026, 3, 2, 2, 40, tzinfo=UTC)


def test_every_reason_for_closing_has_words():
    for reason, words in CLOSED_REASONS.items():
        closed = (Kind.CLOSED, {"reason": reason, "text": ""})
        assert lines(closed)[1].details == (f"{words.capitalize()}.",)
