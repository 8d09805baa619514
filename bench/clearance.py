"""Clearance of a whole workforce through the full rules, beside the plain rule in DuckDB and Polars.

The peers answer less: three doses of any product with the three minimum intervals and a last titre of 10 or
more. Everybody is invented: dates known to the day or the month, several products, refusals, markers.
"""

from __future__ import annotations

import resource
import statistics
import time
from collections.abc import Callable
from dataclasses import dataclass
from datetime import date

import duckdb
import numpy as np
import polars as pl

from thimble.clinical.series import DoseGiven, PartialDate, Person, clear
from thimble.clinical.series.cohort import (
    DECLINED,
    DOSE,
    MARKER,
    PRODUCTS,
    TITRE,
    Cohort,
    clear_many,
)
from thimble.clinical.series.infection import LEVELS

AS_OF = date(2026, 3, 2)
ROUNDS = 7
SIZES = (250_000, 500_000, 1_000_000)


def invented(people: int, seed: int = 7) -> tuple[Cohort, np.ndarray]:
    """A workforce with five rows of evidence a person, and the titre of each row in mIU/mL."""
    rng = np.random.default_rng(seed)
    today = AS_OF.toordinal()
    born = today - rng.integers(20 * 366, 64 * 365, people).astype(np.int32)
    doses = rng.choice([0, 1, 2, 3, 4, 6], people, p=[0.05, 0.05, 0.1, 0.65, 0.1, 0.05])
    rows = np.maximum(5 + rng.integers(-1, 2, people), doses)
    start = np.concatenate(([0], np.cumsum(rows))).astype(np.int64)
    who = np.repeat(np.arange(people), rows)
    place = np.arange(len(who)) - start[who]
    gap = rng.choice([20, 28, 30, 35, 60, 150, 180], len(who)).astype(np.int32)
    first = today - rng.integers(400, 7000, people).astype(np.int32)
    day = np.where(place == 0, first[who], gap)
    total = np.cumsum(day)
    low = (total - (total[start[who]] - first[who])).astype(np.int32)
    low = np.clip(low, born[who], today)
    # A day that clipping made twice would be the same record twice: leave those rows out of the doses.
    is_dose = (place < doses[who]) & (low < today)
    kind = np.full(len(who), TITRE, np.uint8)
    other = rng.random(len(who))
    kind[other < 0.25] = MARKER
    kind[(other >= 0.25) & (other < 0.5)] = MARKER + 1
    kind[(other >= 0.5) & (other < 0.52)] = DECLINED
    kind[is_dose] = DOSE
    titre = np.round(rng.lognormal(4.5, 1.8, len(who)), 1)
    cuts = [LEVELS.index(x) for x in ("below_10", "from_10_to_100", "at_least_100")]
    level = np.array(cuts, np.uint8)[np.digitize(titre, [10.0, 100.0])]
    product = rng.choice(
        [PRODUCTS.index(c) for c in ("43", "189", "104", "unknown", "08")],
        people,
        p=[0.75, 0.12, 0.06, 0.05, 0.02],
    ).astype(np.uint8)
    said = np.where(kind == TITRE, level, np.uint8(1))
    said = np.where(is_dose, product[who], said).astype(np.uint8)
    said[(kind == MARKER) & (rng.random(len(who)) < 0.01)] = 3
    month = is_dose & (rng.random(len(who)) < 0.05) & (low > born[who] + 40)
    high = np.where(month, np.minimum(low + 27, today), low).astype(np.int32)
    cohort = Cohort(
        born,
        rng.random(people) < 0.2,
        rng.choice([0, 1, 2], people, p=[0.9, 0.02, 0.08]).astype(np.uint8),
        start,
        kind,
        said,
        low,
        high,
    )
    return cohort, titre


QUERY = """
SELECT person,
  len(d) >= 3 AND d[2] - d[1] >= 24 AND d[3] - d[2] >= 52 AND d[3] - d[1] >= 108 AS complete,
  t >= 10 AS immune
FROM (
  SELECT person, list(day ORDER BY day) FILTER (kind = 0) AS d, arg_max(titre, day) FILTER (kind = 2) AS t
  FROM evidence GROUP BY person
) ORDER BY person
"""


