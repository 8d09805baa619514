"""Results read by the tables: of the source, of the worker at baseline, of the worker in follow-up.

Only a result that counts (`current`) and has no fault (`faults`) settles anything. What is missing,
preliminary, indeterminate, retracted or held is `not_known` or `indeterminate` to the tables, never
negative.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from math import inf
from types import MappingProxyType

from thimble.clinical.durations import aware
from thimble.clinical.saying import minute
from thimble.protocol import Evaluation, Value

from .analytes import HBV, HCV, HIV, Analyte
from .course import (
    Course,
    hours_to_baseline,
    of_source,
    passive_antibody,
    since_exposure,
    together,
    vaccine_antigen,
    yes_no,
)
from .faults import Held, sift
from .results import Of, Result, current
from .tables import Reading, ask, code, reading
from .values import NOT_KNOWN, anti_hbs_facts, in_unit, state

UNKNOWN = ("unknown", "not_tested")


@dataclass(frozen=True, slots=True)
class Read:
    """What results say: facts for the plan, readings for people, and what a person must look at.

    `facts` use the ids and values of the exposure's vocabulary. A fact is there as soon as a result
    bears on it, as `unknown` or `not_tested` where the results do not settle it; a status that is known
    otherwise (the chart, the worker) is not the laboratory's to take away: see `settled`.
    """

    facts: Mapping[str, Value]
    readings: tuple[Reading, ...]
    held: tuple[Held, ...]

    @property
    def settled(self) -> Mapping[str, Value]:
        """The facts that the results do settle."""
        return {fact: value for fact, value in self.facts.items() if value not in UNKNOWN}

    def of(self, decision: str) -> Reading:
        """The reading of that decision; KeyError if there is none."""
        for found in self.readings:
            if found.decision == decision:
                return found
        raise KeyError(decision)


Panel = Mapping[Analyte, Result]
"""The result that counts of each analyte."""


def read_source(results: Iterable[Result], course: Course, at: datetime) -> Read:
    """The source patient's results as facts of the plan.

    Facts: source_hiv, source_hbsag, source_hcv_rna, source_anti_hcv, each only where a result bears on
    it. A negative from a sample taken before the exposure, or at a time that is not known, is held: a
    person decides whether it still counts. An earlier positive counts.

    Raises:
        ValueError: `at` has no time zone.
    """
    course = of_source(course)
    own, clean, held = _sifted(results, "source", course, at)
    clean, old = _fresh(clean, course)
    panel, odd = _latest(clean)
    seen = {r.analyte for r in own}
    evaluation = ask(_states(panel, HIV + HBV + HCV))
    facts: dict[str, Value] = {}
    readings: list[Reading] = []
    for decision, analytes in (
        ("source_hiv", HIV),
        ("source_hbsag", HBV),
        ("source_hcv_rna", (Analyte.HCV_RNA,)),
        ("source_anti_hcv", (Analyte.ANTI_HCV,)),
    ):
        if not seen & set(analytes):
            continue
        one = reading(evaluation, decision, _of(panel, analytes))
        readings.append(one)
        facts[decision] = one.value or "unknown"
    if seen & set(HIV):
        readings.append(reading(evaluation, "hiv_reading", _of(panel, HIV)))
    if seen & set(HBV):
        pattern = ask(_hbv_facts(panel, course))
        readings.append(reading(pattern, "hbv_pattern", _of(panel, HBV)))
    return Read(MappingProxyType(facts), tuple(readings), (*held, *old, *odd))


def read_worker_baseline(results: Iterable[Result], course: Course, at: datetime) -> Read:
    """The worker's baseline results as facts of the plan, and what they say.

    `results` are those of the baseline sample and of the tests that confirm it. Facts: worker_hiv and
    worker_anti_hcv where a result bears on them; worker_anti_hbs_now, worker_hbv_infection,
    worker_pregnancy and worker_creatinine (umol/L) where they follow.

    Raises:
        ValueError: `at` has no time zone.
    """
    own, clean, held = _sifted(results, "worker", course, at)
    panel, odd = _latest(clean)
    seen = {r.analyte for r in own}
    facts: dict[str, Value] = {}
    readings: list[Reading] = []
    hiv_and_hcv = ask(_states(panel, HIV + HCV) | hours_to_baseline(course, _taken(panel, HCV)))
    if seen & set(HIV):
        readings.append(reading(hiv_and_hcv, "hiv_reading", _of(panel, HIV)))
        facts["worker_hiv"] = code(hiv_and_hcv, "worker_hiv") or "unknown"
    if seen & set(HCV):
        readings.append(reading(hiv_and_hcv, "hcv_baseline", _of(panel, HCV)))
    if Analyte.ANTI_HCV in seen:
        facts["worker_anti_hcv"] = code(hiv_and_hcv, "worker_anti_hcv") or "unknown"
    if seen & set(HBV):
        hbv = ask(_hbv_facts(panel, course))
        readings.append(reading(hbv, "hbv_pattern", _of(panel, HBV)))
        infection = code(hbv, "worker_hbv_infection")
        if infection not in (None, "not_settled"):
            facts["worker_hbv_infection"] = str(infection)
    titre = panel.get(Analyte.ANTI_HBS)
    if titre is not None:
        entered = _titre_for_plan(titre)
        if entered is not None:
            facts["worker_anti_hbs_now"] = entered
    if Analyte.PREGNANCY in panel:
        # A negative test leaves the question with whoever can rule an early pregnancy out.
        told = code(ask(_states(panel, (Analyte.PREGNANCY,))), "worker_pregnancy")
        if told not in (None, "not_settled"):
            facts["worker_pregnancy"] = str(told)
    if Analyte.ALT in seen:
        readings.append(_read_alt(panel, "baseline", course))
    creatinine = _exactly(panel.get(Analyte.CREATININE))
    if creatinine is not None:
        facts["worker_creatinine"] = creatinine
    return Read(MappingProxyType(facts), tuple(readings), (*held, *odd))


def read_follow_up(
    baseline: Iterable[Result], follow_up: Iterable[Result], course: Course, at: datetime
) -> Read:
    """What happened since the exposure, read against the stored baseline.

    `follow_up` may hold the results of every visit: the latest visit with the tests that confirm it is
    read (`samples_together`), but virus once found since the exposure is not undone by a later sample
    without it. No facts for the plan: `readings` say what was found, how far it is settled, and what
    comes next.

    Raises:
        ValueError: `at` has no time zone.
    """
    _, before, held_before = _sifted(baseline, "worker", course, at)
    own, clean, held = _sifted(follow_up, "worker", course, at, follow_up=True, earlier=before)
    seen = {r.analyte for r in own}
    base, odd = _latest(before)
    all_held = [*held_before, *held, *odd]
    readings: list[Reading] = []
    for analytes, read in ((HBV, _read_hbv), (HCV, _read_hcv), (HIV, _read_hiv)):
        if seen & set(analytes):
            panel, note, disagreeing = _visit(clean, analytes, course)
            readings += read(base, panel, course, note)
            all_held += disagreeing
    if Analyte.ALT in seen:
        panel, _, disagreeing = _visit(clean, (Analyte.ALT,), course)
        readings.append(_read_alt(panel, "since_exposure", course))
        all_held += disagreeing
    return Read(MappingProxyType({}), tuple(readings), tuple(all_held))


def _read_alt(panel: Panel, drawn: str, course: Course) -> Reading:
    """The ALT by the laboratory's own range; no number is compared with anything here."""
    result = panel.get(Analyte.ALT)
    against = None if result is None else result.against_range
    facts = {
        "alt_against_range": NOT_KNOWN if against is None else against.value,
        "alt_drawn": drawn,
        "hepatitis_suspected": yes_no(course.hepatitis_suspected),
    }
    return reading(ask(facts), "alt_reading", _of(panel, (Analyte.ALT,)))


