"""Screening for blood-borne viruses before exposure-prone procedures, by the rule set of a site.

What comes out is a proposal: a physician decides it. Nothing here says that somebody is infected because a
test is missing or refused.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cache

from thimble.clinical.library import protocol
from thimble.clinical.screening.vocabulary import vocabulary
from thimble.protocol import Evaluation
from thimble.protocol.finding import Reason

FOLDER = "screening"
INFECTIONS: Mapping[str, tuple[str, str]] = {
    "hepatitis_b": ("hbsag", "hbv_dna"),
    "hepatitis_c": ("anti_hcv", "hcv_rna"),
    "hiv": ("hiv_ag_ab", "hiv_rna"),
}
"""Infection to its first test and the test of the virus itself."""


@dataclass(frozen=True, slots=True)
class Result:
    """One result.

    `below`: its number is below what the test can tell. `validated`: its sample was identified and
    validated, for certain. `days` are ordinals: the first and the last day that it can be of.
    """

    test: str
    word: str | None
    below: bool
    validated: bool
    days: tuple[int, int]


@dataclass(frozen=True, slots=True)
class Screened:
    """What one infection comes to: ids of the tables, their words, and why."""

    infection: str
    says: str
    words: str
    test: str
    step: str
    because: tuple[Reason, ...]


@dataclass(frozen=True, slots=True)
class Screening:
    """What the three propose together, by which rule set. `other_work` says whether work without
    exposure-prone procedures may begin meanwhile: `may_begin` or `physician`."""

    rule_set: str
    clearance: str
    words: str
    other_work: str
    infections: tuple[Screened, ...]
    because: tuple[Reason, ...]

    @property
    def confirmed(self) -> bool:
        """Whether every rule used was read in its own document."""
        every = (*self.because, *(r for each in self.infections for r in each.because))
        return all(reason.confirmed for reason in every)


def screen(
    rule_set: str, exposure_prone: str, results: Sequence[Result], refused: frozenset[str]
) -> Screening:
    """What is shown, missing or refused.

    Args:
        rule_set: a value of that fact; it is never assumed.
        exposure_prone: `yes`, `no` or `not_known`.
        results: results of the tests of `INFECTIONS`.
        refused: infections whose test is refused and was not done since.

    Raises:
        ValueError: there is no such rule set.
    """
    vocabulary()["rule_set"].check(rule_set)
    infections = tuple(
        _screened(rule_set, exposure_prone, infection, results, infection in refused)
        for infection in INFECTIONS
    )
    says = tuple((f"{each.infection}_says", each.says) for each in infections)
    found = _put((("exposure_prone", exposure_prone), *says)).findings
    clearance, because = found["clearance"].value or "", found["clearance"].because
    words, other = _label("clearance", clearance), found["other_work"].value or ""
    return Screening(rule_set, clearance, words, other, infections, because)


def _screened(
    rule_set: str, exposure_prone: str, infection: str, results: Sequence[Result], refused: bool
) -> Screened:
    first, virus = INFECTIONS[infection]
    found = _put(
        (
            ("rule_set", rule_set),
            ("exposure_prone", exposure_prone),
            ("infection", infection),
            ("marker", _marker([r for r in results if r.test == first])),
            ("load", _load([r for r in results if r.test == virus])),
            ("offer", "declined" if refused else "open"),
        )
    ).findings
    says, test = found["says"].value or "", found["test"].value or ""
    words, step = _label("says", says), _label("test", test)
    return Screened(infection, says, words, test, step, found["says"].because)


@cache
def _put(facts: tuple[tuple[str, str], ...]) -> Evaluation:
    return protocol(FOLDER).evaluate(dict(facts))


def _label(output: str, value: str) -> str:
    return str((protocol(FOLDER).outputs[output].labels or {}).get(value, value))


def _marker(results: Sequence[Result]) -> str:
    words = {r.word for r in results}
    if "positive" in words:
        return "differing" if "negative" in words else "positive"
    negative = [r for r in results if r.word == "negative"]
    if not negative:
        return "indeterminate" if results else "none"
    # What says neither is settled only by a negative result that is certainly later.
    since = max(r.days[0] for r in negative)
    if any(r.word != "negative" and r.days[1] >= since for r in results):
        return "indeterminate"
    return "negative_validated" if any(r.validated for r in negative) else "negative"


def _load(results: Sequence[Result]) -> str:
    """Detected is what says so, and any number that is not below what the test can tell."""
    absent = [r for r in results if r.word == "negative" or (r.word is None and r.below)]
    if len(absent) < len(results):
        return "detected"
    if not absent:
        return "none"
    valid = any(r.validated for r in absent)
    return "not_detected_validated" if valid else "not_detected"
