"""What is measured, in which units, and what can be at all: read from `plausible.toml`."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum
from functools import cache
from importlib.resources import files
from typing import Any, Literal

FILE = "plausible.toml"

KindOf = Literal["marker", "load", "titre", "number", "word"]


class Analyte(StrEnum):
    """What a result is of."""

    HIV_AG_AB = "hiv_ag_ab"
    HIV_DIFFERENTIATION = "hiv_differentiation"
    HIV_RNA = "hiv_rna"
    HBSAG = "hbsag"
    ANTI_HBS = "anti_hbs"
    ANTI_HBC_TOTAL = "anti_hbc_total"
    ANTI_HBC_IGM = "anti_hbc_igm"
    HBEAG = "hbeag"
    HBV_DNA = "hbv_dna"
    ANTI_HCV = "anti_hcv"
    HCV_RNA = "hcv_rna"
    ALT = "alt"
    CREATININE = "creatinine"
    PREGNANCY = "pregnancy"


HIV = (Analyte.HIV_AG_AB, Analyte.HIV_DIFFERENTIATION, Analyte.HIV_RNA)
HBV = (
    Analyte.HBSAG, Analyte.ANTI_HBC_TOTAL, Analyte.ANTI_HBC_IGM, Analyte.ANTI_HBS,
    Analyte.HBEAG, Analyte.HBV_DNA,
)  # fmt: skip
HCV = (Analyte.ANTI_HCV, Analyte.HCV_RNA)


@dataclass(frozen=True, slots=True)
class Measure:
    """How an analyte is reported; `units` maps each unit accepted to its factor to `unit`.

    `low` and `high` are inclusive, in `unit`; a value outside is held for a person. `by_range`: what it
    means depends on the laboratory's own reference range, which is read with it.
    """

    analyte: Analyte
    kind: KindOf
    name: str
    unit: str = ""
    units: Mapping[str, float] = field(default_factory=dict)
    low: float = 0.0
    high: float = float("inf")
    source: str = ""
    standing: str = ""
    by_range: bool = False

    def can_be(self, number: float, unit: str) -> bool:
        """Whether a number in one of `units` lies within what can be at all."""
        return self.low <= number * self.units[unit] <= self.high


@cache
def measures() -> Mapping[Analyte, Measure]:
    """Every analyte, read once.

    Raises:
        ValueError: the shipped file does not describe exactly the analytes there are.
    """
    text = (files("thimble.clinical.serology") / FILE).read_text(encoding="utf-8")
    return parse_measures(text, f"serology/{FILE}")


def parse_measures(text: str, where: str) -> Mapping[Analyte, Measure]:
    """The analytes of a TOML text; the header of `plausible.toml` describes its keys.

    Raises:
        ValueError: an analyte is missing or not known, or a key does not fit.
    """
    read: dict[str, Any] = tomllib.loads(text)
    if set(read) != set(Analyte):
        odd = sorted(set(read) ^ set(Analyte))
        raise ValueError(f"{where}: describe exactly the analytes there are; see {', '.join(odd)}")
    try:
        return {Analyte(id_): Measure(Analyte(id_), **spec) for id_, spec in read.items()}
    except TypeError as error:
        raise ValueError(f"{where}: {error}") from error


def name_of(analyte: Analyte) -> str:
    """As sentences call it: "total anti-HBc"."""
    return measures()[analyte].name
