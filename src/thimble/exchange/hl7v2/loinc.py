"""Which test a LOINC code names, and the words and units it may be answered in: data files.

This material contains content from LOINC (http://loinc.org), copyright Regenstrief Institute, Inc.
and the LOINC Committee, available at no cost under the licence at http://loinc.org/license.
"""

from __future__ import annotations

import csv
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum
from functools import cache
from importlib.resources import files
from typing import Any, Final

SYSTEMS: Final = frozenset({"ln", "loinc", "2.16.840.1.113883.6.1"})
_FOLDER = files("thimble.exchange.hl7v2")


class Kind(StrEnum):
    """What a test is answered with."""

    PRESENCE = "presence"  # positive, negative, indeterminate
    AMOUNT = "amount"  # a number; `<n` is below n
    RATIO = "ratio"  # a number without meaning in another laboratory: signal to cut-off, index
    VIRAL_LOAD = "viral_load"  # a number; a bare `<n` may be detected or not
    WHICH = "which"  # says which of several was found
    ANTIBODY_ALONE = "antibody_alone"  # has another window than the test with antigen
    UNSURE = "unsure"  # the meaning of the code was not confirmed


@dataclass(frozen=True, slots=True)
class Test:
    """One LOINC code: what it measures. `units` are UCUM, the first one to be emitted."""

    __test__ = False  # not one for pytest

    code: str
    analyte: str
    kind: Kind
    part: str
    units: tuple[str, ...]
    specimen: str
    source: str
    standing: str


@cache
def tests() -> Mapping[str, Test]:
    """Every code that is understood."""
    text = (_FOLDER / "codes.csv").read_text(encoding="utf-8")
    return {
        row["code"]: Test(
            row["code"],
            row["analyte"],
            Kind(row["kind"]),
            row["part"],
            tuple(row["units"].split()),
            row["specimen"],
            row["source"],
            row["standing"],
        )
        for row in csv.DictReader(text.splitlines())
    }


@cache
def words() -> Mapping[str, Any]:
    """The closed lists of words, flags, answer codes and units."""
    return tomllib.loads((_FOLDER / "words.toml").read_text(encoding="utf-8"))


def is_loinc(system: str) -> bool:
    """Whether this is a name of the LOINC system.

    >>> is_loinc("LN"), is_loinc("L")
    (True, False)
    """
    return system.strip().casefold() in SYSTEMS
