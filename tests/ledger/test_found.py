"""A result of the worker that is not negative is something to act on, in the plan's one order."""

from __future__ import annotations

from datetime import datetime

import pytest

from demo.staging import stage
from ledger.builders import NIGHT, after
from thimble import actions
from thimble.clinical import library
from thimble.clinical.serology import Against, Analyte, Quantity, Result, Status, Word
from thimble.ledger.assess import assess
from thimble.ledger.fold import fold
from thimble.ledger.plan import Action, State
from thimble.ledger.results.clearance import why_not_clear
from thimble.ledger.results.found import FOUND
from thimble.ledger.results.recorded import course_around, results_in, said_of
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


# -- ALT ------------------------------------------------------------------------------------------------


def alt_came(
    store: MemoryStore, case: str, against: Against | None, *, drawn_for: str = "follow_up",
    at: datetime = FOUR_WEEKS,
) -> None:  # fmt: skip
    result = Result(
        analyte=Analyte.ALT, of="worker", status=Status.FINAL, taken_at=at, reported_at=at,
        quantity=Quantity(184, "U/L"), specimen=f"W-{at:%j%H}", against_range=against,
    )  # fmt: skip
    actions.record_results(
        store, case, [result], drawn_for=drawn_for, protocol=US, site=SITE, now=at, **WHO
    )


def suspected(store: MemoryStore, case: str, answer: str) -> None:
    actions.learn_facts(
        store, case, {"worker_hepatitis_suspected": answer}, said_by="clinician",
        vocabulary=US.vocabulary, now=FOUR_WEEKS, **WHO,
    )  # fmt: skip


def test_a_raised_alt_in_follow_up_asks_for_rna_until_a_clinician_says_what_it_is(
    store: MemoryStore, case: str
) -> None:
    """USC20 as remembered: an unexplained rise of ALT at any time, HCV RNA at once."""
    alt_came(store, case, Against.ABOVE)
    (action,) = found(store, case, FOUR_WEEKS)
    assert "ALT above the laboratory's own range" in action.what
    assert "Answer whether hepatitis is suspected" in action.what

    suspected(store, case, "yes")
    (action,) = found(store, case, FOUR_WEEKS)
    assert "HCV RNA and ALT at once, HBsAg and IgM anti-HBc" in action.what

    suspected(store, case, "no")
    assert found(store, case, FOUR_WEEKS) == []


@pytest.mark.parametrize(
    ("against", "words"),
    [
        (Against.ABOVE, "Look for the cause; with medicines against HIV repeat the ALT"),
        (None, "Compare it with the laboratory's reference range"),
    ],
)
def test_at_the_exposure_a_raised_alt_is_looked_into_and_one_without_a_range_is_compared(
    store: MemoryStore, case: str, against: Against | None, words: str
) -> None:
    alt_came(store, case, against, drawn_for="baseline", at=after(2))

    (action,) = found(store, case, after(3))

    assert words in action.what


@pytest.mark.parametrize("drawn_for", ["baseline", "follow_up"])
def test_an_alt_that_is_not_raised_asks_for_nothing_and_ends_nothing(
    store: MemoryStore, case: str, drawn_for: str
) -> None:
    def plan() -> list[tuple[str, State]]:
        made = assess(fold(store.entries(case), FOUR_WEEKS, US.vocabulary), US, FOUR_WEEKS, SITE)
        return [(action.id, action.state) for action in made.actions]

    before = plan()
    alt_came(store, case, Against.NOT_ABOVE, drawn_for=drawn_for)

    assert plan() == before


def test_a_raised_alt_lets_nobody_say_all_clear(store: MemoryStore, case: str) -> None:
    def why() -> str:
        situation = fold(store.entries(case), FOUR_WEEKS, US.vocabulary)
        made = assess(situation, US, FOUR_WEEKS, SITE)
        course = course_around(situation, made.actions, US, SITE.zone)
        return why_not_clear(made, situation, course, FOUR_WEEKS)

    alt_came(store, case, Against.ABOVE)
    assert why() == "A reading is not final. ALT: ALT above the laboratory's own range."
    suspected(store, case, "no")
    assert why() == ""


def test_what_the_laboratory_says_of_its_range_survives_the_ledger(
    store: MemoryStore, case: str
) -> None:
    alt_came(store, case, Against.ABOVE)
    body = store.entries(case)[-1].body

    assert body["results"][0]["against_range"] == "above"
    (kept,) = results_in(body, 1)
    assert kept.result.against_range is Against.ABOVE
    assert said_of(kept.result) == "184 U/L, above the laboratory's range"