def _read_hbv(base: Panel, panel: Panel, course: Course, note: str) -> list[Reading]:
    facts = _hbv_facts(panel, course) | _hbv_baseline(base, course)
    facts |= since_exposure(course, _taken(panel, (Analyte.HBSAG, Analyte.ANTI_HBC_TOTAL)))
    evaluation, of = ask(facts), _of(panel, HBV)
    found = [
        reading(evaluation, "hbv_infection", _of(base, HBV) + of, note),
        reading(evaluation, "hbv_pattern", of),
    ]
    if Analyte.ANTI_HBS in panel:
        found.append(reading(evaluation, "anti_hbs_response", _of(panel, (Analyte.ANTI_HBS,))))
    return found


def _read_hcv(base: Panel, panel: Panel, course: Course, note: str) -> list[Reading]:
    evaluation = ask(_hcv_facts(base, panel, course))
    return [reading(evaluation, "hcv_infection", _of(base, HCV) + _of(panel, HCV), note)]


def _read_hiv(base: Panel, panel: Panel, course: Course, note: str) -> list[Reading]:
    evaluation, of = ask(_hiv_facts(base, panel, course)), _of(panel, HIV)
    return [
        reading(evaluation, "hiv_outcome", _of(base, HIV) + of, note),
        reading(evaluation, "hiv_reading", of),
    ]


