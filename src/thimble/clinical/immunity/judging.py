"""One person and one disease beside hepatitis B: the state, its evidence, the next step and its day."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from functools import cache, lru_cache

from thimble.clinical.immunity.counting import DoseSaid, when_said
from thimble.clinical.immunity.evidence import Documented
from thimble.clinical.immunity.facts import (
    TUBERCULOSIS,
    Asked,
    tuberculosis_facts,
    vaccine_facts,
)
from thimble.clinical.immunity.rules import Rules, rules
from thimble.clinical.readiness import ordinal
from thimble.clinical.saying import calendar_day
from thimble.clinical.series.calendar_days import step
from thimble.protocol.finding import Reason

JUDGED = (
    "measles", "mumps", "rubella", "varicella", "pertussis", "influenza", "covid_19", TUBERCULOSIS,
)  # fmt: skip
"""The diseases that the tables judge."""

BIRTH_DATE = "birth_date"
GIVES_A_DOSE = frozenset({"dose", "test_or_dose", "ask_contact", "verify_history"})
"""Next steps that may end in a dose: its day is told, and what to ask before a live one."""


@dataclass(frozen=True, slots=True)
class Decision:
    """What the tables say; `state` and `next_step` are None where a missing fact can still change them."""

    state: str | None
    next_step: str | None
    state_words: str
    step_words: str
    because: tuple[Reason, ...]


@dataclass(frozen=True, slots=True)
class Judgement:
    """The answer for one disease on a day.

    Args:
        state: `satisfied`, `pending`, `not_satisfied`, `not_known` or `not_due`.
        next_step: an id of the tables, or `birth_date` where everything hangs on it.
        earliest: the first day on which the step counts, by the schedule alone: it may lie in the past.
        recommended: the day to plan it for, never before the day asked for.
        doses_missing: how many doses complete it, 0 where no dose is the next step.
        again_on: the day on which the evidence comes up again, or did: None where it does not.
        entries: positions of the evidence that was looked at.
        offer: `open`, `declined` or `contraindicated`.
    """

    disease: str
    state: str
    words: str
    next_step: str
    step_words: str
    earliest: date | None
    recommended: date | None
    doses_missing: int
    again_on: date | None
    caution: str
    offer: str
    doses: tuple[DoseSaid, ...]
    entries: tuple[int, ...]
    because: tuple[Reason, ...]
    passed_over: int

    @property
    def confirmed(self) -> bool:
        """Whether every rule used was read in its own document."""
        return all(reason.confirmed for reason in self.because)

    @property
    def satisfied(self) -> bool:
        """Whether nothing is asked for now."""
        return self.state in ("satisfied", "not_due")

    @property
    def dose_sentences(self) -> tuple[str, ...]:
        """Each dose and why it counts or does not."""
        return tuple(f"The dose of {when_said(d.given.days)} {d.why}." for d in self.doses)

    def next_said(self, on: date) -> str:
        """The next step with its day, as seen on a day."""
        if self.recommended is None:
            return self.step_words
        day = "now" if self.recommended <= on else f"from {calendar_day(self.recommended)}"
        return f"{self.step_words}, {day}"


def judge(disease: str, told: Documented, born: date | None, on: date, protocol: str) -> Judgement:
    """What is documented against one disease, by the tables of a protocol.

    Args:
        disease: one of `JUDGED`.
        born: None where it is not known: doses against some diseases are then not counted.

    Raises:
        LookupError: the protocol has no tables of immunity.
        ValueError: the tables do not judge that disease.
    """
    if disease not in JUDGED:
        raise ValueError(f"{disease} is none of {', '.join(JUDGED)}")
    by = rules(protocol)
    if disease == TUBERCULOSIS:
        asked = tuberculosis_facts(told, on, by)
    else:
        asked = vaccine_facts(disease, told, born, on, by)
    said = decide(protocol, disease == TUBERCULOSIS, asked.facts)
    state, next_step = said.state or "not_known", said.next_step or BIRTH_DATE
    words, step_words = said.state_words, said.step_words
    if said.next_step is None:
        words, step_words = "Not known", "Enter the birth date: the rule asks for it"
    earliest, missing = _when(disease, next_step, asked, born, on, by)
    if missing:
        step_words = _dose_words(step_words, next_step, disease, missing, by)
    live = disease in by.live.diseases and missing > 0
    return Judgement(
        disease=disease,
        state=state,
        words=words,
        next_step=next_step,
        step_words=step_words,
        earliest=earliest,
        recommended=None if earliest is None else max(earliest, on),
        doses_missing=missing,
        again_on=_again(state, asked, disease, on, by),
        caution=by.live.caution if live else "",
        offer=dict(asked.facts)["offer"],  # type: ignore[arg-type]
        doses=asked.counted.said if asked.counted else (),
        entries=tuple(dict.fromkeys(asked.entries)),
        because=said.because,
        passed_over=len(told.passed_over),
    )


@lru_cache(maxsize=4096)
def decide(protocol: str, tuberculosis: bool, facts: tuple[tuple[str, str | int], ...]) -> Decision:
    """The decision for one situation."""
    tables = rules(protocol).tables
    found = tables.evaluate(dict(facts)).findings
    first = "tb_" if tuberculosis else ""
    state, next_step = found[f"{first}state"], found[f"{first}next_step"]
    behind = () if tuberculosis else found["evidence"].because
    # The table of steps only names what the first table lacks, unless an offer stands against it.
    because = behind if behind and dict(facts)["offer"] == "open" else (*behind, *state.because)
    return Decision(
        state.value,
        next_step.value,
        tables.outputs[f"{first}state"].labels.get(state.value or "", ""),
        tables.outputs[f"{first}next_step"].labels.get(next_step.value or "", ""),
        tuple(dict.fromkeys(because)),
    )


def _when(
    disease: str, next_step: str, asked: Asked, born: date | None, on: date, by: Rules
) -> tuple[date | None, int]:
    """The first day of the next step, and how many doses are missing."""
    if next_step == "wait_for_season":
        return by.season.next_offer(on), 0
    if next_step == "second_skin_test" and asked.first_test is not None:
        return date.fromordinal(step(asked.first_test, by.tuberculosis.second_from)), 0
    counted = asked.counted
    if next_step not in GIVES_A_DOSE or counted is None:
        return (None if next_step in ("none", "refer", BIRTH_DATE) else on), 0
    rule = by.doses[disease]
    days = [on.toordinal()] if counted.last is None else []
    if counted.last is not None:
        days.append(step(counted.last, rule.apart) if rule.apart else on.toordinal())
    if born is not None and rule.from_age is not None:
        days.append(step(born.toordinal(), rule.from_age))
    if disease in by.live.diseases:
        days += [step(last, by.live.apart) for last in asked.other_live]
    return date.fromordinal(max(days)), rule.needed - min(counted.certain, rule.needed)


def _again(state: str, asked: Asked, disease: str, on: date, by: Rules) -> date | None:
    if disease == TUBERCULOSIS:
        every, facts = by.tuberculosis.review_every, dict(asked.facts)
        known = facts["tb_prior"] == "documented" or facts["tb_test"] == "positive"
        if every is None or asked.reviewed is None or not known:
            return None
        return date.fromordinal(step(asked.reviewed, every))
    rule = by.doses[disease]
    if rule.in_season:
        return by.season.next_offer(by.season.ends(on)) if state == "satisfied" else None
    if rule.within is not None and asked.counted is not None and asked.counted.last is not None:
        first = [d.given.days[0] for d in asked.counted.said if d.given.days]
        return date.fromordinal(step(max(first), rule.within))
    return None


@cache
def recurring(protocol: str) -> frozenset[str]:
    """The diseases whose evidence can come up again: `judge` gives no other `again_on`, nor a season.

    Raises:
        LookupError: the protocol has no tables of immunity.
    """
    by = rules(protocol)
    found = {d for d, rule in by.doses.items() if rule.in_season or rule.within is not None}
    return frozenset(
        found | ({TUBERCULOSIS} if by.tuberculosis.review_every is not None else set())
    )


def _dose_words(words: str, next_step: str, disease: str, missing: int, by: Rules) -> str:
    rule = by.doses[disease]
    if next_step != "dose":
        return words
    if rule.apart is None:
        return f"One dose of {rule.vaccine}"
    return f"{ordinal(rule.needed - missing + 1)} dose of {rule.vaccine}"
