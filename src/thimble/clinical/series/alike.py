"""People whose doses stand alike are judged once.

Which doses count hangs on comparisons alone, and these fall into the classes of `marks`: most people of a
workforce share the *pattern* of somebody else. The patterns of a sample are judged by `judge_many`; whoever
has one of them is looked up. Unknown are those whose pattern the sample did not have or that is unsure.
"""

from __future__ import annotations

import numpy as np

from .doses_many import Bools, Doses, Ints, Places
from .judging_many import judge_many
from .marks import APART_BITS, DOSE_BITS, PLACES, UNSURE_APART, UNSURE_DOSE
from .schedule import Schedule
from .standing import Standing

_SLOT_BITS = 16
_MIX = np.uint64(0x9E3779B97F4A7C15)
"""Spreads patterns over slots; any odd number with well mixed bits does."""
_NO_PATTERN = -1
# The last dose of a pattern tells only whether, and how far off, there is another.
_SPANS = tuple(max(PLACES - 1 - place, 1) for place in range(PLACES))
_WIDTHS = tuple(DOSE_BITS + APART_BITS * spans for spans in _SPANS)
_SHIFTS = tuple(sum(_WIDTHS[:place]) for place in range(PLACES))


def _kept(place: int) -> Ints:
    """By number of doses, which bits of the mark at a place tell of doses that there are."""
    after = np.clip(np.arange(PLACES + 2) - place - 1, -1, _SPANS[place])
    return np.where(after < 0, 0, (1 << (DOSE_BITS + APART_BITS * after)) - 1).astype(np.int64)


_KEPT = tuple(_kept(place) for place in range(PLACES))


def patterns(doses: Doses) -> Places:
    """One number a person; people with the same are judged alike."""
    found = np.zeros(len(doses.count), np.int64)
    count = np.minimum(doses.count, PLACES + 1)
    for place in range(PLACES):
        mark = np.bitwise_and(doses.at(doses.mark, place), _KEPT[place].take(count))
        found |= mark << _SHIFTS[place]
    return found


def _unsure(pattern: Places) -> Bools:
    found = np.zeros(len(pattern), np.bool_)
    for shift, spans in zip(_SHIFTS, _SPANS, strict=True):
        mark = pattern >> shift
        found |= (mark & UNSURE_DOSE) == UNSURE_DOSE
        for n in range(spans):
            apart = mark >> (DOSE_BITS + n * APART_BITS)
            found |= (apart & UNSURE_APART) == UNSURE_APART
    return found


def _slots(pattern: Places) -> Places:
    return ((pattern.view(np.uint64) * _MIX) >> np.uint64(64 - _SLOT_BITS)).astype(np.int64)


class Alike:
    """Patterns with what was judged of them."""

    def __init__(self, pattern: Places, standing: Standing) -> None:
        """Args: the patterns; of two in one slot of the table the first stays."""
        # The first place is for whoever is not known.
        self._pattern = np.append(_NO_PATTERN, pattern)
        self._standing = Standing.joined((Standing.unknown(1), standing))
        self._table = np.zeros(1 << _SLOT_BITS, np.int32)
        self._table[_slots(pattern)[::-1]] = np.arange(len(pattern), 0, -1)

    def judge(self, doses: Doses) -> Standing:
        """Where everybody stands of whom it is known."""
        pattern = patterns(doses)
        place = self._table.take(_slots(pattern))
        known = self._pattern.take(place) == pattern
        known &= self._standing.settled.take(place) | (doses.count <= PLACES)
        return self._standing.only(place * known)


def learn(doses: Doses, plan: Schedule) -> Alike:
    """The patterns of a sample: of everybody's doses, and of those after the first series."""
    pattern, standing = _judged(doses, plan)
    first = Alike(pattern, standing).judge(doses)
    some = np.flatnonzero((first.first >= 0) & (first.first + 1 < doses.count))
    own, done = doses.only(some), first.first.take(some)
    more, second = _judged(own.after(done + 1, own.at(own.high, done) + 1), plan)
    new = np.flatnonzero(~np.isin(more, pattern))
    return Alike(np.append(pattern, more[new]), Standing.joined((standing, second.only(new))))


def _judged(doses: Doses, plan: Schedule) -> tuple[Places, Standing]:
    """Each sure pattern once, the commonest first, and what `judge_many` says of it."""
    pattern, who, often = np.unique(patterns(doses), return_index=True, return_counts=True)
    order = np.argsort(-often)
    order = order[~_unsure(pattern[order])]
    return pattern[order], judge_many(doses.only(who[order]).up_to(PLACES), plan)