def settled_of(
    results: Iterable[Result], course: Course, at: datetime
) -> tuple[tuple[Result, ...], tuple[Held, ...]]:
    """The worker's results that count and have no fault, and those that are held."""
    _, clean, held = _sifted(results, "worker", course, at)
    return clean, held


# -- which results count ------------------------------------------------------------------------


def _sifted(
    results: Iterable[Result],
    of: Of,
    course: Course,
    at: datetime,
    *,
    follow_up: bool = False,
    earlier: Sequence[Result] = (),
) -> tuple[list[Result], tuple[Result, ...], tuple[Held, ...]]:
    """Those of one person, those that count and have no fault, and what is held."""
    moment = aware(at, "The instant of reading")
    own = [r for r in results if r.of == of and r.reported_at <= moment]
    found = current(own, moment)
    clean, held = sift(found, course, moment, follow_up=follow_up, earlier=earlier)
    return own, clean, held


def _latest(results: Sequence[Result]) -> tuple[dict[Analyte, Result], tuple[Held, ...]]:
    """Of each analyte the result with the latest sample.

    Results of one instant that disagree leave the analyte out and are held: nothing tells which holds.
    A result without a time may be of that instant too.
    """
    found: dict[Analyte, Result] = {}
    held: list[Held] = []
    for analyte in Analyte:
        own = [r for r in results if r.analyte is analyte]
        last = max((r.taken_at for r in own if r.taken_at is not None), default=None)
        newest = [r for r in own if r.taken_at == last or r.taken_at is None]
        if len({_said(r) for r in newest}) > 1:
            held += [
                Held(
                    r,
                    f"The {r.name} ({r.place}) and another of the same moment disagree: repeat it.",
                )
                for r in newest
            ]
        elif newest:
            found[analyte] = min(newest, key=lambda r: (r.taken_at is None, r.key))
    return found, tuple(held)


def _said(result: Result) -> tuple[object, ...]:
    """What a result says, for comparing: the number only where the number is what counts."""
    titre = result.analyte in (Analyte.ANTI_HBS, Analyte.ALT, Analyte.CREATININE)
    return (state(result), result.quantity if titre else None)


