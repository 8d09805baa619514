"""People whose doses stand alike are judged alike, and only what is known is looked up."""

from __future__ import annotations

from collections import Counter
from datetime import date

import numpy as np
import pytest

from clinical.cohorts import cohort_of, differences, near_the_limits
from thimble.clinical.durations import parse
from thimble.clinical.series import alike
from thimble.clinical.series import cohort as many
from thimble.clinical.series.calendar_days import span_days, step
from thimble.clinical.series.cohort import DOSE, PRODUCTS, TITRE
from thimble.clinical.series.cohort_block import Rows, doses_in
from thimble.clinical.series.doses_many import doses_of
from thimble.clinical.series.judging_many import judge_many
from thimble.clinical.series.marks import UNSURE_APART, Marks
from thimble.clinical.series.schedule import schedule
from thimble.clinical.series.standing import NOWHERE, next_doses, ways

TODAY = date(2026, 3, 2)
both = pytest.mark.parametrize("protocol", ["us", "uk"])


def doses_of_people(people, plan):
    cohort = cohort_of(people)
    return doses_in(Rows.of(cohort, 0, len(people)), cohort.born, plan)[0]


@both
def test_people_of_one_pattern_stand_the_same_whatever_their_days(protocol):
    plan = schedule(protocol)
    doses = doses_of_people(near_the_limits(3, 15_000), plan)
    few = doses.up_to(alike.PLACES)
    pattern = alike.patterns(few)
    sure = ~alike._unsure(pattern)
    standing = judge_many(few, plan)
    told = {}
    for n in np.flatnonzero(sure).tolist():
        own = [int(standing.path[n]), int(standing.number[n]), bool(standing.complete[n])]
        own += [int(standing.first[n]), int(standing.counts[n]), bool(standing.settled[n])]
        own += [int(standing.begun[n]), int(standing.second[n])]
        if not standing.complete[n]:
            own += [int(standing.previous[n]), int(standing.floor[n])]
        told.setdefault(int(pattern[n]), []).append(tuple(own))

    assert {p: set(own) for p, own in told.items() if len(set(own)) > 1} == {}
    shared = [own[0] for own in told.values() if len(own) > 1]
    assert len(shared) > 500
    assert {path for path, *_ in shared} == set(range(len(ways(plan))))
    assert {number for _, number, *_ in shared} >= {0, 1, 2, 3}
    assert min(sure.sum(), (~sure).sum()) > 1_000


@both
def test_what_is_looked_up_is_what_each_persons_own_doses_say(protocol):
    plan = schedule(protocol)
    learnt = alike.learn(doses_of_people(near_the_limits(5, 12_000), plan), plan)
    doses = doses_of_people(near_the_limits(6, 12_000), plan)

    found, own = learnt.judge(doses), judge_many(doses, plan)

    known, count = found.known, doses.count
    assert known.sum() > 3_000
    assert all((known & (count == n)).sum() > 200 for n in range(alike.PLACES + 1))
    assert (known & (count > alike.PLACES)).sum() > 20
    unsure = alike._unsure(alike.patterns(doses))
    assert not (known & unsure).any()
    assert min((~known & unsure).sum(), (~known & ~unsure).sum()) > 500
    for column in ("path", "number", "complete", "first", "counts", "begun", "second"):
        here, there = getattr(found, column)[known], getattr(own, column)[known]
        assert (here == there).all(), column
    days = zip(
        next_doses(found, doses, TODAY.toordinal(), plan),
        next_doses(own, doses, TODAY.toordinal(), plan),
        strict=True,
    )
    assert all((here[known] == there[known]).all() for here, there in days)
    # Of who is not known nothing is said.
    assert not found.complete[~known].any()
    assert (found.first[~known] == NOWHERE).all()


def adult(*gaps):
    days = np.cumsum((0, *gaps)) + date(2010, 1, 1).toordinal()
    born = date(1980, 5, 5).toordinal()
    return born, False, 0, [(DOSE, PRODUCTS.index("43"), int(day), int(day)) for day in days]


def test_a_history_is_cut_short_only_where_more_doses_change_nothing():
    plan = schedule("us")
    people = doses_of_people([adult(30, 60, 60, 60, 60), adult(5, 5, 5, 60, 200)], plan)

    assert alike.learn(people, plan).judge(people).known.tolist() == [True, False]


def test_a_second_series_that_nobody_had_is_left_to_the_second_road():
    plan = schedule("us")
    seen, new = adult(30, 150, 60, 30, 5), adult(30, 150, 60, 30, 150)
    learnt = alike.learn(doses_of_people([seen], plan), plan)

    assert learnt.judge(doses_of_people([seen, new], plan)).known.all()
    _, unknown = many._answered(cohort_of([seen, new]), learnt.judge, TODAY.toordinal(), plan)
    assert unknown.tolist() == [1]


