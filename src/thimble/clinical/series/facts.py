"""From what is documented of one person to the facts that the tables of clearance ask for."""

from __future__ import annotations

from collections.abc import Sequence

from thimble.clinical.serology import Analyte

from .calendar_days import step
from .deciding import BEST, LATEST, LOW, SERIES, SINCE
from .documented import Titre
from .infection import (
    LEVELS,
    MARKERS,
    OPEN,
    PASSIVE,
    STATES,
    TEN,
    days_of_antigen,
    days_together,
    infection,
)
from .judging import Judged, judge
from .schedule import Schedule
from .walking import Given


def passed_over(
    titre: Titre, judged: Judged, serum: Sequence[tuple[int, int]], plan: Schedule
) -> str:
    """Why a titre does not tell of the response, as the rest of a sentence; "" where it does.

    It does after a complete series, late enough after the dose before it, and not perhaps passive.
    """
    if LEVELS[titre.level] == "not_known":
        return "it has no value that can be read"
    if judged.first is None:
        return "the series is not complete"
    if judged.doses[judged.first].low >= titre.high:
        return "it was taken before the series was complete"
    before = max(d.high for d in judged.doses if d.low < titre.high)
    wait = plan.titre.counts_from.after
    if step(before, wait) > titre.low:
        return f"a dose may lie less than {wait.words} before it"
    wait = plan.titre.after_immunoglobulin.after
    if LEVELS[titre.level] in TEN and any(
        low <= titre.high and step(high, wait) > titre.low for low, high in serum
    ):
        return f"immunoglobulin given less than {wait.words} before it may be what was measured"
    return ""


def second_series(
    judged: Judged,
    counting: Sequence[Titre],
    born: int,
    today: int,
    plan: Schedule,
    dialysis: bool,
) -> tuple[Judged | None, Titre | None]:
    """The doses after the first series judged as a second one, and the titre that asked for it."""
    if judged.first is None:
        return None, None
    low = min(
        (t for t in counting if LEVELS[t.level] == "below_10"),
        key=lambda t: (t.low, t.high),
        default=None,
    )
    # What may be another record of the completing dose begins nothing.
    end = judged.doses[judged.first].high
    rest = [d for d in judged.doses[judged.first + 1 :] if d.low > end]
    second = judge(rest, born, today, plan, dialysis=dialysis)
    # Without a titre that asked for them, doses are a second series only once they make a whole one.
    if second.complete or low is None:
        return (second if second.complete else None), low
    asked = [d for d in rest if d.low >= low.low]
    return judge(asked, born, today, plan, dialysis=dialysis), low


def since_place(second: Judged | None, low: Titre | None) -> int:
    """How many doses a second series has since the titre that asked for one. Where it is whole without
    them, every dose since that titre counts, the further ones too."""
    if second is None or low is None:
        return SINCE.index("none")
    found = second.counted
    if second.complete:
        found = sum(d.low >= low.low for d in second.doses)
    return min(found, len(SINCE) - 1)


def series_place(judged: Judged, second: Judged | None) -> int:
    if not judged.doses:
        return SERIES.index("none")
    if not judged.complete:
        return SERIES.index("incomplete")
    return SERIES.index("two_complete" if second and second.complete else "complete")


def best_place(counting: Sequence[Titre]) -> int:
    if not counting:
        return BEST.index("none")
    level = LEVELS[max(t.level for t in counting)]
    return BEST.index("open" if level in OPEN else level)


def latest_place(latest: Titre | None) -> int:
    if latest is None:
        return LATEST.index("none")
    level = LEVELS[latest.level]
    if level in OPEN:
        return LATEST.index("open")
    return LATEST.index("ten_or_more" if level in TEN else level)


def dose_after(judged: Judged, day: int) -> bool:
    """Whether a dose follows the first series on or after a day; blood is drawn before a dose."""
    start = 0 if judged.first is None else judged.first + 1
    return any(d.low >= day for d in judged.doses[start:])


def low_place(titre: Titre | None, doses: Sequence[Given], plan: Schedule) -> int:
    if titre is None:
        return LOW.index("none")
    before = max(d.low for d in doses if d.low < titre.high)
    in_window = titre.high <= step(before, plan.titre.window_ends.after)
    return LOW.index("in_window" if in_window else "late")


def infection_places(
    markers: Sequence[tuple[int, int, int, int]],
    titres: Sequence[Titre],
    doses: Sequence[Given],
    serum: Sequence[tuple[int, int]],
    last: int | None,
    plan: Schedule,
) -> tuple[int, int]:
    """The places of `infection` and `tested_since`."""
    positive, negative = STATES.index("positive"), STATES.index("negative")
    indeterminate = STATES.index("indeterminate")
    visit = max((high for _, _, high, _ in markers), default=0)
    kept: list[tuple[int, int, int]] = []
    for which in range(len(MARKERS)):
        own = [(high, low, place) for n, low, high, place in markers if n == which]
        if not own:
            kept.append((0, 0, 0))
            continue
        high, low, _ = max(own)
        said = {place for last, first, place in own if (last, first) == (high, low)}
        place = said.pop() if len(said) == 1 else indeterminate
        # What is negative speaks of its own visit only; IgM fades, so that a positive one does too.
        lasting = place == positive and MARKERS[which] is not Analyte.ANTI_HBC_IGM
        together = visit - low <= days_together()
        kept.append((low, high, place) if lasting or together else (0, 0, 0))
    (antigen_low, antigen_high, antigen), (core_low, core_high, core) = kept[0], kept[1]

    def vaccine(low: int, high: int) -> bool:
        return any(d.low <= high and low - d.high <= days_of_antigen() for d in doses)

    found_before = antigen != positive and any(
        n == 0 and place == positive and not vaccine(low, high) for n, low, high, place in markers
    )
    samples = [(core_low, core_high)] if core else []
    samples += [(titres[-1].low, titres[-1].high)] if titres else []
    passive = PASSIVE.index("none")
    if serum:
        wait = plan.titre.after_immunoglobulin.after
        passive = PASSIVE.index("past")
        if not samples or any(
            low <= end and step(high, wait) > start for low, high in serum for start, end in samples
        ):
            passive = PASSIVE.index("possible")
    said_infection = infection(
        antigen,
        core,
        kept[2][2],
        kept[3][2],
        titres[-1].level if titres else 0,
        passive,
        vaccine=antigen == positive and vaccine(antigen_low, antigen_high),
        once=found_before,
    )
    since = (
        antigen >= negative
        and core >= negative
        and (last is None or min(antigen_low, core_low) >= last)
    )
    return said_infection, int(since)
