"""Hepatitis B towards the first day, by the clearance tables."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from datetime import date

from thimble.clinical import series
from thimble.clinical.durations import Duration
from thimble.clinical.readiness import DiseaseState, Lack, Need, ordinal
from thimble.clinical.saying import calendar_day, inside
from thimble.clinical.series import Cleared, DoseGiven, Evidence
from thimble.clinical.series.calendar_days import step
from thimble.clinical.series.deciding import FACTS, VALUES, rules
from thimble.clinical.series.projecting import DOSES, Planned, Projection, project
from thimble.clinical.series.schedule import schedule
from thimble.people import fold
from thimble.people.counselled import told_already
from thimble.people.hepatitis_b import DISEASE, WEAK_IMMUNITY, evidence_of, subject

VACCINE = "Hepatitis B vaccine"
TO_THE_PHYSICIAN = frozenset({"refer", "counsel_non_responder"})
"""Next steps that no day follows from."""
_ASK = Lack(
    Need.RECORD,
    "Hepatitis B: ask whether anything weakens the immune system",
    WEAK_IMMUNITY,
    told="A few questions at occupational medicine",
)


def hepatitis_b_state(
    person: fold.Person,
    born: date | None,
    on: date,
    protocol: str,
    turnaround: Duration,
    more: tuple[Evidence, ...] = (),
) -> DiseaseState:
    """The state on a day; `more` is evidence that is only supposed."""
    if born is None:
        return _open("Cannot be judged", "The birth date is missing: enter it.")
    told, undated = evidence_of(person, on)
    told += more
    who = subject(person, born, on)
    try:
        usual, begins = _projected(who, told, on, protocol, turnaround)
    except LookupError:
        return _open("Cannot be judged", f"There are no clearance tables for {protocol}.")
    except ValueError as fault:
        return _open("Cannot be judged", str(fault))
    confirmed = all(reason.confirmed for reason in usual.cleared.decision.because)
    words = _words(usual.cleared, protocol)
    if undated:
        words += f"; {undated} without a date could not be judged"
    if usual.satisfied and begins == who:
        return DiseaseState(DISEASE, True, words, confirmed=confirmed)
    stopped = "" if usual.stopped is None else usual.stopped.next_step
    if not usual.planned and (talk := told_already(person, on, protocol, stopped)) is not None:
        # The vaccine can do no more. Whether that is enough for the work is nobody's but the physician's.
        day = calendar_day(date.fromisoformat(talk.body["on"]))
        return DiseaseState(DISEASE, None, f"{words}; counselled {day}", confirmed=confirmed)
    lacks = _lacks(usual, told, on, protocol, asks=begins != who)
    if usual.ready_on is None:
        why = _why(usual, protocol)
        if usual.stopped is not None and usual.stopped.next_step in TO_THE_PHYSICIAN:
            lacks += (_for_the_physician(usual.stopped, protocol),)
        return DiseaseState(DISEASE, False, words, lacks, open=why, confirmed=confirmed)
    soon = project(begins, told, on, protocol, turnaround, "earliest")
    return DiseaseState(
        DISEASE,
        False,
        words,
        lacks,
        usual.ready_on,
        soon.ready_on,
        _provided(usual, who),
        confirmed=confirmed,
    )


def hepatitis_b_steps(
    person: fold.Person, born: date | None, on: date, protocol: str, turnaround: Duration
) -> tuple[Lack, ...]:
    """What is to be done by a day and the first step after it; none where nothing can be planned."""
    if born is None:
        return ()
    told, _ = evidence_of(person, on)
    try:
        who = subject(person, born, on)
        found, begins = _projected(who, told, on, protocol, turnaround, until=on)
    except (LookupError, ValueError):
        return ()
    return _lacks(found, told, on, protocol, asks=begins != who)


def _projected(
    who: series.Person,
    told: list[Evidence],
    on: date,
    protocol: str,
    turnaround: Duration,
    until: date | None = None,
) -> tuple[Projection, series.Person]:
    """What is to be done, and of whom: where the tables send somebody to the physician only because nobody
    asked about the immune system, of the same person if nothing weakens it."""
    found = project(who, told, on, protocol, turnaround, until=until)
    refers = found.stopped is not None and found.stopped.next_step == "refer"
    if not refers or who.immunocompromised != "unknown":
        return found, who
    normal = replace(who, immunocompromised="no")
    then = project(normal, told, on, protocol, turnaround, until=until)
    return (then, normal) if then.stopped is None or then.planned else (found, who)


def _window_ends(told: Iterable[Evidence], on: date, protocol: str) -> date | None:
    """The last day of the time in which a titre is taken after the last dose; None without any dose."""
    days = [min(each.when.last, on) for each in told if isinstance(each, DoseGiven)]
    after = schedule(protocol).titre.window_ends.after
    return date.fromordinal(step(max(days).toordinal(), after)) if days else None


def _lacks(
    found: Projection, told: Iterable[Evidence], on: date, protocol: str, *, asks: bool
) -> tuple[Lack, ...]:
    lacks = tuple(_lack(move, protocol) for move in found.planned)
    if lacks and lacks[0].span:
        # No dose comes before it: its time is counted from one that lies behind.
        lacks = (replace(lacks[0], span_ends=_window_ends(told, on, protocol)), *lacks[1:])
    return (replace(_ASK, earliest=on, recommended=on), *lacks) if asks else lacks


def _open(words: str, why: str) -> DiseaseState:
    return DiseaseState(DISEASE, False, words, (Lack(Need.RECORD, why.rstrip(".")),), open=why)


def _words(cleared: Cleared, protocol: str) -> str:
    labels = rules(protocol).outputs["immunity"].labels or {}
    count = cleared.valid_doses
    doses = f"{count} {'dose counts' if count == 1 else 'doses count'}"
    if cleared.immunity == "not_known":
        return f"Immunity not known, {doses}"
    said = str(labels.get(cleared.immunity, cleared.immunity))
    return said if cleared.immunity != "not_immune" else f"{said}, {doses}"


def _lack(move: Planned, protocol: str) -> Lack:
    if move.step == "titre":
        waits = schedule(protocol).titre
        start, end = waits.due_from.after, waits.window_ends.after
        first = str(start.count) if start.unit == end.unit else start.words
        span = f"{first} to {end.words} after the last dose"
        return Lack(
            Need.TEST, "Anti-HBs titre", "anti_hbs", move.counts_from, move.day, span=span
        )  # fmt: skip
    if move.step == "infection_tests":
        what = "HBsAg and total anti-HBc"
        return Lack(Need.TEST, what, "hbsag", move.counts_from, move.day)
    said = {
        "dose": f"{ordinal(move.number)} dose of hepatitis B vaccine",
        "second_series": f"{ordinal(move.number)} dose of a second series of hepatitis B vaccine",
        "challenge_dose": "One dose of hepatitis B vaccine, then a titre",
        "booster": "One further dose of hepatitis B vaccine",
    }[move.step]
    return Lack(Need.DOSE, said, VACCINE, move.counts_from, move.day)


def _for_the_physician(cleared: Cleared, protocol: str) -> Lack:
    label = str((rules(protocol).outputs["next_step"].labels or {}).get(cleared.next_step, ""))
    return Lack(Need.PHYSICIAN, f"Hepatitis B: {inside(label)}" if label else "To the physician")


def _why(found: Projection, protocol: str) -> str:
    """Why no day can be said."""
    stopped = found.stopped or found.cleared
    place = FACTS.index("vaccination")
    vaccination = VALUES[place][stopped.situation[place]]
    if vaccination == "declined" and stopped.next_step not in DOSES:
        return "Hepatitis B vaccine was declined; the offer stands."
    if vaccination == "contraindicated":
        return "Hepatitis B vaccine is contraindicated: the physician decides."
    label = str((rules(protocol).outputs["immunity"].labels or {}).get(stopped.immunity, ""))
    if found.planned and found.planned[-1].step == "infection_tests":
        return "Hepatitis B: what comes next depends on HBsAg and total anti-HBc."
    if found.planned and found.planned[-1].step == "titre":
        return "Hepatitis B: what comes next depends on the titre."
    return f"Hepatitis B, {inside(label)}: the physician decides."


def _provided(found: Projection, asked: series.Person) -> str:
    parts = []
    if found.supposed.panel:
        parts.append("HBsAg and anti-HBc are negative")
    if found.supposed.at_least is not None:
        parts.append(f"the titre is {found.supposed.at_least:g} or more")
    if found.supposed.person != asked:
        parts.append("nothing weakens the immune system")
    return " and ".join(parts)
