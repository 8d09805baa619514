"""A panel of results as facts of the tables."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import datetime

from thimble.protocol import Evaluation

from .analytes import HBV, HCV, HIV, Analyte
from .course import (
    Course,
    hours_to_baseline,
    passive_antibody,
    since_exposure,
    vaccine_antigen,
    yes_no,
)
from .results import Result
from .tables import ask, code
from .values import NOT_KNOWN, anti_hbs_facts, in_unit, state

Panel = Mapping[Analyte, Result]
"""The result that counts of each analyte."""


def states(panel: Panel, analytes: Sequence[Analyte]) -> dict[str, object]:
    """What each of these tests says."""
    return {a.value: state(panel.get(a)) for a in analytes if a is not Analyte.ANTI_HBS}


def those_of(panel: Panel, analytes: Sequence[Analyte]) -> tuple[Result, ...]:
    """The results of these tests."""
    return tuple(panel[a] for a in analytes if a in panel)


def taken_of(panel: Panel, analytes: Sequence[Analyte]) -> datetime | None:
    """When the earliest of these samples was taken: what is negative is so up to then only.

    A positive kept from an earlier sample does not count, unless there is nothing else.
    """
    own = [panel[a] for a in analytes if a in panel]
    own = [r for r in own if state(r) != "positive"] or own
    times = [r.taken_at for r in own if r.taken_at is not None]
    return min(times) if own and len(times) == len(own) else None


def hbv_facts(panel: Panel, course: Course) -> dict[str, object]:
    """Facts for the hepatitis B tables."""
    facts = states(panel, HBV)
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


def hbv_baseline(base: Panel, course: Course) -> dict[str, object]:
    """What the exposure's sample said of hepatitis B."""
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


def hcv_facts(base: Panel, panel: Panel, course: Course) -> dict[str, object]:
    """Facts for the hepatitis C tables."""
    before = ask(states(base, HCV) | hours_to_baseline(course, taken_of(base, HCV)))
    return {
        **states(panel, HCV),
        **since_exposure(course, taken_of(panel, HCV)),
        "baseline_hcv": _HCV_BASELINE.get(code(before, "hcv_baseline") or "", NOT_KNOWN),
        "weak_immunity_or_liver_disease": yes_no(course.weak_immunity_or_liver_disease),
        "hepatitis_suspected": yes_no(course.hepatitis_suspected),
        "source_excludes_hcv": yes_no(course.source_excludes_hcv),
    }


def hiv_facts(base: Panel, panel: Panel, course: Course) -> dict[str, object]:
    """Facts for the HIV tables."""
    before = ask(states(base, HIV))
    facts = states(panel, HIV)
    facts["baseline_hiv"] = _hiv_baseline(before)
    facts["hiv_final_test"] = _final_test(taken_of(panel, HIV), course)
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


def exactly(result: Result | None) -> float | None:
    """The number in the analyte's own unit; None for a limit such as `<20`, which is no number."""
    if result is None or result.quantity is None or result.quantity.comparator != "=":
        return None
    number = in_unit(result)
    return None if number is None else round(number, 6)  # 1.1 mg/dL is 97.24, not 97.24000000000001


def titre_for_plan(titre: Result) -> float | None:
    """The anti-HBs as the exposure's vocabulary enters it; None where 10 is not settled."""
    entered = code(ask(anti_hbs_facts(titre)), "anti_hbs_enter")
    if entered in (None, "none"):
        return None
    return in_unit(titre) if entered == "as_sent" else float(str(entered))
