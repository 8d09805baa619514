"""Results read by the tables: of the source, of the worker at baseline, of the worker in follow-up.

What is missing, preliminary, indeterminate, retracted or held is `not_known` or `indeterminate` to the
tables, never negative.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime
from types import MappingProxyType

from thimble.clinical.serology.counting import fresh, latest, sifted, visit_of
from thimble.clinical.serology.panels import (
    Panel,
    exactly,
    hbv_baseline,
    hbv_facts,
    hcv_facts,
    hiv_facts,
    states,
    taken_of,
    those_of,
    titre_for_plan,
)
from thimble.protocol import Value

from .analytes import HBV, HCV, HIV, Analyte
from .course import (
    Course,
    hours_to_baseline,
    of_source,
    since_exposure,
    yes_no,
)
from .faults import Held
from .results import Result
from .tables import Reading, ask, code, reading
from .values import NOT_KNOWN

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


def read_source(results: Iterable[Result], course: Course, at: datetime) -> Read:
    """The source patient's results as facts of the plan.

    Facts: source_hiv, source_hbsag, source_hcv_rna, source_anti_hcv, each only where a result bears on
    it. A negative from a sample taken before the exposure, or at a time that is not known, is held: a
    person decides whether it still counts. An earlier positive counts.

    Raises:
        ValueError: `at` has no time zone.
    """
    course = of_source(course)
    own, clean, held = sifted(results, "source", course, at)
    clean, old = fresh(clean, course)
    panel, odd = latest(clean)
    seen = {r.analyte for r in own}
    evaluation = ask(states(panel, HIV + HBV + HCV))
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
        one = reading(evaluation, decision, those_of(panel, analytes))
        readings.append(one)
        facts[decision] = one.value or "unknown"
    if seen & set(HIV):
        readings.append(reading(evaluation, "hiv_reading", those_of(panel, HIV)))
    if seen & set(HBV):
        pattern = ask(hbv_facts(panel, course))
        readings.append(reading(pattern, "hbv_pattern", those_of(panel, HBV)))
    return Read(MappingProxyType(facts), tuple(readings), (*held, *old, *odd))


def read_worker_baseline(results: Iterable[Result], course: Course, at: datetime) -> Read:
    """The worker's baseline results as facts of the plan, and what they say.

    `results` are those of the baseline sample and of the tests that confirm it. Facts: worker_hiv and
    worker_anti_hcv where a result bears on them; worker_anti_hbs_now, worker_hbv_infection,
    worker_pregnancy and worker_creatinine (umol/L) where they follow.

    Raises:
        ValueError: `at` has no time zone.
    """
    own, clean, held = sifted(results, "worker", course, at)
    panel, odd = latest(clean)
    seen = {r.analyte for r in own}
    facts: dict[str, Value] = {}
    readings: list[Reading] = []
    hiv_and_hcv = ask(states(panel, HIV + HCV) | hours_to_baseline(course, taken_of(panel, HCV)))
    if seen & set(HIV):
        readings.append(reading(hiv_and_hcv, "hiv_reading", those_of(panel, HIV)))
        facts["worker_hiv"] = code(hiv_and_hcv, "worker_hiv") or "unknown"
    if seen & set(HCV):
        readings.append(reading(hiv_and_hcv, "hcv_baseline", those_of(panel, HCV)))
    if Analyte.ANTI_HCV in seen:
        facts["worker_anti_hcv"] = code(hiv_and_hcv, "worker_anti_hcv") or "unknown"
    if seen & set(HBV):
        hbv = ask(hbv_facts(panel, course))
        readings.append(reading(hbv, "hbv_pattern", those_of(panel, HBV)))
        infection = code(hbv, "worker_hbv_infection")
        if infection not in (None, "not_settled"):
            facts["worker_hbv_infection"] = str(infection)
    titre = panel.get(Analyte.ANTI_HBS)
    if titre is not None:
        entered = titre_for_plan(titre)
        if entered is not None:
            facts["worker_anti_hbs_now"] = entered
    if Analyte.PREGNANCY in panel:
        # A negative test leaves the question with whoever can rule an early pregnancy out.
        told = code(ask(states(panel, (Analyte.PREGNANCY,))), "worker_pregnancy")
        if told not in (None, "not_settled"):
            facts["worker_pregnancy"] = str(told)
    if Analyte.ALT in seen:
        readings.append(_read_alt(panel, "baseline", course))
    creatinine = exactly(panel.get(Analyte.CREATININE))
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
    _, before, held_before = sifted(baseline, "worker", course, at)
    own, clean, held = sifted(follow_up, "worker", course, at, follow_up=True, earlier=before)
    seen = {r.analyte for r in own}
    base, odd = latest(before)
    all_held = [*held_before, *held, *odd]
    readings: list[Reading] = []
    for analytes, read in ((HBV, _read_hbv), (HCV, _read_hcv), (HIV, _read_hiv)):
        if seen & set(analytes):
            panel, note, disagreeing = visit_of(clean, analytes, course)
            readings += read(base, panel, course, note)
            all_held += disagreeing
    if Analyte.ALT in seen:
        panel, _, disagreeing = visit_of(clean, (Analyte.ALT,), course)
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
    return reading(ask(facts), "alt_reading", those_of(panel, (Analyte.ALT,)))


def _read_hbv(base: Panel, panel: Panel, course: Course, note: str) -> list[Reading]:
    facts = hbv_facts(panel, course) | hbv_baseline(base, course)
    facts |= since_exposure(course, taken_of(panel, (Analyte.HBSAG, Analyte.ANTI_HBC_TOTAL)))
    evaluation, of = ask(facts), those_of(panel, HBV)
    found = [
        reading(evaluation, "hbv_infection", those_of(base, HBV) + of, note),
        reading(evaluation, "hbv_pattern", of),
    ]
    if Analyte.ANTI_HBS in panel:
        found.append(reading(evaluation, "anti_hbs_response", those_of(panel, (Analyte.ANTI_HBS,))))
    return found


def _read_hcv(base: Panel, panel: Panel, course: Course, note: str) -> list[Reading]:
    evaluation = ask(hcv_facts(base, panel, course))
    return [reading(evaluation, "hcv_infection", those_of(base, HCV) + those_of(panel, HCV), note)]


def _read_hiv(base: Panel, panel: Panel, course: Course, note: str) -> list[Reading]:
    evaluation, of = ask(hiv_facts(base, panel, course)), those_of(panel, HIV)
    return [
        reading(evaluation, "hiv_outcome", those_of(base, HIV) + of, note),
        reading(evaluation, "hiv_reading", of),
    ]
