"""The published table of hepatitis B serology, row by row, from results to words.

Source: Workowski et al., Sexually Transmitted Infections Treatment Guidelines, 2021, MMWR Recomm Rep
2021;70(4), Table 5 (the same rows in the 2010 edition, Table 4); copied here by hand.
"""

from __future__ import annotations

from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

import pytest

from thimble.clinical.serology import (
    Analyte,
    Course,
    Quantity,
    Result,
    Status,
    Word,
    read_worker_baseline,
)

ZONE = ZoneInfo("Europe/Zurich")
TAKEN = datetime(2026, 3, 2, 12, tzinfo=ZONE)
MARKERS = (Analyte.HBSAG, Analyte.ANTI_HBC_TOTAL, Analyte.ANTI_HBC_IGM)
WORDS = {"+": Word.POSITIVE, "-": Word.NEGATIVE}


def drawn(pattern: str, titre: float) -> list[Result]:
    """HBsAg, total anti-HBc and IgM as + and -; the anti-HBs of the table as a number."""

    def one(analyte, word=None, quantity=None):
        return Result(
            analyte, "worker", Status.FINAL, TAKEN, TAKEN + timedelta(hours=6), word, quantity,
            specimen="S-1",
        )  # fmt: skip

    found = [one(a, WORDS[sign]) for a, sign in zip(MARKERS, pattern, strict=True)]
    return [*found, one(Analyte.ANTI_HBS, quantity=Quantity(titre, "m[IU]/mL"))]


def read(pattern: str, titre: float, **course):
    given = {"vaccine_doses": (), "immunoglobulin": ()} | course
    around = Course(ZONE, TAKEN - timedelta(hours=2), **given)
    return read_worker_baseline(drawn(pattern, titre), around, TAKEN + timedelta(days=1))


@pytest.mark.parametrize(
    ("pattern", "titre", "printed"),
    [
        ("---", 2.0, "Never infected"),
        ("+--", 2.0, "Early acute infection"),
        ("+++", 2.0, "Acute infection"),
        ("-++", 2.0, "Acute infection, resolving"),
        ("-+-", 250.0, "Recovered"),
        ("++-", 2.0, "Chronic infection"),
        ("-+-", 2.0, "Isolated core"),
        ("---", 250.0, "Immune by vaccine"),
    ],
)
def test_each_row_of_the_published_table_reads_as_printed(pattern, titre, printed):
    reading = read(pattern, titre).of("hbv_pattern")

    assert reading.words.startswith(printed)
    assert all(reason.source.startswith("STI21") for reason in reading.because)
    assert [reason.standing for reason in reading.because] == ["read"]


def test_antigen_is_transient_up_to_18_days_after_a_dose_and_asked_again_from_28():
    """Footnote of the same row; 28 days: Immunize.org, quoting CDC."""
    for days in (1, 18, 27):
        dose = TAKEN - timedelta(days=days)
        assert read("+--", 2.0, vaccine_doses=(dose,)).of("hbv_pattern").value == (
            "antigen_perhaps_vaccine"
        )


def test_anti_hbs_alone_may_be_passive_after_immunoglobulin():
    """Last row of the table: 10 or more after a complete series, or passive after immunoglobulin."""
    given = read("---", 250.0, immunoglobulin=(TAKEN - timedelta(days=30),))

    assert given.of("hbv_pattern").value == "never_infected_perhaps_passive"


@pytest.mark.parametrize(("titre", "immune"), [(9.99, False), (10.0, True), (10.01, True)])
def test_immune_by_vaccine_starts_at_10(titre, immune):
    """ "At least 10 mIU/mL": Immunize.org; the table's copies print >10."""
    assert (read("---", titre).of("hbv_pattern").value == "immune_by_vaccine") is immune