def _visit(
    results: Sequence[Result], analytes: Sequence[Analyte], course: Course
) -> tuple[dict[Analyte, Result], str, tuple[Held, ...]]:
    """The latest visit's results, with what was found before and is not undone by it; and a note.

    A negative, or a titre, that is older than the visit says nothing of it and is left out.
    """
    own = [r for r in results if r.analyte in analytes]
    panel, held = _latest(own)
    last = max((r.taken_at for r in own if r.taken_at is not None), default=None)
    kept: dict[Analyte, Result] = {}
    notes = []
    for analyte in analytes:
        newest = panel.get(analyte)
        found = _found_before(own, analyte, course)
        if newest is not None and (
            state(newest) == "positive" or together(course, newest.taken_at, last)
        ):
            kept[analyte] = newest
        if found and (newest is None or state(newest) != "positive"):
            kept[analyte] = found[0]
            notes.append(_once(found[0], course))
    return kept, " ".join(notes), held


def _fresh(
    results: Sequence[Result], course: Course
) -> tuple[tuple[Result, ...], tuple[Held, ...]]:
    """The source's results without negatives that may be out of date."""
    kept: list[Result] = []
    held: list[Held] = []
    for result in results:
        if state(result) != "negative" or course.exposed_at is None:
            kept.append(result)
        elif result.taken_at is None:
            why = f"The {result.name} ({result.place}) is negative, but when it was taken is not known"
            held.append(Held(result, why + ": a person decides whether it counts."))
        elif course.day(result.taken_at) < course.day(course.exposed_at):
            taken = minute(result.taken_at, course.zone)
            why = f"The {result.name} ({result.place}) is negative in a sample of {taken}"
            held.append(
                Held(
                    result, why + ", before the exposure: a person decides whether it still counts."
                )
            )
        else:
            kept.append(result)
    return tuple(kept), tuple(held)


ONCE_FOUND = (
    Analyte.HBSAG, Analyte.HBV_DNA, Analyte.HCV_RNA, Analyte.HIV_RNA, Analyte.HIV_DIFFERENTIATION,
)  # fmt: skip
"""Found since the exposure, they show an infection, whatever a later sample lacks."""


def _found_before(own: Sequence[Result], analyte: Analyte, course: Course) -> list[Result]:
    """Samples in which the virus was found, the earliest first; antigen of a vaccine is none."""
    if analyte not in ONCE_FOUND:
        return []
    found = [r for r in own if r.analyte is analyte and state(r) == "positive"]
    if analyte is Analyte.HBSAG:
        found = [r for r in found if vaccine_antigen(course, r.taken_at) == "excluded"]
    return sorted(found, key=lambda r: (r.taken_at.timestamp() if r.taken_at else inf, r.key))


def _once(found: Result, course: Course) -> str:
    when = minute(found.taken_at, course.zone) if found.taken_at else "a day not known"
    return (
        f"{found.name} was found in the sample of {when} ({found.place}) and not in a later one: that "
        "may be clearance, and it does not undo the infection."
    )


# -- results as facts of the tables -------------------------------------------------------------


def _states(panel: Panel, analytes: Sequence[Analyte]) -> dict[str, object]:
    return {a.value: state(panel.get(a)) for a in analytes if a is not Analyte.ANTI_HBS}


def _of(panel: Panel, analytes: Sequence[Analyte]) -> tuple[Result, ...]:
    return tuple(panel[a] for a in analytes if a in panel)


def _taken(panel: Panel, analytes: Sequence[Analyte]) -> datetime | None:
    """When the earliest of these samples was taken: what is negative is so up to then only.

    A positive kept from an earlier sample does not count, unless there is nothing else.
    """
    own = [panel[a] for a in analytes if a in panel]
    own = [r for r in own if state(r) != "positive"] or own
    times = [r.taken_at for r in own if r.taken_at is not None]
    return min(times) if own and len(times) == len(own) else None


def _hbv_facts(panel: Panel, course: Course) -> dict[str, object]:
    facts = _states(panel, HBV)
    titre = panel.get(Analyte.ANTI_HBS)
    facts["anti_hbs"] = code(ask(anti_hbs_facts(titre)), "anti_hbs_level") or NOT_KNOWN
    antigen = panel.get(Analyte.HBSAG)
    facts["vaccine_antigen"] = vaccine_antigen(course, antigen.taken_at if antigen else None)
    facts["passive_antibody"] = _passive(panel, course)
    return facts


