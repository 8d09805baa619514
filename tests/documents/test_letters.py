"""Letters: what each says, and what none of them ever tells."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, datetime, time, timedelta

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from documents.closed import END, NEGATIVE_AT_END, SOURCE_FACTS, Case, one
from documents.examples import FACTS, NOW, OCCURRED, ZONE, plan, protocol, site, situation, words_in
from thimble.clinical.neutral import telling_words
from thimble.clinical.serology import Analyte, Course, Status, Word
from thimble.clinical.serology.tables import tables
from thimble.clinical.visits.instants import DayWindow, PartOfDay
from thimble.clinical.vocabulary import vocabulary
from thimble.documents.frame import CAUTION
from thimble.documents.letters.letter import Letter, address, person
from thimble.documents.letters.results_explained import (
    TOLD_IN_PERSON,
    plain_readings,
    results_explained,
    why_not_explained,
)
from thimble.documents.letters.to_colleagues import (
    QUESTIONS,
    SPECIALTIES,
    About,
    general_practitioner,
    referral,
)
from thimble.documents.letters.visit_dates import missed_visit, visit_dates, why_no_dates
from thimble.ledger.follow_up.record import AgreedVisit, FollowUp
from thimble.ledger.follow_up.visiting import Expected, Kept
from thimble.ledger.situation import Departure, Link, Situation
from thimble.protocol.vocabulary import Value

V = vocabulary()
TO = About(("Dr. Ida Invented", "Hepatology, House 2"), "Ada Invented, born Sat 3 Jan 1970")
SOURCE = "Mr Nonesuch"
AGREED = FollowUp(agreements={"gp_letter": True})


def referred(known: Situation | None = None, **more: str) -> Letter:
    known = situation() if known is None else known
    asked = {"specialty": "hepatology", "question": "confirm", **more}
    return referral(plan(known), known, site(), protocol(), Course(ZONE), TO, **asked)


def told_practitioner(known: Situation) -> Letter:
    return general_practitioner(plan(known), known, site(), protocol(), TO)


# -- the dates of the visits ----------------------------------------------------------------------


def expect(day: date, kept: Kept = Kept.AHEAD) -> Expected:
    return Expected(AgreedVisit(day, ("follow_up_hiv_6w",)), kept, ("follow_up_hiv_6w",))


def dates(*visits: Expected, windows: dict[str, DayWindow] | None = None) -> Letter:
    return visit_dates(
        plan(), situation(), site(), protocol(), visits, windows or {}, name="Ada Invented"
    )


def test_the_dates_are_told_with_hours_and_place_and_past_ones_left_out():
    letter = dates(
        expect(date(2026, 11, 23), Kept.MISSED), expect(date(2027, 1, 7)), expect(date(2027, 1, 9))
    )
    assert letter.parts[0].table is not None
    assert letter.parts[0].table.rows == (
        (
            "Thu 7 Jan 2027",
            "between 08:00 and 12:00, or between 13:00 and 16:30",
            "House 4, ground floor",
        ),
        ("Sat 9 Jan 2027", "please call for the hour", "House 4, ground floor"),
    )
    assert letter.contacts[0].phone.replace("\u00a0", " ") == "+41 00 000 40 00"


def test_nothing_on_the_letter_of_dates_tells_what_a_visit_is_for():
    """It lies in a letter box at home. Every word but the hospital's own name for its department."""
    letter = dates(expect(date(2027, 1, 7)))
    told = words_in(replace(letter, contacts=()).to_data())
    assert telling_words(told.replace("Decision support", "").replace("protocol", "")) == ()
    for fact in V.values():
        for label in fact.labels.values():
            assert len(label) < 4 or f" {label.lower()} " not in f" {told.lower()} ", label


def test_the_letter_about_a_missed_visit_names_its_day_and_nothing_else():
    visits = (expect(date(2026, 11, 24), Kept.MISSED), expect(date(2026, 11, 23), Kept.MISSED))
    letter = missed_visit(plan(), situation(), site(), protocol(), visits, name="Ada Invented")
    told = words_in(replace(letter, contacts=()).to_data())
    assert "We expected you on Mon 23 Nov 2026" in told
    assert "24 Nov" not in told
    assert telling_words(told.replace("Decision support", "").replace("protocol", "")) == ()
    with pytest.raises(ValueError, match="No visit is recorded as missed"):
        missed_visit(plan(), situation(), site(), protocol(), [expect(date(2027, 1, 7))])


def test_without_a_date_to_come_there_is_no_letter():
    assert why_no_dates([expect(date(2026, 11, 23), Kept.KEPT)])
    with pytest.raises(ValueError, match="Agree the visits first"):
        dates(expect(date(2026, 11, 23), Kept.MISSED))


