"""What the markers of infection say, read by the tables of `protocols/serology`."""

from __future__ import annotations

from datetime import UTC, datetime
from functools import cache, lru_cache

from thimble.clinical.serology import Analyte, Quantity, Result, Status, Word, tables
from thimble.clinical.serology.tables import ask, code
from thimble.clinical.serology.values import anti_hbs_facts, state

from .vocabulary import vocabulary

STATES = ("not_known", "negative", "indeterminate", "positive")
"""Of a marker, as the tables of results have it."""
LEVELS = (
    "not_known", "below_10", "negative_word", "around_10", "positive_word", "indeterminate",
    "from_10_to_100", "at_least_10", "at_least_100",
)  # fmt: skip
"""Of an anti-HBs, as the tables of results have it, the least protective first."""
OPEN = frozenset({"negative_word", "around_10", "positive_word", "indeterminate"})
TEN = frozenset({"from_10_to_100", "at_least_10", "at_least_100"})
MARKERS = (Analyte.HBSAG, Analyte.ANTI_HBC_TOTAL, Analyte.ANTI_HBC_IGM, Analyte.HBV_DNA)

_NO_DAY = datetime(1970, 1, 1, tzinfo=UTC)


def _result(analyte: Analyte, word: Word | None, quantity: Quantity | None) -> Result:
    return Result(analyte, "worker", Status.FINAL, None, _NO_DAY, word, quantity)


@cache
def marker_state(analyte: Analyte, word: Word | None, quantity: Quantity | None) -> int:
    """The place in STATES of a marker or load."""
    return STATES.index(state(_result(analyte, word, quantity)))


@lru_cache(maxsize=4096)
def level_of(word: Word | None, quantity: Quantity | None) -> int:
    """The place in LEVELS of an anti-HBs."""
    facts = anti_hbs_facts(_result(Analyte.ANTI_HBS, word, quantity))
    return LEVELS.index(code(ask(facts), "anti_hbs_level") or "not_known")


@cache
def days_together() -> int:
    """Samples this many days apart are of one visit (table `samples_together`)."""
    return _last_cell("days_between_samples", {}, "samples_together", "yes")


@cache
def days_of_antigen() -> int:
    """HBsAg this many days after a dose can still be the vaccine's (table `antigen_after_vaccine`)."""
    given: dict[str, object] = {"vaccine_before_sample": "yes"}
    return _last_cell("days_since_vaccine", given, "antigen_after_vaccine", "possible")


def _last_cell(fact: str, given: dict[str, object], decision: str, value: str) -> int:
    """The last whole number for which a table says `value`, found at its own thresholds."""
    cuts = tables().index.axes[fact].cuts
    days = sorted({int(cut) + by for cut in cuts for by in (-1, 0) if cut + by >= 0})
    return max(d for d in days if code(ask(given | {fact: float(d)}), decision) == value)


INFECTIONS = vocabulary()["infection"].values
PASSIVE = ("none", "past", "possible")


@cache
def infection(
    hbsag: int,
    core: int,
    igm: int,
    dna: int,
    level: int,
    passive: int,
    *,
    vaccine: bool,
    once: bool,
) -> int:
    """The place in INFECTIONS of what the markers say together.

    Args:
        hbsag, core, igm, dna: places in STATES.
        level: place in LEVELS of the latest anti-HBs.
        passive: place in PASSIVE: whether antibody can come from immunoglobulin.
        vaccine: whether HBsAg can come from a dose of vaccine.
        once: whether HBsAg, not a vaccine's, was found before and is not found now.
    """
    return INFECTIONS.index(_infection(hbsag, core, igm, dna, level, passive, vaccine, once))


def _infection(
    hbsag: int, core: int, igm: int, dna: int, level: int, passive: int, vaccine: bool, once: bool
) -> str:
    found = {"hbsag": hbsag, "anti_hbc_total": core, "anti_hbc_igm": igm, "hbv_dna": dna}
    if not any(found.values()):
        return "not_tested"
    evaluation = ask(
        {fact: STATES[place] for fact, place in found.items()}
        | {
            "anti_hbs": LEVELS[level],
            "vaccine_antigen": "possible" if vaccine else "excluded",
            "passive_antibody": PASSIVE[passive],
        }
    )
    said = code(evaluation, "worker_hbv_infection") or "not_settled"
    if said == "current":
        return said
    # Virus, or an antigen that has gone, speaks louder than a panel that looks past or clear.
    if STATES[dna] == "positive" or once:
        return "suspected"
    if said == "isolated_core" and STATES[dna] == "negative":
        return "isolated_core_worked_up"
    if said in ("none_known", "resolved", "isolated_core"):
        return "unsettled" if STATES[dna] == "indeterminate" else said
    if any(STATES[place] in ("positive", "indeterminate") for place in found.values()):
        step = code(evaluation, "hbv_pattern_next") or ""
        return "suspected" if "refer" in step else "unsettled"
    return "negative_so_far" if STATES[hbsag] == "negative" else "not_tested"