def _passive(panel: Panel, course: Course) -> str:
    """By the sample that lies nearest to the immunoglobulin."""
    samples = [panel[a] for a in (Analyte.ANTI_HBC_TOTAL, Analyte.ANTI_HBS) if a in panel]
    said = {passive_antibody(course, r.taken_at) for r in samples}
    said = said or {passive_antibody(course, None)}
    return next(s for s in ("possible", "past", "none") if s in said)


def _hbv_baseline(base: Panel, course: Course) -> dict[str, object]:
    antigen, core = base.get(Analyte.HBSAG), base.get(Analyte.ANTI_HBC_TOTAL)
    facts = {"baseline_hbsag": state(antigen), "baseline_anti_hbc": state(core)}
    # What vaccine or immunoglobulin may have put there before the baseline shows no earlier infection.
    positive = [fact for fact, found in facts.items() if found == "positive"]
    for fact in positive:
        if antigen and fact == "baseline_hbsag":
            doubt = vaccine_antigen(course, antigen.taken_at) == "possible"
        else:
            doubt = core is not None and passive_antibody(course, core.taken_at) == "possible"
        facts[fact] = "indeterminate" if doubt else "positive"
    return {**facts}


_HCV_BASELINE = {
    "not_infected": "negative",
    "antibody_without_rna": "antibody_without_rna",
    "infected_before": "infected",
}


def _hcv_facts(base: Panel, panel: Panel, course: Course) -> dict[str, object]:
    before = ask(_states(base, HCV) | hours_to_baseline(course, _taken(base, HCV)))
    return {
        **_states(panel, HCV),
        **since_exposure(course, _taken(panel, HCV)),
        "baseline_hcv": _HCV_BASELINE.get(code(before, "hcv_baseline") or "", NOT_KNOWN),
        "weak_immunity_or_liver_disease": yes_no(course.weak_immunity_or_liver_disease),
        "hepatitis_suspected": yes_no(course.hepatitis_suspected),
        "source_excludes_hcv": yes_no(course.source_excludes_hcv),
    }


def _hiv_facts(base: Panel, panel: Panel, course: Course) -> dict[str, object]:
    before = ask(_states(base, HIV))
    facts = _states(panel, HIV)
    facts["baseline_hiv"] = _hiv_baseline(before)
    facts["hiv_final_test"] = _final_test(_taken(panel, HIV), course)
    return facts


def _hiv_baseline(before: Evaluation) -> str:
    status = code(before, "worker_hiv")
    return {"positive": "infected", "negative": "negative"}.get(status or "", NOT_KNOWN)


def _final_test(taken_at: datetime | None, course: Course) -> str:
    if taken_at is None or course.hiv_final_from is None:
        return "unknown"
    if course.day(taken_at) < course.day(course.hiv_final_from):
        return "not_reached"
    # Where it is not known whether RNA is asked, it is: the longer list is the safer one.
    return "ag_ab" if course.hiv_final_needs_rna is False else "ag_ab_and_rna"


def _exactly(result: Result | None) -> float | None:
    """The number in the analyte's own unit; None for a limit such as `<20`, which is no number."""
    if result is None or result.quantity is None or result.quantity.comparator != "=":
        return None
    number = in_unit(result)
    return None if number is None else round(number, 6)  # 1.1 mg/dL is 97.24, not 97.24000000000001


def _titre_for_plan(titre: Result) -> float | None:
    """The anti-HBs as the exposure's vocabulary enters it; None where 10 is not settled."""
    entered = code(ask(anti_hbs_facts(titre)), "anti_hbs_enter")
    if entered in (None, "none"):
        return None
    return in_unit(titre) if entered == "as_sent" else float(str(entered))
