"""What the markers of infection say of many people."""

from __future__ import annotations

from functools import cache

import numpy as np

from thimble.clinical.serology import Analyte

from .calendar_days import Days
from .doses_many import SAID, Bools, Bytes, Doses, Ints, Places, key_of, parts, put_in_order
from .infection import (
    LEVELS,
    MARKERS,
    PASSIVE,
    STATES,
    days_of_antigen,
    days_together,
    infection,
)
from .remembered import Remembered, code_of
from .titres_many import last_of_each

_NEGATIVE, _POSITIVE = STATES.index("negative"), STATES.index("positive")
_ANTIGEN, _CORE = MARKERS.index(Analyte.HBSAG), MARKERS.index(Analyte.ANTI_HBC_TOTAL)
_IGM = MARKERS.index(Analyte.ANTI_HBC_IGM)
_NOT_PASSIVE = PASSIVE.index("none")
_SIZES = (*(len(STATES) for _ in MARKERS), len(LEVELS), 2, 2)


def infection_many(
    which: Ints, who: Ints, state: Ints, low: Days, high: Days, doses: Doses, level: Bytes, end: Days
) -> tuple[Ints, Bools]:  # fmt: skip
    """The places of `infection` and `tested_since`.

    Args:
        which, who, state, low, high: shape (m,), one a result; `who` ascends, `which` counts through
            MARKERS.
        level: shape (n,), of each person's latest titre.
        end: shape (n,), the latest day of any dose, 0 for none.
    """
    people = len(doses.born)
    # Person and marker together are what one result follows another of.
    key = key_of(who * len(MARKERS) + which, high, low, state)
    put_in_order(key, len(MARKERS))
    own, high, low, state = parts(key)
    who, which = own // len(MARKERS), own % len(MARKERS)
    ends = last_of_each(own)
    last = state.take(ends)
    last[_disagree(key, ends)] = STATES.index("indeterminate")
    whose, marker, begun = who.take(ends), which.take(ends), low.take(ends)
    visit = np.zeros(people, np.int32)
    np.maximum.at(visit, whose, high.take(ends))
    # What is negative speaks of its own visit only; IgM fades, so that a positive one does too.
    stays = (last == _POSITIVE) & (marker != _IGM)
    stays |= visit.take(whose) - begun <= days_together()
    shape = (len(MARKERS), people)
    kept, since = np.zeros(shape, np.uint8), np.zeros(shape, np.int32)
    at = np.flatnonzero(stays)
    slot = marker.take(at) * people + whose.take(at)
    kept.reshape(-1)[slot], since.reshape(-1)[slot] = last.take(at), begun.take(at)

    vaccine, once = (np.zeros(people, np.bool_) for _ in range(2))
    some = ends[(marker == _ANTIGEN) & (last == _POSITIVE)]
    vaccine[who[some]] = _of_vaccine(doses, who[some], low[some], high[some])
    some = np.flatnonzero((which == _ANTIGEN) & (state == _POSITIVE))
    some = some[kept[_ANTIGEN, who[some]] != _POSITIVE]
    once[who[some[~_of_vaccine(doses, who[some], low[some], high[some])]]] = True
    panel = code_of((*kept, level, vaccine, once), _SIZES)
    both = (kept[_ANTIGEN] >= _NEGATIVE) & (kept[_CORE] >= _NEGATIVE)
    tested_since = both & (np.minimum(since[_ANTIGEN], since[_CORE]) >= end)
    return _infections()(panel), tested_since


@cache
def _infections() -> Remembered:
    def ask(places: tuple[int, ...]) -> int:
        *states, level, vaccine, once = places
        antigen, core, igm, dna = states
        return infection(
            antigen, core, igm, dna, level, _NOT_PASSIVE, vaccine=bool(vaccine), once=bool(once)
        )

    return Remembered(_SIZES, ask)


def _disagree(key: Places, ends: Places) -> Places:
    """Which of the latest results others of the same days contradict."""
    odd = np.flatnonzero(((key[1:] ^ key[:-1]) < SAID) & (key[1:] != key[:-1]))
    place = np.searchsorted(ends, odd)
    latest = (key[ends[place]] ^ key[odd]) < SAID
    return place[latest]


def _of_vaccine(doses: Doses, who: Places, low: Days, high: Days) -> Bools:
    """Whether antigen in samples of these people can come from a dose."""
    found = np.zeros(len(who), np.bool_)
    for k in range(int(doses.count[who].max(initial=0))):
        row = doses.begin[who] + k
        given = (k < doses.count[who]) & (doses.low.take(row, mode="clip") <= high)
        found |= given & (low - doses.high.take(row, mode="clip") <= days_of_antigen())
    return found
