"""A result of the worker that is not negative is something to act on, in the plan's one order."""

from __future__ import annotations

from datetime import datetime

import pytest

from demo.staging import stage
from ledger.builders import NIGHT, after
from thimble import actions
from thimble.clinical import library
from thimble.clinical.serology import Analyte, Result, Status, Word
from thimble.ledger.assess import assess
from thimble.ledger.fold import fold
from thimble.ledger.found import FOUND
from thimble.ledger.plan import Action, State
from thimble.ledger.resulting import course_around
from thimble.ledger.store import MemoryStore

US = library.protocol("us")
SITE = stage().site
WHO = {"by": "u-1", "role": "occupational_nurse"}
FOUR_WEEKS = after(28 * 24)


@pytest.fixture
def store() -> MemoryStore:
    return MemoryStore()


@pytest.fixture
def case(store: MemoryStore) -> str:
    return actions.report(
        store, facts={"route": "percutaneous", "fluid": "blood", "source_hcv_rna": "positive"},
        occurred_at=NIGHT, occurred_at_precision="minute", vocabulary=US.vocabulary, now=after(1),
    ).case  # fmt: skip


def came(
    store: MemoryStore, case: str, analyte: Analyte, word: Word, at: datetime = FOUR_WEEKS,
    drawn_for: str = "follow_up",
) -> None:  # fmt: skip
    result = Result(
        analyte=analyte, of="worker", status=Status.FINAL, taken_at=at, reported_at=at, word=word,
        specimen=f"W-{at:%j%H}",
    )  # fmt: skip
    actions.record_results(
        store, case, [result], drawn_for=drawn_for, protocol=US, site=SITE, now=at, **WHO
    )


def found(store: MemoryStore, case: str, now: datetime) -> list[Action]:
    plan = assess(fold(store.entries(case), now, US.vocabulary), US, now, SITE)
    return [action for action in plan.actions if action.id.startswith(FOUND)]


def test_an_early_hepatitis_c_is_told_and_referred_at_once(store: MemoryStore, case: str) -> None:
    """USC20: RNA at three to six weeks; a positive one is referred and treated early."""
    came(store, case, Analyte.HCV_RNA, Word.POSITIVE)
    (action,) = found(store, case, FOUR_WEEKS)
    assert action.state is State.OPEN
    assert "hepatitis C" in action.what
    assert "Refer" in action.what
    assert action.window.target == FOUR_WEEKS
    assert action.because
    # Nothing of it stands on the worker's sheet: it is told in person.
    assert action.whom == "department"


def test_it_stands_until_acted_on_and_a_later_result_opens_it_again(
    store: MemoryStore, case: str
) -> None:
    came(store, case, Analyte.HCV_RNA, Word.POSITIVE)
    (action,) = found(store, case, after(40 * 24))
    actions.counsel(store, case, action.id, text="told", now=after(28 * 24 + 2), **WHO)
    assert [a.state for a in found(store, case, after(40 * 24))] == [State.DONE]
    came(store, case, Analyte.HCV_RNA, Word.POSITIVE, after(35 * 24))
    assert [a.state for a in found(store, case, after(40 * 24))] == [State.OPEN]


@pytest.mark.parametrize("word", [Word.POSITIVE, Word.INDETERMINATE])
@pytest.mark.parametrize("analyte", [Analyte.HIV_AG_AB, Analyte.HBSAG, Analyte.HCV_RNA])
@pytest.mark.parametrize("drawn_for", ["baseline", "follow_up"])
def test_whatever_is_not_negative_asks_for_something(
    store: MemoryStore, case: str, analyte: Analyte, word: Word, drawn_for: str
) -> None:
    came(store, case, analyte, word, drawn_for=drawn_for)
    assert len(found(store, case, FOUR_WEEKS)) == 1


@pytest.mark.parametrize(
    ("analyte", "word"),
    [
        (Analyte.HIV_AG_AB, Word.NEGATIVE),
        (Analyte.HCV_RNA, Word.NEGATIVE),
        (Analyte.ANTI_HBS, Word.POSITIVE),
    ],
)
def test_a_negative_result_and_protection_ask_for_nothing(
    store: MemoryStore, case: str, analyte: Analyte, word: Word
) -> None:
    came(store, case, analyte, word)
    assert found(store, case, FOUR_WEEKS) == []


def test_a_vaccine_dose_that_was_withdrawn_explains_no_antigen(
    store: MemoryStore, case: str
) -> None:
    """HBsAg can be found for some weeks after a dose: not after one that was never given."""
    given = after(27 * 24)
    actions.give_dose(
        store, case, action="hbv_vaccine_dose", product="Invented vaccine", now=given, **WHO
    )
    entry = store.entries(case)[-1]

    def course() -> tuple[datetime, ...] | None:
        situation = fold(store.entries(case), FOUR_WEEKS, US.vocabulary)
        plan = assess(situation, US, FOUR_WEEKS, SITE)
        return course_around(situation, plan.actions, US, SITE.zone).vaccine_doses

    assert course() == (given,)
    actions.correct(
        store, case, entry.position, withdrawn=True, reason="another worker",
        vocabulary=US.vocabulary, now=FOUR_WEEKS, **WHO,
    )  # fmt: skip
    assert course() is None


def test_what_was_acted_on_keeps_its_words_when_the_laboratory_takes_the_result_back(
    store: MemoryStore, case: str
) -> None:
    came(store, case, Analyte.HCV_RNA, Word.POSITIVE)
    (act,) = found(store, case, FOUR_WEEKS)
    actions.counsel(store, case, act.id, text="told", now=after(28 * 24 + 1), **WHO)
    came_back = Result(
        analyte=Analyte.HCV_RNA, of="worker", status=Status.RETRACTED, taken_at=FOUR_WEEKS,
        reported_at=after(28 * 24 + 2), specimen=f"W-{FOUR_WEEKS:%j%H}",
    )  # fmt: skip
    actions.record_results(
        store, case, [came_back], drawn_for="follow_up", protocol=US, site=SITE,
        now=after(28 * 24 + 2), **WHO,
    )  # fmt: skip

    (left,) = found(store, case, after(40 * 24))
    assert (left.what, left.state) == ("Act on the hepatitis C result of the worker", State.DONE)
