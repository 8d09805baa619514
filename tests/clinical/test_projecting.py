"""When somebody will be ready: worked examples, then `clear` asked again, then every day tried.

Worked by hand from the published intervals (hepatitis B, "Ask the Experts", 21 July 2023): second dose four
weeks after the first, third six months after the first and at least eight weeks after the second, titre one
to two months after the last dose. Three days to the result.
"""

from __future__ import annotations

from datetime import date, timedelta

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from clinical.clearance import doses, marker, titre
from thimble.clinical.durations import Duration
from thimble.clinical.series import (
    Contraindicated,
    Declined,
    DoseGiven,
    MarkerResult,
    PartialDate,
    Person,
    clear,
)
from thimble.clinical.series.projecting import DOSES, clear_of, project
from thimble.clinical.serology import Analyte, Quantity, Word

ON = date(2026, 11, 27)
BORN = date(2003, 5, 1)
THREE_DAYS = Duration(3, "days")


def found(*evidence, pace="recommended", protocol="us", prone=False, weak="unknown"):
    items = [x for e in evidence for x in (e if isinstance(e, list) else [e])]
    return project(Person(BORN, prone, weak), items, ON, protocol, THREE_DAYS, pace)


def steps(projection):
    return [f"{move.step} {move.day.isoformat()}" for move in projection.planned]


@pytest.mark.parametrize(
    ("evidence", "planned", "ready_on"),
    [
        (
            [],
            ["dose 2026-11-27", "dose 2026-12-25", "dose 2027-05-27", "titre 2027-06-27"],
            "2027-06-30",
        ),
        (doses("2026-05-01", "2026-06-01"), ["dose 2026-11-27", "titre 2026-12-27"], "2026-12-30"),
        (doses("2026-11-20/189"), ["dose 2026-12-18", "titre 2027-01-18"], "2027-01-21"),
        (doses("2010-01-01", "2010-02-01", "2010-08-01"), ["titre 2026-11-27"], "2026-11-30"),
        (
            [*doses("2010-01-01", "2010-02-01", "2010-08-01"), titre(3, "2026-11-01")],
            ["challenge_dose 2026-11-27", "titre 2026-12-27"],
            "2026-12-30",
        ),
        (
            [*doses("2026-01-01", "2026-02-01", "2026-08-01"), titre(3, "2026-09-15")],
            [
                "second_series 2026-11-27",
                "second_series 2026-12-25",
                "second_series 2027-05-27",
                "titre 2027-06-27",
            ],
            "2027-06-30",
        ),
    ],
)
def test_the_day_is_that_of_the_intervals_still_to_run(evidence, planned, ready_on):
    projection = found(evidence)

    assert steps(projection) == planned
    assert projection.ready_on == date.fromisoformat(ready_on)
    assert projection.supposed.at_least == 10


def test_at_the_earliest_days_the_third_dose_comes_sixteen_weeks_after_the_first():
    """Eight weeks after the second and sixteen after the first; a titre counts from 28 days on."""
    projection = found([], pace="earliest")

    assert steps(projection) == [
        "dose 2026-11-27",
        "dose 2026-12-25",
        "dose 2027-03-19",
        "titre 2027-04-16",
    ]
    assert projection.ready_on == date(2027, 4, 19)


def test_whoever_responded_lacks_nothing_and_is_ready_today():
    projection = found(doses("2026-01-01", "2026-02-01", "2026-08-01"), titre(10, "2026-09-15"))

    assert projection.satisfied
    assert projection.ready_on == ON
    assert projection.planned == ()


