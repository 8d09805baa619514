"""The same answers for a whole workforce: arrays in, arrays out, the rules of `clear` throughout.

People are taken in blocks that fit the processor's cache, as many at a time as there are cores. Most share
the pattern of their doses with somebody and are looked up (`alike`); the rest are judged by their own
doses in a second pass. A few are answered one by one: immunoglobulin, two doses of one date.
"""

from __future__ import annotations

import os
from concurrent.futures import ThreadPoolExecutor
from datetime import date
from functools import partial

import numpy as np

from .alike import learn
from .cohort_arrays import (
    CONTRAINDICATED,
    DECLINED,
    DOSE,
    IMMUNITY,
    IMMUNOGLOBULIN,
    MARKER,
    NEXT_STEP,
    OTHER,
    TITRE,
    Answers,
    Cohort,
    gather,
)  # fmt: skip
from .cohort_block import Rows, answer_block, doses_in
from .deciding import SIZES
from .doses_many import PRODUCTS, Places
from .judging_many import judge_many
from .remembered import places_of
from .schedule import Schedule, schedule
from .second_many import Judge

__all__ = (
    "CONTRAINDICATED", "DECLINED", "DOSE", "IMMUNITY", "IMMUNOGLOBULIN", "MARKER", "NEXT_STEP", "OTHER",
    "PRODUCTS", "TITRE", "Answers", "Cohort", "clear_many", "gather", "situation_of",
)  # fmt: skip

BLOCK = 1 << 15
"""People taken at once."""
FEW = 1 << 14
"""So many people or fewer are judged by their own doses: learning would cost more than it saves."""
SHARE, SAMPLE = 16, 1 << 16
"""Every so manieth person's pattern is learnt; of very many people about as many as the second says."""


def situation_of(code: int) -> tuple[int, ...]:
    """The situation that a row of `Answers.situation` stands for."""
    return places_of(code, SIZES)


def clear_many(cohort: Cohort, as_of: date, protocol: str = "us") -> Answers:
    """What `clear` says of each person, on a day.

    Raises:
        LookupError: there is no such protocol.
    """
    plan, today = schedule(protocol), as_of.toordinal()
    by_hand = partial(judge_many, plan=plan)
    people = len(cohort.born)
    if people <= FEW:
        return _answered(cohort, by_hand, today, plan)[0]
    sample = cohort.only(np.arange(0, people, max(SHARE, people // SAMPLE)))
    doses, _ = doses_in(Rows.of(sample, 0, len(sample.born)), sample.born, plan)
    alike = learn(doses, plan)
    found, unknown = _answered(cohort, alike.judge, today, plan)
    found.put(unknown, _answered(cohort.only(unknown), by_hand, today, plan)[0])
    return found


def _answered(cohort: Cohort, judge: Judge, today: int, plan: Schedule) -> tuple[Answers, Places]:
    """The answers, and who is not among them because the judge did not know."""
    people = len(cohort.born)
    found = Answers.empty(people)

    def block(first: int) -> Places:
        last = min(first + BLOCK, people)
        return answer_block(cohort, first, last, judge, today, plan, found)

    # A block writes its own people only, and NumPy works outside the interpreter's lock.
    with ThreadPoolExecutor(os.cpu_count()) as cores:
        unknown = list(cores.map(block, range(0, people, BLOCK)))
    return found, np.concatenate([np.zeros(0, np.int64), *unknown])