@both
def test_a_workforce_is_answered_alike_by_both_roads(protocol, monkeypatch):
    monkeypatch.setattr(many, "BLOCK", 700)
    monkeypatch.setattr(many, "FEW", 600)
    monkeypatch.setattr(many, "SHARE", 5)
    passes = []
    answered = many._answered

    def told(cohort, *rest):
        found, unknown = answered(cohort, *rest)
        passes.append((len(cohort.born), len(unknown)))
        return found, unknown

    monkeypatch.setattr(many, "_answered", told)
    people = near_the_limits(8, 3_000)

    assert differences(people, TODAY.toordinal(), protocol) == []
    (everybody, unknown), again = passes
    assert everybody == len(people)
    assert 300 < unknown < 2_700
    assert again == (unknown, 0)


def test_of_very_many_people_no_more_are_learnt_from_than_a_block_can_hold(monkeypatch):
    monkeypatch.setattr(many, "FEW", 100)
    monkeypatch.setattr(many, "SAMPLE", 40)
    sizes, learn = [], many.learn
    monkeypatch.setattr(
        many, "learn", lambda doses, plan: sizes.append(len(doses.count)) or learn(doses, plan)
    )
    people = near_the_limits(10, 1_000)

    assert differences(people, TODAY.toordinal(), "us") == []
    assert sizes == [40]


@both
def test_a_number_of_days_is_sure_exactly_where_the_calendar_cannot_matter(protocol):
    plan = schedule(protocol)
    classes = Marks.of(plan).apart
    asked = {
        (span, target.allowance)
        for way in ways(plan)
        for target in way.targets
        for span in (target.from_previous, target.from_first, target.from_second)
        if span
    }
    starts = range(date(2019, 1, 1).toordinal(), date(2024, 1, 1).toordinal())
    lengths = {span: {step(day, span) - day for day in starts} for span, _ in asked}
    told = {}
    for days in range(1, len(classes)):
        reached = [
            {days >= n - less for n in lengths[span]} for span, less in sorted(asked, key=str)
        ]
        if any(len(each) > 1 for each in reached):
            assert classes[days] == UNSURE_APART, days
        else:
            told.setdefault(tuple(each.pop() for each in reached), set()).add(int(classes[days]))

    assert classes[0] == UNSURE_APART
    assert all(UNSURE_APART not in found and len(found) == 1 for found in told.values())
    assert len(set.union(*told.values())) == len(told)


@pytest.mark.parametrize(
    ("text", "days"), [("P1D", (1, 1)), ("P4W", (28, 28)), ("P1M", (28, 31)), ("P12M", (365, 366))]
)
def test_a_span_is_as_long_as_the_calendar_lets_it_be(text, days):
    assert span_days(parse(text)) == days


def test_doses_come_in_order_whatever_the_order_of_the_rows():
    rng = np.random.default_rng(2)
    count = rng.integers(0, 7, 400)
    who = np.repeat(np.arange(400), count)
    low = rng.integers(735_000, 735_040, len(who)).astype(np.int32)
    high = (low + rng.choice([0, 0, 27], len(who))).astype(np.int32)
    product = rng.integers(0, len(PRODUCTS), len(who)).astype(np.uint8)
    expected = sorted(zip(who, low, high, product, strict=True))
    pairs = Counter(row[:3] for row in expected)

    found, twice = doses_of(who, product, low, high, count, np.zeros(400, np.int32))

    rows = zip(who, found.low, found.high, found.product, strict=False)
    assert [tuple(map(int, row)) for row in rows] == [tuple(map(int, row)) for row in expected]
    assert {int(n) for n in twice} == {int(key[0]) for key, n in pairs.items() if n > 1}
    for n in range(400):
        mine = slice(int(found.begin[n]), int(found.begin[n] + count[n]))
        assert (found.reach[mine] == np.maximum.accumulate(found.high[mine])).all()


def test_the_rows_of_a_person_may_come_in_any_order():
    people = near_the_limits(9, 300)
    rng = np.random.default_rng(4)
    mixed = [
        (*person[:3], [person[3][n] for n in rng.permutation(len(person[3]))]) for person in people
    ]

    assert differences(mixed, TODAY.toordinal(), "us") == []
    assert any(a[3] != b[3] for a, b in zip(people, mixed, strict=True))


def test_somebody_with_very_many_doses_is_answered_too():
    day = date(1995, 1, 1).toordinal()
    rows = [(DOSE, PRODUCTS.index("43"), day + 20 * n, day + 20 * n) for n in range(40)]
    people = [(day - 9_000, False, 0, [*rows, (TITRE, 6, day + 900, day + 900)])]

    assert differences(people, TODAY.toordinal(), "us") == []