@pytest.mark.parametrize(
    ("evidence", "planned", "stopped"),
    [
        # A refusal and a contraindication have no day.
        ([Declined(PartialDate.parse("2026-11-01"))], [], ("not_known", "none")),
        ([Contraindicated(PartialDate.parse("2026-11-01"))], [], ("not_known", "refer")),
        # Below 10 after two series: the panel is drawn, and what follows depends on it.
        (
            [
                *doses("2024-01-01", "2024-02-01", "2024-08-01"),
                titre(3, "2024-09-15"),
                *doses("2025-01-01", "2025-02-01", "2025-08-01"),
                titre(3, "2025-09-15"),
            ],
            ["infection_tests 2026-11-27"],
            ("non_responder", "counsel_non_responder"),
        ),
        # Isolated core antibody: nobody supposes how its work-up turns out.
        (
            [marker("hbsag", "negative", "2026-11-01"), marker("anti_hbc_total", "positive", "2026-11-01"),
             marker("anti_hbc_igm", "negative", "2026-11-01"), titre("<10", "2026-11-01")],
            ["infection_tests 2026-11-27"],
            ("isolated_core", "infection_tests"),
        ),
    ],
)  # fmt: skip
def test_what_nobody_can_suppose_has_no_day(evidence, planned, stopped):
    projection = found(evidence)

    assert projection.ready_on is None
    assert steps(projection) == planned
    assert (projection.stopped.immunity, projection.stopped.next_step) == stopped


def test_where_tables_ask_for_more_the_day_says_what_it_rests_on():
    """United Kingdom: 100 or more, immunity not weak, and HBsAg before exposure-prone procedures."""
    projection = found(doses("2026-05-01", "2026-06-01"), protocol="uk", prone=True)

    assert steps(projection)[0] == "infection_tests 2026-11-27"
    assert projection.supposed.at_least == 100
    assert projection.supposed.panel
    assert projection.supposed.person.immunocompromised == "no"
    assert projection.ready_on == date(2026, 12, 30)


def test_a_result_that_comes_after_the_last_dose_is_waited_for():
    """United Kingdom, titre of 50: one further dose at once; the panel of the same day takes three days."""
    told = [*doses("2010-01-01", "2010-02-01", "2010-08-01"), titre(50, "2010-10-01")]
    projection = found(told, protocol="uk", prone=True, weak="no")

    assert steps(projection) == ["infection_tests 2026-11-27", "booster 2026-11-27"]
    assert projection.ready_on == date(2026, 11, 30)


def test_a_titre_waits_for_immunoglobulin():
    """Six months after it (A18)."""
    serum = DoseGiven("30", PartialDate.parse("2026-11-20"))
    projection = found(doses("2010-01-01", "2010-02-01", "2010-08-01"), serum)

    assert steps(projection) == ["titre 2027-05-20"]


def test_a_month_that_has_not_ended_stays_before_the_day_asked_for():
    """A dose of "November" on record on the 27th was given by the 27th, whenever `clear` is asked again."""
    begun = doses("2026-06", "2026-09", "2026-11")

    assert steps(found(begun, pace="earliest")) == ["dose 2026-11-28", "titre 2026-12-26"]


# --- against `clear` ------------------------------------------------------------------------------------

_PRODUCTS = st.sampled_from(["43", "43", "43", "08", "189", "104", "unknown"])
_DAYS = st.integers(0, 400).map(lambda back: ON - timedelta(days=back))


@st.composite
def files(draw):
    """Who somebody is, and some evidence of the last year: doses, titres, a refusal now and then."""
    person = Person(
        date(2003, 1, 1) + timedelta(days=draw(st.integers(0, 800))),
        draw(st.booleans()),
        draw(st.sampled_from(("no", "yes", "unknown"))),
    )
    evidence = []
    for cvx, day in draw(st.lists(st.tuples(_PRODUCTS, _DAYS), max_size=5)):
        exact = draw(st.booleans()) or (day.year, day.month) == (ON.year, ON.month)
        when = PartialDate.of(day) if exact else PartialDate(day.year, day.month)
        evidence.append(DoseGiven(None if cvx == "unknown" else cvx, when))
    for value, day in draw(
        st.lists(st.tuples(st.sampled_from([3.0, 10.0, 100.0]), _DAYS), max_size=2)
    ):
        quantity = Quantity(value, "m[IU]/mL", "=")
        evidence.append(MarkerResult(Analyte.ANTI_HBS, PartialDate.of(day), None, quantity))
    if draw(st.integers(0, 9)) == 0:
        evidence.append(Declined(PartialDate.of(draw(_DAYS))))
    return person, evidence