# -- results explained ----------------------------------------------------------------------------


def explained(case: Case) -> Letter:
    decided, known, course, _ = case.read()
    return results_explained(decided, known, site(), protocol(), course, name="Ada Invented")


def part(letter: Letter, heading: str) -> tuple[str, ...]:
    return next((p.points for p in letter.parts if p.heading == heading), ())


def why(case: Case) -> str:
    _, known, course, _ = case.read()
    return why_not_explained(known, course, END)


def test_final_negative_results_are_said_to_show_no_infection_and_leave_nothing_open():
    case = Case().result(
        *(one(a, taken=OCCURRED + timedelta(hours=2)) for a in NEGATIVE_AT_END),
        drawn_for="baseline",
    )
    letter = explained(case.negative())
    shows = part(letter, "What your results show")
    assert any(s.startswith("HIV: not infected") for s in shows)
    assert any(s.startswith("Hepatitis C: not infected") for s in shows)


def test_a_baseline_alone_shows_how_things_stood_and_not_what_the_exposure_did():
    case = Case().result(
        one(Analyte.HIV_AG_AB, taken=OCCURRED + timedelta(hours=2)), drawn_for="baseline"
    )
    letter = explained(case)
    assert "no sign of infection" in part(letter, "What your results show")[0]
    assert "cannot show what the exposure did" in part(letter, "What they do not show yet")[0]


@pytest.mark.parametrize(
    ("analyte", "word"),
    [(Analyte.HIV_AG_AB, Word.POSITIVE), (Analyte.HBSAG, Word.POSITIVE),
     (Analyte.HCV_RNA, Word.POSITIVE), (Analyte.ANTI_HCV, Word.POSITIVE),
     (Analyte.HIV_AG_AB, Word.INDETERMINATE), (Analyte.ANTI_HBC_TOTAL, Word.POSITIVE)],
)  # fmt: skip
def test_what_may_be_an_infection_is_told_face_to_face_and_never_by_letter(
    analyte: Analyte, word: Word
):
    case = Case().result(one(analyte, word))
    assert why(case) == TOLD_IN_PERSON
    with pytest.raises(ValueError, match="face to face"):
        explained(case)


def test_every_reading_that_speaks_of_an_infection_is_left_to_a_talk():
    """Only values that say nothing but "negative", "not yet" or "protected" have words for a letter."""
    bad = (
        "infect",
        "acute",
        "chronic",
        "positive",
        "contradict",
        "recover",
        "likely",
        "antigen",
        "core",
    )
    for decision, values in plain_readings().items():
        output = tables().outputs[decision]
        assert set(values) <= set(output.values)
        for value in values:
            words = output.words(value).lower()
            good = (
                words.replace("not infected", "")
                .replace("no infection", "")
                .replace("never infected", "")
                .replace("infection not tested", "")
            )
            good = good.replace("antigen/antibody negative", "").replace(
                "from vaccine, infection", ""
            )
            assert not any(stem in good for stem in bad), (decision, value, words)


def test_no_result_or_a_held_one_is_no_letter():
    assert why(Case()) == "No result of the worker is on record."
    case = Case().result(one(Analyte.HBSAG, status=Status.PRELIMINARY))
    case.result(one(Analyte.ANTI_HCV))
    assert "held for a person" in why(case)


@settings(max_examples=25, deadline=None)
@given(
    others=st.fixed_dictionaries(
        {}, optional={id_: st.sampled_from(V[id_].values) for id_ in SOURCE_FACTS}
    )
)
def test_the_letter_of_results_is_the_same_whatever_is_known_of_the_source(
    others: dict[str, Value],
):
    """Under the same plan: what follows from the source reaches the worker through the plan alone."""
    decided, known, course, _ = Case().negative().read()
    told = situation({**{k: v for k, v in FACTS.items() if k not in SOURCE_FACTS}, **others})
    with_source = replace(known, facts=told.facts)
    around = replace(course, source_excludes_hcv=True)

    assert results_explained(decided, known, site(), protocol(), course) == results_explained(
        decided, with_source, site(), protocol(), around
    )


def test_a_result_of_the_source_is_not_among_them():
    letter = explained(
        Case()
        .negative()
        .result(one(Analyte.HCV_RNA, Word.POSITIVE, of="source", specimen="S-source"))
    )
    told = words_in(letter.to_data())
    assert "ositive" not in told
    assert "source" not in told.lower()


# -- to colleagues --------------------------------------------------------------------------------


