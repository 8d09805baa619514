"""What the tables are asked, counted from what is documented."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from functools import cache

from thimble.clinical.durations import Duration
from thimble.clinical.immunity.counting import Counted, Counter
from thimble.clinical.immunity.evidence import Against, Documented, Past, Tested
from thimble.clinical.immunity.rules import Rules
from thimble.clinical.series.calendar_days import step

IGRA, TUBERCULIN, FILM = "igra", "tuberculin", "chest_x_ray"
RISK, SYMPTOMS = "tb_risk", "tb_symptoms"
TUBERCULOSIS = "tuberculosis"


@dataclass(frozen=True, slots=True)
class Asked:
    """The facts of one disease, and the evidence entries that they rest on.

    Days are ordinals: `reviewed` of the latest questions about symptoms, `first_test` of the latest
    negative skin test, `other_live` the last days of other live vaccines.
    """

    facts: tuple[tuple[str, str | int], ...]
    counted: Counted | None
    entries: tuple[int, ...]
    reviewed: int | None = None
    first_test: int | None = None
    other_live: tuple[int, ...] = ()


def vaccine_facts(
    disease: str, told: Documented, born: date | None, on: date, rules: Rules
) -> Asked:
    """The facts of a disease that vaccine prevents."""
    rule = rules.doses[disease]
    since = None
    if rule.in_season:
        since = rules.season.began(on).toordinal()
    elif rule.within is not None:
        since = _first_within(on, rule.within)
    first = born.toordinal() if born else None
    counted = Counter(disease, rule, rules.live, told.doses, first, since).count()
    tests = _tests_of(disease, told)
    others = [_tests_of(each, told) for each in rule.enough_with]
    past = [p for p in told.past if p.disease in (disease, *rule.also_history)]
    undated = any(t.days is None and t.word == "positive" for t in tests) or any(
        p.days is None and p.basis in rule.history_counts for p in past
    )
    series = "none"
    if counted.certain:
        series = "complete" if counted.certain >= rule.needed else "begun"
    instead = bool(others) and all(_antibody(each) == "positive" for each in others)
    undated |= bool(others) and all(_may_be_positive(each) for each in others) and not instead
    could = counted.possible >= rule.needed > counted.certain
    facts: list[tuple[str, str | int]] = [
        ("disease", disease),
        ("doses", series),
        ("days_open", "yes" if could or undated else "no"),
        ("antibody", _antibody(tests)),
        ("measles_and_rubella", "antibody" if instead else "not_shown"),
        ("history", _history(past)),
        (
            "season",
            "between" if rule.in_season and not rules.season.offered(on) else "offered",
        ),
        ("offer", _offer(told.against, disease, "vaccine", counted.last, since)),
    ]
    if born is not None:
        facts.append(("birth_year", born.year))
    doses = [s.given.entry for s in counted.said]
    live = tuple(
        d.days[1]
        for d in told.doses
        if d.days and disease not in d.diseases and rules.live.holds(d.product, d.diseases)
    )
    return Asked(
        tuple(facts),
        counted,
        (
            *doses,
            *_entries(tests),
            *(entry for each in others if instead for entry in _entries(each)),
            *_entries(past),
            *_entries(_against(told.against, disease)),
        ),
        other_live=live,
    )


def tuberculosis_facts(told: Documented, on: date, rules: Rules) -> Asked:
    """The facts of the baseline for tuberculosis."""
    tests = [t for t in told.tests if t.test in (IGRA, TUBERCULIN)]
    asked = {name: [t for t in told.tests if t.test == name] for name in (RISK, SYMPTOMS, FILM)}
    past = [p for p in told.past if p.disease == TUBERCULOSIS]
    bcg = [d for d in told.doses if TUBERCULOSIS in d.diseases]
    reviewed = _latest(asked[SYMPTOMS])
    every = rules.tuberculosis.review_every
    symptoms = "not_asked"
    if reviewed is not None and reviewed.days is not None:
        symptoms = "absent" if reviewed.word == "negative" else "present"
        if symptoms == "absent" and every is not None:
            lapsed = step(reviewed.days[0], every) < on.toordinal()
            symptoms = "absent_before" if lapsed else "absent"
    risk = _latest(asked[RISK])
    films = _films(asked[FILM], tests, past)
    # One that is not normal and has no day may be the latest.
    film = next((f for f in films if f.days is None), None) or _latest(films)
    dated = [p for p in past if p.days is not None and p.basis != "person"]
    prior = "documented" if dated else "person" if past else "none"
    last = max((t.days[1] for t in tests if t.days), default=None)
    negative = [t for t in tests if t.test == TUBERCULIN and t.days and t.word == "negative"]
    facts: tuple[tuple[str, str], ...] = (
        ("tb_symptoms", symptoms),
        ("tb_prior", prior),
        ("tb_test", _tb_test(tests, rules)),
        ("tb_risk", _two(risk, "low", "raised", "not_asked")),
        ("chest_film", _two(film, "normal", "abnormal", "none")),
        ("bcg", "yes" if any(d.days for d in bcg) else "no"),
        ("offer", _offer(told.against, TUBERCULOSIS, "test", last, None)),
    )
    every_test = [*tests, *asked[RISK], *asked[SYMPTOMS], *asked[FILM]]
    return Asked(
        facts,
        None,
        (
            *_entries(every_test),
            *_entries(past),
            *(d.entry for d in bcg),
            *_entries(_against(told.against, TUBERCULOSIS)),
        ),
        reviewed=reviewed.days[0] if reviewed and reviewed.days else None,
        first_test=max((t.days[1] for t in negative if t.days), default=None),
    )


@cache
def _first_within(on: date, within: Duration) -> int:
    """The first day that lies no longer ago than a time: a step from it reaches the day."""
    today = on.toordinal()
    day = today
    while step(day - 1, within) >= today:
        day -= 1
    return day


def _tests_of(disease: str, told: Documented) -> list[Tested]:
    return [t for t in told.tests if t.test == f"{disease}_igg"]


def _may_be_positive(tests: Sequence[Tested]) -> bool:
    """Whether antibody is positive, or may be by a result whose day is not known."""
    return _antibody(tests) == "positive" or any(
        t.days is None and t.word == "positive" for t in tests
    )


def _antibody(tests: Sequence[Tested]) -> str:
    words = {t.word for t in tests if t.days is not None}
    known = words - {None}
    if "positive" in known:
        return "differing" if len(known) > 1 else "positive"
    if None in words:
        # A number that nobody read may say the opposite of what was read.
        return "unread"
    if "negative" in known:
        return "negative"
    return "equivocal" if known else "none"


def _history(past: Sequence[Past]) -> str:
    """The best that a past disease rests on; without a date it is only told."""
    bases = {p.basis if p.days is not None else "person" for p in past}
    return next((b for b in ("laboratory", "clinician", "person") if b in bases), "none")


def _offer(
    against: Iterable[Against], disease: str, what: str, last: int | None, since: int | None
) -> str:
    """What stands against the next step: a contraindication, or a refusal that no dose or test followed."""
    mine = _against(against, disease)
    if any(a.what is None for a in mine):
        return "contraindicated"
    refused = [a.since for a in mine if a.what == what]
    stands = refused and (last is None or max(refused) >= last)
    # A refusal of one season says nothing about the next.
    return "declined" if stands and (since is None or max(refused) >= since) else "open"


def _against(against: Iterable[Against], disease: str) -> list[Against]:
    return [a for a in against if a.disease == disease]


def _tb_test(tests: Sequence[Tested], rules: Rules) -> str:
    dated = [t for t in tests if t.days is not None]
    # Without a day a negative one counts for nothing; any other may be the latest.
    words = {t.word for t in tests if t.days is not None or t.word != "negative"}
    if "positive" in words:
        return "differing" if "negative" in words else "positive"
    if None in words:
        return "unread"
    since = max((t.days[0] for t in dated if t.days and t.word == "negative"), default=0)
    if any(t.word != "negative" and (t.days is None or t.days[1] >= since) for t in tests):
        return "indeterminate"
    if any(t.test == IGRA and t.word == "negative" for t in dated):
        return "igra_negative"
    skin = sorted(t.days for t in dated if t.test == TUBERCULIN and t.word == "negative" and t.days)
    if skin:
        return "two_step_negative" if _two_step(skin, rules) else "one_step_negative"
    return "none"


def _films(films: Iterable[Tested], tests: Iterable[Tested], past: Iterable[Past]) -> list[Tested]:
    """The films that tell anything: a normal one counts from the first positive test or disease on."""
    shown = [t.days for t in tests if t.word == "positive"]
    shown += [p.days for p in past if p.basis != "person"]
    first = min((days[1] for days in shown if days), default=0)
    return [f for f in films if f.word != "negative" or (f.days and f.days[0] >= first)]


def _two_step(days: Sequence[tuple[int, int]], rules: Rules) -> bool:
    """Whether two tests are far enough apart, and not too far, on every day that they may have been."""
    first_from, until = rules.tuberculosis.second_from, rules.tuberculosis.second_until
    return any(
        step(one[1], first_from) <= other[0] and other[1] <= step(one[0], until)
        for at, one in enumerate(days)
        for other in days[at + 1 :]
    )


def _latest(tests: Sequence[Tested]) -> Tested | None:
    """The latest dated one; of those that may be the latest one that is not negative."""
    dated = [(t.days, t) for t in tests if t.days is not None]
    since = max((days[0] for days, _ in dated), default=0)
    last = [(t.word != "negative", days, t.entry, t) for days, t in dated if days[1] >= since]
    return max(last, key=lambda each: each[:3])[-1] if last else None


def _two(test: Tested | None, negative: str, other: str, none: str) -> str:
    if test is None:
        return none
    return negative if test.word == "negative" else other


def _entries(found: Iterable[Tested | Past | Against]) -> tuple[int, ...]:
    return tuple(each.entry for each in found)
