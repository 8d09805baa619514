"""What the tables say of a person beside hepatitis B, in words: other infections, and screening."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from thimble.clinical.diseases import DISEASES
from thimble.clinical.immunity import Judgement
from thimble.clinical.saying import calendar_day, inside
from thimble.clinical.screening import INFECTIONS
from thimble.clinical.screening.vocabulary import vocabulary
from thimble.people.entries import Kind
from thimble.people.fold import Person
from thimble.people.immunity import about
from thimble.people.judged import judged
from thimble.people.screened import screened
from thimble.protocol.finding import Reason
from thimble.web.people import words

NO_TEST = "No exposure-prone procedures: no test is a condition"


@dataclass(frozen=True, slots=True)
class Told:
    """One line: what it is about, the state, the next step ("" for none), and why."""

    name: str
    state: str
    step: str
    caution: str
    why: tuple[str, ...]
    confirmed: bool


@dataclass(frozen=True, slots=True)
class Clearance:
    """What screening before exposure-prone procedures comes to. `step` is what is next for all of `parts`
    where they are said in one line, "" for nothing."""

    words: str
    rule_set: str
    parts: tuple[Told, ...]
    why: tuple[str, ...]
    confirmed: bool
    step: str = ""


def infections_of(
    person: Person, born: date | None, on: date, protocol: str, asked: Sequence[str]
) -> tuple[Told, ...]:
    """A line for each disease that the site asks for; diseases of which the same is said share one."""
    lines: dict[tuple[object, ...], list[Judgement]] = {}
    for each in judged(person, born, on, protocol, asked).values():
        same = (
            each.words,
            each.next_said(on),
            each.because,
            each.again_on,
            each.dose_sentences,
            each.entries,
        )
        lines.setdefault(same, []).append(each)
    return tuple(_told(together, person, on) for together in lines.values())


def clearance_of(person: Person, on: date, rule_set: str) -> Clearance | None:
    """Screening by the rule set of the site; None where it has chosen none."""
    found = screened(person, on, rule_set)
    if found is None:
        return None
    tests = {each.test for each in found.infections}
    same = len(tests) == 1 and not tests & {"refer"}
    if (
        person.employment.exposure_prone == "no"
        and same
        and all(each.says == "not_asked" for each in found.infections)
    ):
        # One line in place of one for each infection of which the same is said.
        named = ", ".join(inside(DISEASES[each.infection]) for each in found.infections)
        return Clearance(
            words=NO_TEST,
            rule_set=vocabulary()["rule_set"].label(found.rule_set),
            parts=(),
            why=_why(found.because),
            confirmed=found.confirmed,
            step="" if tests == {"none"} else f"{found.infections[0].step}: {named}",
        )
    return Clearance(
        words=found.words,
        rule_set=vocabulary()["rule_set"].label(found.rule_set),
        parts=tuple(
            Told(
                DISEASES[each.infection],
                each.words,
                "" if each.test == "none" else each.step,
                "",
                (*_results(person, each.infection), *_why(each.because)),
                all(reason.confirmed for reason in each.because),
            )
            for each in found.infections
        ),
        why=_why(found.because),
        confirmed=found.confirmed,
    )


def _results(person: Person, infection: str) -> list[str]:
    """The results that screening looks at, with their samples, past diseases and refusals."""
    return [
        f"{words.title(e)}, {words.day(e.body.get('when') or e.body.get('on'))}"
        + (f": {words.sample_words(e.body['sample'])}." if "sample" in e.body else ".")
        for e in sorted(person.evidence, key=words.order)
        if infection in about(e)
        and (
            e.body.get("test") in INFECTIONS[infection]
            or e.body.get("what") == "test"
            or e.kind is Kind.HISTORY_RECORDED
        )
    ]


def _told(together: Sequence[Judgement], person: Person, on: date) -> Told:
    one = together[0]
    state = one.words
    if one.again_on is not None:
        state += f", {'again' if one.satisfied else 'ran out'} {calendar_day(one.again_on)}"
    rests_on = {entry for each in together for entry in each.entries}
    shown = [
        f"{words.title(e)}, {words.day(e.body.get('when') or e.body.get('on'))}."
        for e in sorted(person.evidence, key=words.order)
        if e.entry in rests_on and e.kind is not Kind.DOSE_RECORDED
    ]
    why = [*one.dose_sentences, *shown, *_why(one.because)]
    if one.passed_over:
        what = (
            "1 piece of evidence lies" if one.passed_over == 1 else f"{one.passed_over} pieces lie"
        )
        why.append(f"{what} before the birth or after today and was passed over: correct the date.")
    first, *rest = (DISEASES[each.disease] for each in together)
    names = ", ".join((first, *(name if name[1:2].isupper() else name.lower() for name in rest)))
    step = "" if one.next_step == "none" else one.next_said(on)
    return Told(names, state, step, one.caution, tuple(why), one.confirmed)


def _why(because: Sequence[Reason]) -> tuple[str, ...]:
    return tuple(reason.cited for reason in because)
