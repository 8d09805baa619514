"""Exposure-prone procedures towards the first day: the tests that the site's rule set asks for before them.

In a list nothing tells an infection: what is for the physician, or refused, names no virus.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import replace
from datetime import date

from thimble.clinical.readiness import DiseaseState, Lack, Need
from thimble.clinical.saying import inside
from thimble.clinical.screening import INFECTIONS, Result, Screened, Screening
from thimble.clinical.series import DoseGiven
from thimble.clinical.series.calendar_days import step
from thimble.clinical.series.schedule import schedule
from thimble.ledger.fitness import FitnessDecision
from thimble.people.choices import TESTS
from thimble.people.entries import Kind
from thimble.people.fold import Person
from thimble.people.hepatitis_b import evidence_of
from thimble.people.readiness.asked import Asked
from thimble.people.screened import TESTS as SCREENED
from thimble.people.screened import screened

HBSAG = "hbsag"
WORK = "exposure_prone_procedures"
"""What a state is about that is of no infection."""
BEFORE = "Before exposure-prone procedures"
TOLD = (
    "A blood sample at occupational medicine, before exposure-prone procedures; please bring a document "
    "with your photo"
)
"""How the person reads it: which test it is tells what was found before."""
PROVIDED = "the tests before exposure-prone procedures are negative"
NOT_SAID = "Nobody has said whether the work holds exposure-prone procedures"
NO_RULE_SET = "No rule set is chosen for exposure-prone procedures: the physician decides"
DECLINED = "A test before exposure-prone procedures was declined; the offer stands."
PHYSICIAN = "Exposure-prone procedures: the physician decides under fitness for work"
OF_THE_VIRUS = frozenset({"load", "validated_load"})
"""Steps of the tables that are the second test of `INFECTIONS`; the other tests are the first."""


def as_if(person: Person, exposure_prone: str) -> Person:
    """The person with or without exposure-prone procedures in their work."""
    return replace(person, employment=replace(person.employment, exposure_prone=exposure_prone))


def other_work_may_begin(person: Person, on: date, asked: Asked) -> bool:
    """Whether work without exposure-prone procedures may begin whatever is missing before them."""
    found = screened(as_if(person, "yes"), on, asked.rule_set)
    return found is None or found.other_work == "may_begin"


def procedure_states(
    person: Person, on: date, asked: Asked, decision: FitnessDecision | None = None
) -> tuple[DiseaseState, ...]:
    """What is asked on a day before the exposure-prone procedures of somebody's work; () if nothing is.

    Args:
        decision: the one about the person's fitness that is in force. What the tables leave to the
            physician it settles; a test that they ask for it does not replace. What was found since nobody
            has decided about.
    """
    if decision is not None and _found_since(person, decision):
        decision = None
    prone = person.employment.exposure_prone
    if prone == "no":
        return ()
    whole = screened(as_if(person, "yes"), on, asked.rule_set)
    if whole is None:
        return () if prone == "not_known" else (DiseaseState(WORK, None, NO_RULE_SET),)
    cleared = found_fit(decision, on, "yes")
    states = tuple(_state(person, each, whole, on, asked, cleared) for each in whole.infections)
    if prone == "yes":
        return states
    # Nobody is asked what changes nothing.
    matters = any(state.satisfied is not True for state in states)
    return (DiseaseState(WORK, None, NOT_SAID),) if matters else ()


def found_fit(decision: FitnessDecision | None, on: date, exposure_prone: str) -> bool:
    """Whether a physician cleared somebody for work, exposure-prone procedures included where it holds
    them, and no review of that is due."""
    if decision is None or decision.due(on):
        return False
    fit = decision.outcome == "fit" and decision.restriction == "none"
    of_them = exposure_prone != "yes" or decision.facts.get("exposure_prone") == "yes"
    return fit and of_them and decision.facts.get("occasion") == "clearance"


def _found_since(person: Person, decision: FitnessDecision) -> bool:
    """Whether anything but a plain negative about these infections was written down, or set right, after a
    decision."""
    return any(
        each.said_at > decision.at
        and each.kind in (Kind.RESULT_RECORDED, Kind.HISTORY_RECORDED)
        and (each.body.get("test") in SCREENED or each.body.get("disease") in INFECTIONS)
        and each.body.get("word") != "negative"
        for each in person.evidence
    )


def _state(
    person: Person, each: Screened, whole: Screening, on: date, asked: Asked, cleared: bool
) -> DiseaseState:
    confirmed = all(reason.confirmed for reason in each.because)
    if each.says == "missing":
        return _test(person, each, whole, on, asked, confirmed=confirmed)
    if each.says == "refused":
        return DiseaseState(
            each.infection, False, each.words, open=DECLINED, confirmed=confirmed
        )  # fmt: skip
    if each.says == "physician" and not cleared:
        return DiseaseState(
            each.infection,
            False,
            each.words,
            (Lack(Need.PHYSICIAN, PHYSICIAN),),
            open=f"{PHYSICIAN}.",
            confirmed=confirmed,
        )
    if each.says == "not_asked" and each.test == "refer" and not cleared:
        # The rule set is silent: that is no yes.
        return DiseaseState(each.infection, None, PHYSICIAN, confirmed=confirmed)
    return DiseaseState(each.infection, True, each.words, confirmed=confirmed)


def _test(
    person: Person, each: Screened, whole: Screening, on: date, asked: Asked, *, confirmed: bool
) -> DiseaseState:
    """A test that is missing; a day is said where a negative result would leave nothing open."""
    test = INFECTIONS[each.infection][each.test in OF_THE_VIRUS]
    day = _draw_on(person, on, asked.protocol) if test == HBSAG else on
    what = f"{BEFORE}, {inside(each.step)}: {inside(TESTS[test][1])}"
    lack = Lack(Need.TEST, what, test, on, day, told=TOLD)
    # Of a later day than anything on record.
    later = on.toordinal() + 1
    negative = Result(test, "negative", below=False, validated=True, days=(later, later))
    then = screened(as_if(person, "yes"), on, whole.rule_set, [negative])
    shown = then is not None and any(
        after.infection == each.infection and after.says == "shown" for after in then.infections
    )
    if not shown:
        why = f"{BEFORE} the physician decides once {inside(TESTS[test][1])} is known."
        return DiseaseState(
            each.infection, False, each.words, (lack,), open=why, confirmed=confirmed
        )
    return DiseaseState(
        each.infection,
        False,
        each.words,
        (lack,),
        _result_on(day, asked),
        _result_on(on, asked),
        PROVIDED,
        confirmed=confirmed,
    )


def _result_on(drawn: date, asked: Asked) -> date:
    return date.fromordinal(step(drawn.toordinal(), asked.turnaround))


def _draw_on(person: Person, on: date, protocol: str) -> date:
    """The first day from which HBsAg is not that of a vaccine."""
    try:
        wait = schedule(protocol).tests_after_dose.after
    except LookupError:
        return on
    doses = [each for each in evidence_of(person, on)[0] if isinstance(each, DoseGiven)]
    days = [step(min(each.when.last, on).toordinal(), wait) for each in doses]
    return max(on, date.fromordinal(max(days, default=0) or on.toordinal()))


def one_sample(lacks: Iterable[Lack]) -> Mapping[Lack, Lack]:
    """HBsAg that hepatitis B and the procedures ask for on one day: of either the one thing to do."""
    asked = dict.fromkeys(lack for lack in lacks if lack.item == HBSAG)
    theirs = [lack for lack in asked if lack.told]
    mine = [lack for lack in asked if not lack.told]
    if not mine or not theirs or mine[0].recommended != theirs[0].recommended:
        return {}
    head = theirs[0].what.partition(": ")[0]
    one = replace(theirs[0], what=f"{head}: {inside(mine[0].what)}", earliest=mine[0].earliest)
    return {mine[0]: one, theirs[0]: one}
