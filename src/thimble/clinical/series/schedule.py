"""The vaccine schedule of a jurisdiction, read from the files of `protocols/clearance`."""

from __future__ import annotations

import csv
import tomllib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

from thimble.clinical.durations import Duration, parse
from thimble.clinical.library import SHIPPED
from thimble.protocol import STANDINGS

FOLDER = SHIPPED / "clearance"
ANY, NONE = "any", "-"
UNKNOWN = "unknown"
IMMUNOGLOBULIN = "immunoglobulin"


@dataclass(frozen=True, slots=True)
class Product:
    """A product by its CVX number; `unknown` is one too. Ages are those at which it counts."""

    cvx: str
    name: str
    vaccine: bool
    min_age: Duration | None
    before_age: Duration | None
    inadvertent: bool
    source: str
    standing: str
    note: str


@dataclass(frozen=True, slots=True)
class Target:
    """What the dose of that number on a path must meet; None where nothing is asked."""

    dose: int
    products: frozenset[str] | None
    min_age: Duration | None
    before_age: Duration | None
    from_previous: Duration | None
    from_first: Duration | None
    from_second: Duration | None
    allowance: int
    source: str
    standing: str
    note: str


@dataclass(frozen=True, slots=True)
class Recommended:
    """When a dose is recommended beyond the minimum, by the age at the first dose: [`first_from`,
    `first_before`). `not_before` is an age below which it is not offered at all."""

    first_from: Duration | None
    first_before: Duration | None
    not_before: Duration | None
    age: Duration | None
    from_first: Duration | None
    source: str


@dataclass(frozen=True, slots=True)
class Way:
    """One way to a complete series. See the header of `schedule.toml`."""

    id: str
    words: str
    own: bool
    offered: bool
    dialysis: bool
    targets: tuple[Target, ...]
    recommended: Mapping[int, tuple[Recommended, ...]]

    @property
    def products(self) -> frozenset[str] | None:
        """Every product that some dose of the path takes; None where any is."""
        taken = [t.products for t in self.targets]
        return frozenset().union(*(p for p in taken if p)) if all(taken) else None


@dataclass(frozen=True, slots=True)
class Wait:
    """A span with the words of its source."""

    after: Duration
    source: str
    standing: str


@dataclass(frozen=True, slots=True)
class Titre:
    """When a titre counts and when one is due; each counted from the dose named."""

    counts_from: Wait
    due_from: Wait
    window_ends: Wait
    after_immunoglobulin: Wait
    watched: Wait


@dataclass(frozen=True, slots=True)
class Schedule:
    """Everything that the files of a folder say. `allowance` is in days."""

    id: str
    allowance: int
    allowance_source: str
    paths: tuple[Way, ...]
    titre: Titre
    tests_after_dose: Wait


@cache
def products() -> Mapping[str, Product]:
    """The products by CVX number, read once.

    Raises:
        ValueError: the shipped file has a fault: file, line, column.
    """
    where = FOLDER / "products.csv"
    return {
        row["cvx"]: Product(
            row["cvx"],
            row["name"],
            row["kind"] == "vaccine",
            _span(row, "min_age"),
            _span(row, "before_age"),
            row["too_young"] == "inadvertent",
            row["source"],
            row["standing"],
            row["note"],
        )
        for row in _rows(where)
    }


def vaccine_name(cvx: str) -> str:
    """A product in words; a number that is none of these stays readable."""
    known = products().get(cvx)
    return known.name if known else f"CVX {cvx}"


@cache
def schedule(protocol: str) -> Schedule:
    """The schedule that goes with a protocol's id, read once.

    Raises:
        LookupError: there is none; the message lists those there are.
        ValueError: a file has a fault.
    """
    folder = FOLDER / protocol
    if not (folder / "schedule.toml").is_file():
        found = sorted(p.parent.name for p in FOLDER.glob("*/schedule.toml"))
        raise LookupError(
            f"There is no vaccine schedule for {protocol!r}; there is one for {', '.join(found)}."
        )
    read: dict[str, Any] = tomllib.loads((folder / "schedule.toml").read_text(encoding="utf-8"))
    days = int(read["allowance"]["days"])
    targets: dict[str, list[Target]] = {}
    for row in _rows(folder / "doses.csv"):
        own = targets.setdefault(row["path"], [])
        if int(row["dose"]) != len(own) + 1:
            raise ValueError(f"{row['where']}: column dose: doses of a path stand in order from 1")
        own.append(_target(row, days))
    recommended: dict[str, dict[int, tuple[Recommended, ...]]] = {}
    for row in _rows(folder / "recommended.csv"):
        by_dose = recommended.setdefault(row["path"], {})
        dose = int(row["dose"])
        by_dose[dose] = (*by_dose.get(dose, ()), _recommended(row))
    ids = [spec["id"] for spec in read["path"]]
    if set(ids) != set(targets) or not set(recommended) <= set(ids):
        raise ValueError(
            f"{folder.name}: schedule.toml, doses.csv and recommended.csv name other paths"
        )
    paths = tuple(
        Way(**spec, targets=tuple(targets[spec["id"]]), recommended=recommended.get(spec["id"], {}))
        for spec in read["path"]
    )
    return Schedule(
        protocol,
        days,
        read["allowance"]["source"],
        paths,
        Titre(**{key: _wait(spec) for key, spec in read["titre"].items()}),
        _wait(read["infection_tests"]["after_dose"]),
    )


def _wait(spec: Mapping[str, str]) -> Wait:
    return Wait(parse(spec["after"]), spec["source"], spec["standing"])


def _target(row: Mapping[str, str], days: int) -> Target:
    names = None if row["products"] == ANY else frozenset(row["products"].split(", "))
    if names is not None and not names <= set(products()):
        raise ValueError(f"{row['where']}: column products: not a product: {row['products']}")
    return Target(
        int(row["dose"]),
        names,
        _span(row, "min_age"),
        _span(row, "before_age"),
        _span(row, "from_previous"),
        _span(row, "from_first"),
        _span(row, "from_second"),
        days if row["allowance"] == "yes" else 0,
        row["source"],
        row["standing"],
        row["note"],
    )


def _recommended(row: Mapping[str, str]) -> Recommended:
    return Recommended(
        _span(row, "first_from"),
        _span(row, "first_before"),
        _span(row, "not_before"),
        _span(row, "age"),
        _span(row, "from_first"),
        row["source"],
    )


def _span(row: Mapping[str, str], column: str) -> Duration | None:
    if row[column] == NONE:
        return None
    try:
        return parse(row[column])
    except ValueError as error:
        raise ValueError(f"{row['where']}: column {column}: {error}") from error


def _rows(path: Path) -> Iterator[dict[str, str]]:
    """The rows of a file, each with `where` it stands."""
    with path.open(encoding="utf-8", newline="") as file:
        reader = csv.DictReader(file)
        for row in reader:
            where = f"{path.parent.name}/{path.name}, line {reader.line_num}"
            empty = [name for name, cell in row.items() if not cell]
            if empty:
                raise ValueError(f"{where}: column {empty[0]}: is empty; write - for none")
            if row["standing"] not in STANDINGS:
                raise ValueError(f"{where}: column standing: found {row['standing']!r}")
            yield row | {"where": where}
