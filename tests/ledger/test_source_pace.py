"""How long a step with the source took, beside its target: the boundary, the order, what is not known."""

from __future__ import annotations

from datetime import timedelta

import pytest

from thimble.clinical.source_rules import SourceRules
from thimble.ledger.assess import assess
from thimble.ledger.entries import Kind
from thimble.ledger.fold import fold
from thimble.ledger.next_thing import source_words
from thimble.ledger.source.pace import paces
from thimble.ledger.store import MemoryStore

from .builders import ZONE, after, learned, reported, us, write
from .test_chasing import SIGNIFICANT, site

NEGATIVE = {"source_hiv": "negative", "source_hbsag": "negative", "source_hcv_rna": "negative"}


def of(*drafts, minutes):
    """Reported at minute 5; each draft at its minute; read at `minutes`."""
    store = MemoryStore()
    write(store, "C", (Kind.REPORTED, reported(SIGNIFICANT)), at=after(minutes=5))
    for at, draft in drafts:
        write(store, "C", draft, at=after(minutes=at))
    now = after(minutes=minutes)
    return fold(store.entries("C"), now, us().vocabulary), now


def found(*drafts, minutes):
    situation, now = of(*drafts, minutes=minutes)
    return paces(situation, None, SourceRules("us"), ZONE, now)


@pytest.mark.parametrize(("at", "over"), [(64, False), (65, False), (66, True)])
def test_asking_may_take_an_hour_from_the_report_and_the_hour_itself_is_kept(at, over):
    """turnaround.csv, TURN-01: PT1H; reported at minute 5."""
    first = found((at, (Kind.SOURCE_ASKED, {})), minutes=200)[0]

    assert (first.since, first.until, first.allowed.words) == ("report", "asked", "1 hour")
    assert first.span == timedelta(minutes=at - 5)
    assert first.over is over


def test_each_result_runs_beside_the_target_of_its_own_infection():
    """TURN-04 to TURN-06: 2, 24 and 72 hours from the blood."""
    drafts = ((10, (Kind.SOURCE_SAMPLED, {})), (130, learned("laboratory", source_hiv="negative")))
    hiv, hbv, hcv = found(*drafts, minutes=10 + 25 * 60)[1:]

    assert (hiv.until, hiv.ended, hiv.over) == ("hiv", after(minutes=130), False)
    assert (hbv.until, hbv.ended, hbv.over) == ("hbv", None, True)
    assert (hcv.until, hcv.ended, hcv.over) == ("hcv", None, False)
    assert [p.allowed.words for p in (hiv, hbv, hcv)] == ["2 hours", "24 hours", "72 hours"]


def test_nothing_runs_once_every_result_is_in():
    drafts = ((10, (Kind.SOURCE_SAMPLED, {})), (60, learned("laboratory", **NEGATIVE)))

    assert all(pace.ended is not None for pace in found(*drafts, minutes=600))


def test_a_result_from_the_chart_is_no_answer_of_the_laboratory():
    drafts = ((10, learned("clinician", source_hiv="negative")), (20, (Kind.SOURCE_SAMPLED, {})))

    assert [pace.until for pace in found(*drafts, minutes=30)] == ["sampled", "hbv", "hcv"]


def test_what_a_clinician_tells_after_the_sample_is_no_answer_of_the_laboratory_either():
    drafts = ((20, (Kind.SOURCE_SAMPLED, {})), (30, learned("clinician", source_hiv="negative")))

    assert [pace.until for pace in found(*drafts, minutes=40)] == ["sampled", "hbv", "hcv"]


def test_what_was_done_before_anybody_reported_took_no_time_from_the_report():
    store = MemoryStore()
    write(store, "C", (Kind.REPORTED, reported(SIGNIFICANT)), at=after(minutes=60))
    write(store, "C", (Kind.SOURCE_ASKED, {}), at=after(minutes=70), happened_at=after(minutes=20))
    situation = fold(store.entries("C"), after(minutes=90), us().vocabulary)
    first = paces(situation, None, SourceRules("us"), ZONE, after(minutes=90))[0]

    assert first.span == -timedelta(minutes=40)
    assert not first.over


@pytest.mark.parametrize(
    ("minutes", "words"),
    [
        (70, "source asked, no answer yet, 1 h"),
        (71, "source asked, no answer yet, 1 h 1 min; target 1 h passed"),
    ],
)
def test_the_worklist_names_the_target_once_it_has_passed(minutes, words):
    situation, now = of((10, (Kind.SOURCE_ASKED, {})), minutes=minutes)

    assert source_words(situation, assess(situation, us(), now, site("us")), now) == words