def lived(projection, evidence):
    """The evidence as it is once every planned step was taken on its day, and turned out as supposed."""
    told = list(evidence)
    for move in projection.planned:
        when = PartialDate.of(move.day)
        if move.step in DOSES:
            told.append(DoseGiven(move.product, when))
        elif move.step == "titre":
            value = Quantity(projection.supposed.at_least, "m[IU]/mL", "=")
            told.append(MarkerResult(Analyte.ANTI_HBS, when, None, value))
        else:
            told += [MarkerResult(each, when, Word.NEGATIVE)
                     for each in (Analyte.HBSAG, Analyte.ANTI_HBC_TOTAL)]  # fmt: skip
    return told


@settings(max_examples=120, deadline=None)
@given(files(), st.sampled_from(("us", "uk")), st.sampled_from(("recommended", "earliest")))
def test_who_does_what_is_planned_is_clear_on_that_day_and_not_without_the_last_step(
    file, protocol, pace
):
    person, evidence = file
    projection = project(person, evidence, ON, protocol, THREE_DAYS, pace)

    assert projection.satisfied == clear_of(clear(person, evidence, ON, protocol), ON)
    if projection.ready_on is None:
        assert projection.stopped is not None
        return
    who, ready = projection.supposed.person, projection.ready_on
    last = max((move.day for move in projection.planned), default=ON)
    told = lived(projection, evidence)
    assert clear_of(clear(who, told, last, protocol), last)
    for move in projection.planned:
        assert move.day >= move.counts_from >= ON
        assert move.day + timedelta(days=0 if move.step in DOSES else 3) <= ready
    if projection.planned:
        short = projection.planned[:-1]
        without = lived(_only(projection, short), evidence)
        assert not clear_of(clear(who, without, ready, protocol), ready)


def _only(projection, planned):
    return type(projection)(
        projection.cleared, planned, None, projection.supposed, projection.stopped
    )


@settings(max_examples=60, deadline=None)
@given(files(), st.sampled_from(("us", "uk")))
def test_the_earliest_days_are_never_later_than_the_recommended_ones(file, protocol):
    person, evidence = file
    soon = project(person, evidence, ON, protocol, THREE_DAYS, "earliest").ready_on
    usual = project(person, evidence, ON, protocol, THREE_DAYS, "recommended").ready_on

    assert (soon is None) == (usual is None)
    if soon is not None:
        assert ON <= soon <= usual


@settings(max_examples=60, deadline=None)
@given(files(), st.sampled_from(("us", "uk")))
def test_a_titre_a_day_before_the_earliest_one_makes_nobody_ready(file, protocol):
    person, evidence = file
    projection = project(person, evidence, ON, protocol, THREE_DAYS, "earliest")
    moves = projection.planned
    if projection.ready_on is None or not moves or moves[-1].step != "titre":
        return
    drawn = moves[-1].day - timedelta(days=1)
    if drawn < max((m.day for m in moves[:-1]), default=ON + timedelta(days=1)):
        return
    value = Quantity(projection.supposed.at_least, "m[IU]/mL", "=")
    early = MarkerResult(Analyte.ANTI_HBS, PartialDate.of(drawn), None, value)
    told = [*lived(_only(projection, moves[:-1]), evidence), early]
    assert not clear_of(clear(projection.supposed.person, told, drawn, protocol), drawn)


@pytest.mark.parametrize(
    "given_doses", [("2026-11-01", "2026-11-27"), ("2026-07-01", "2026-10-20"), ("2026-11-20/189",)]
)
def test_of_every_pair_of_days_none_makes_anybody_ready_sooner(given_doses):
    """One dose and one titre on every pair of days, without the four days that are for the past only."""
    evidence = doses(*given_doses)
    projection = found(evidence, pace="earliest")
    dose, drawn = projection.planned
    days = [ON + timedelta(days=n) for n in range((drawn.day - ON).days + 10)]
    value = Quantity(10.0, "m[IU]/mL", "=")

    def ready(on, at):
        told = [
            *evidence,
            DoseGiven(dose.product, PartialDate.of(on)),
            MarkerResult(Analyte.ANTI_HBS, PartialDate.of(at), None, value),
        ]
        return clear_of(clear(Person(BORN), told, at, "us"), at)

    allowed = [day for day in days if day >= dose.counts_from]
    soonest = min(at for on in allowed for at in days if at >= on and ready(on, at))

    assert soonest == drawn.day