@dataclass(frozen=True, slots=True)
class Took:
    """Seconds by the clock and of the processor, all cores together: medians."""

    clock: float
    processor: float

    def __str__(self) -> str:
        return f"{self.clock:.2f} s ({self.processor:.2f} s of the processor)"


def _took(*asked: Callable[[], object]) -> list[Took]:
    """How long each takes, in turns, so that others on the machine are in everybody's way alike."""
    times: list[list[tuple[float, float]]] = [[] for _ in asked]
    for _ in range(ROUNDS):
        for ask, own in zip(asked, times, strict=True):
            clock, processor = time.perf_counter(), time.process_time()
            ask()
            own.append((time.perf_counter() - clock, time.process_time() - processor))
    return [Took(*map(statistics.median, zip(*own, strict=True))) for own in times]


def plain_polars(frame: pl.DataFrame) -> pl.DataFrame:
    """The plain rule, lazily."""
    dose, drawn = pl.col("kind") == 0, pl.col("kind") == 2
    return (
        frame.lazy()
        .group_by("person")
        .agg(
            pl.col("day").filter(dose).sort().alias("d"),
            pl.col("titre").filter(drawn).sort_by(pl.col("day").filter(drawn)).last().alias("t"),
        )
        .with_columns(*(pl.col("d").list.get(n, null_on_oob=True).alias(f"d{n}") for n in range(3)))
        .select(
            "person",
            (
                (pl.col("d1") - pl.col("d0") >= 24)
                & (pl.col("d2") - pl.col("d1") >= 52)
                & (pl.col("d2") - pl.col("d0") >= 108)
            ).alias("complete"),
            (pl.col("t") >= 10).alias("immune"),
        )
        .sort("person")
        .collect()
    )


def main() -> None:
    """Print one person, then three sizes."""
    given = [
        DoseGiven("43", PartialDate.parse(d)) for d in ("2015-01-01", "2015-02-01", "2015-07-01")
    ]
    person = Person(date(1990, 1, 1), immunocompromised="no")
    clear(person, given, AS_OF)
    one = _took(lambda: [clear(person, given, AS_OF) for _ in range(500)])[0].clock / 500
    print(f"one person, explained: {1e6 * one:.0f} µs (aim 1000)")
    clear_many(invented(10_000)[0], AS_OF)
    for people in SIZES:
        cohort, titre = invented(people)
        who = np.repeat(np.arange(people, dtype=np.int32), np.diff(cohort.start))
        frame = pl.DataFrame(
            {"person": who, "kind": cohort.kind, "day": cohort.low, "titre": titre}
        )
        db = duckdb.connect()
        given_rows = {"person": who, "kind": cohort.kind, "day": cohort.low, "titre": titre}
        db.register("given", given_rows)
        db.execute("CREATE TABLE evidence AS SELECT * FROM given")
        ours, duck, polars = _took(
            lambda c=cohort: clear_many(c, AS_OF),  # type: ignore[misc]
            lambda d=db: d.execute(QUERY).fetchnumpy(),  # type: ignore[misc]
            lambda f=frame: plain_polars(f),  # type: ignore[misc]
        )
        peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1e6
        a, b = db.execute(QUERY).fetchnumpy(), plain_polars(frame)
        complete = np.ma.filled(a["complete"], False).astype(bool)
        assert (complete == b["complete"].fill_null(False).to_numpy()).all()
        print(
            f"{people:>9,} people, {len(who):>9,} rows: ours {ours}; plain rule: DuckDB {duck}, "
            f"Polars {polars}; {min(duck.clock, polars.clock) / ours.clock:.2f} times the better by the "
            f"clock, {min(duck.processor, polars.processor) / ours.processor:.2f} by the processor; "
            f"peak so far, peers and all, {peak:.2f} GB"
        )
        db.close()


if __name__ == "__main__":
    main()