def test_a_referral_goes_to_somebody_by_name_with_a_question():
    letter = referred()
    assert letter.to == TO.to
    assert letter.opening[0] == QUESTIONS["confirm"]
    for changes in ({"specialty": ""}, {"question": "anything else"}):
        with pytest.raises(ValueError, match="with which question"):
            referred(**changes)
    known = situation()
    with pytest.raises(ValueError, match="by name"):
        referral(
            plan(known), known, site(), protocol(), Course(ZONE), About((), ""),
            specialty="hepatology", question="treat",
        )  # fmt: skip


@pytest.mark.parametrize("specialty", list(SPECIALTIES))
def test_nothing_of_the_source_and_nothing_that_staff_typed_is_in_a_letter_to_a_colleague(
    specialty: str,
):
    departure = Departure(
        entry=12, subject="hiv_pep", advised="recommended", decided=f"told by {SOURCE}",
        reason=f"{SOURCE} is known on the ward", by="u-7", at=NOW,
    )  # fmt: skip
    known = replace(situation(departures=(departure,)), follow_up=AGREED)
    for letter in (referred(known, specialty=specialty), told_practitioner(known)):
        told = words_in(letter.to_data())
        assert SOURCE not in told
        for id_ in SOURCE_FACTS:
            assert V[id_].question not in told
            if id_ in FACTS:
                assert f"{V[id_].question} {V[id_].label(FACTS[id_])}" not in told


def test_a_referral_tells_the_workers_facts_and_results_and_a_practitioner_no_result():
    decided, known, course, record = Case().negative().read()
    known = replace(known, follow_up=AGREED)
    letter = referral(
        decided, known, site(), protocol(), course, TO, specialty="hepatology", question="unclear",
        record=record,
    )  # fmt: skip
    told = words_in(letter.to_data())
    assert V["worker_hbv_series"].question in told
    assert "HIV" in told
    assert "Blood taken" in told

    practitioner = words_in(
        general_practitioner(decided, known, site(), protocol(), TO, record=record).to_data()
    )
    assert "egative" not in practitioner
    assert V["worker_hiv"].question not in practitioner


def test_a_patient_who_was_exposed_too_is_no_member_of_staff_and_had_no_exposure_at_work():
    """And nothing leads to the case of whoever was hurt at work."""
    link = (Link("K7QM-2F49", "worker_case", 2),)
    staff, patient = referred(), referred(replace(situation(), links=link))
    assert "staff" in staff.opening[1]
    assert patient.opening[1] == "Thank you for seeing this patient of our hospital."
    told = str(told_practitioner(replace(situation(), links=link, follow_up=AGREED)).to_data())
    for words in (str(patient.to_data()), told):
        for wrong in ("at work", "staff", "K7QM-2F49"):
            assert wrong not in words.replace(CAUTION, ""), wrong


@pytest.mark.parametrize("agreements", [{}, {"gp_letter": False}, {"email": True}])
def test_without_the_workers_agreement_no_practitioner_is_written_to(agreements: dict[str, bool]):
    known = replace(situation(), follow_up=FollowUp(agreements=agreements))
    with pytest.raises(ValueError, match="has not agreed"):
        told_practitioner(known)


@pytest.mark.parametrize(
    ("name", "lines", "said"),
    [
        ("", "House 2", "to whom"),
        ("x" * 81, "", "at most 80"),
        ("A", "\n".join("abcdef"), "at most 6"),
    ],
)
def test_an_address_that_is_none_is_refused_in_a_sentence(name: str, lines: str, said: str):
    with pytest.raises(ValueError, match=said):
        address(name, lines)


def test_an_address_is_taken_line_by_line():
    assert address("  Dr. Ida  Invented ", "Hepatology\r\n\r\n House 2 ") == (
        "Dr. Ida Invented", "Hepatology", "House 2",
    )  # fmt: skip
    assert person("Ada", date(1970, 1, 3)) == "Ada, born Sat 3 Jan 1970"
    assert person("", date(1970, 1, 3)) == ""


def test_an_hour_that_was_agreed_is_told():
    visit = AgreedVisit(date(2027, 1, 7), ("follow_up_hiv_6w",), time(9, 30))
    letter = dates(Expected(visit, Kept.AHEAD, visit.actions))
    assert letter.parts[0].table is not None
    assert letter.parts[0].table.rows[0][:2] == ("Thu 7 Jan 2027", "at 09:30")


def test_a_visit_that_counts_by_the_hour_says_between_which_hours():
    day = date(2027, 1, 7)
    hours = PartOfDay(
        day, datetime(2027, 1, 7, 10, tzinfo=ZONE), datetime(2027, 1, 7, 11, 30, tzinfo=ZONE)
    )
    window = DayWindow(day, None, day, (hours,))
    letter = dates(expect(day), windows={"follow_up_hiv_6w": window})
    assert letter.parts[0].table is not None
    assert letter.parts[0].table.rows[0][1] == "between 10:00 and 11:30"
