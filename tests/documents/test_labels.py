"""Sheets of labels: the bars by their definition, nothing off the sheet, and the settings of a site."""

from __future__ import annotations

import io
from datetime import UTC, date, datetime
from itertools import pairwise

import pikepdf
import pytest

from thimble.clinical.labels import Labels
from thimble.clinical.site import SiteError, parse_site
from thimble.documents.labels.data import INSET_MM, QUIET, Label, bars, initials, label_sheets
from thimble.documents.render import Template, render

AT = datetime(2026, 3, 3, 8, tzinfo=UTC)
ONE = Label("S-K7QM-2F49", "I. B.", date(1999, 2, 28), "P-K7QM-2F49 · 3 Mar 2026")


def modules(code: str) -> str:
    runs, count = bars(code)
    row = [" "] * count
    for at, wide in runs:
        row[at : at + wide] = "#" * wide
    return "".join(row)


@pytest.mark.parametrize("code", ["S-K7QM-2F49", "P-9999-2222", "A"])
def test_a_barcode_is_start_symbols_check_and_stop(code: str) -> None:
    """ISO/IEC 15417: symbols of 11 modules in three bars and three spaces, the stop of 13; start B and
    stop as published there (memory)."""
    row = modules(code)
    assert row.startswith("## #  #    ")
    assert row.endswith("##   ### # ##")
    body = [row[i : i + 11] for i in range(0, len(row) - 13, 11)]
    for symbol in body:
        assert len(symbol) == 11
        assert (symbol[0], symbol[-1]) == ("#", " ")
        assert sum(a != b for a, b in pairwise(symbol)) == 5
        # Bars are an even number of modules in all.
        assert symbol.count("#") % 2 == 0


@pytest.mark.parametrize("code", ["S-K7QM-2F49", "PJJ123C", "P-HHNX-247P"])
def test_the_check_symbol_is_the_one_that_the_definition_asks_for(code: str) -> None:
    """ISO/IEC 15417 (memory): 104 for start B, plus each value times its place, modulo 103. A value is that
    of its character less 32, so the check of one code is drawn like the character in another."""
    check = (104 + sum(place * (ord(c) - 32) for place, c in enumerate(code, 1))) % 103
    row = modules(code)
    assert len(row) == 11 * (len(code) + 2) + 13
    assert check < 95, "choose a code whose check is a printable character"
    assert row[-24:-13] == modules(chr(check + 32))[11:22]


@pytest.mark.parametrize(
    ("given", "family", "said"),
    [("Inés María", "Brindle", "I. B."), ("", "Ko Sein", "K. S."), ("Zoë", "", "Z."), ("", "", "")],
)
def test_initials(given: str, family: str, said: str) -> None:
    assert initials(given, family) == said


@pytest.mark.parametrize("width", [45, 48.3, 70, 210])
def test_bars_and_their_quiet_zones_stay_on_the_label(width: float) -> None:
    settings = Labels(columns=1, width_mm=width)
    drawn = label_sheets([ONE], settings, first=1, invented=True)["sheets"][0][0]
    _, count = bars(ONE.code)
    module = drawn["bars_width"] / count
    assert drawn["bars_width"] + 2 * QUIET * module <= width - 2 * INSET_MM + 0.01
    # So fine and no finer: an ordinary reader and printer (300 dpi) manage 0.19 mm.
    assert module >= 0.19
    at, wide = drawn["bars"][-1]
    assert at + wide == pytest.approx(drawn["bars_width"], abs=0.01)


@pytest.mark.parametrize(
    ("first", "count", "pages"), [(1, 24, 1), (1, 25, 2), (24, 1, 1), (24, 2, 2)]
)
def test_a_sheet_that_is_half_used_goes_on_where_it_is_free(
    first: int, count: int, pages: int
) -> None:
    data = label_sheets([ONE] * count, Labels(), first=first, invented=True)
    assert len(data["sheets"]) == pages
    assert [label is None for label in data["sheets"][0][:first]] == [True] * (first - 1) + [False]
    with pikepdf.open(io.BytesIO(render(Template.LABELS, data, at=AT))) as made:
        assert len(made.pages) == pages
        box = [float(side) for side in made.pages[0].mediabox]
        assert box[2:] == pytest.approx([595.28, 841.89], abs=0.5)


@pytest.mark.parametrize("first", [0, 25])
def test_a_place_that_is_on_no_sheet_is_refused(first: int) -> None:
    with pytest.raises(ValueError, match="1 to 24"):
        label_sheets([ONE], Labels(), first=first, invented=True)


def faults(**labels: object) -> str:
    with pytest.raises(SiteError) as refused:
        parse_site({"labels": labels})
    return "\n".join(fault for fault in refused.value.faults if "labels." in fault)


@pytest.mark.parametrize(
    ("labels", "said"),
    [
        ({"columns": 4}, "end at 280 mm; the sheet ends at 210 mm"),
        ({"rows": 9}, "end at 333 mm; the sheet ends at 297 mm"),
        ({"left_mm": 1}, "end at 211 mm"),
        ({"width_mm": 44}, "is a number from 45 to 210; found 44"),
        ({"columns": 1.5}, "is a number from 1 to 4"),
        ({"rows": True}, "is a number from 1 to 18"),
        ({"name": "photo"}, "is one of initials, full, none; found 'photo'"),
        ({"colour": "red"}, "is not a key here"),
    ],
)
def test_a_sheet_that_cannot_be_is_refused_by_name(labels: dict[str, object], said: str) -> None:
    assert said in faults(**labels)


def test_what_fits_exactly_is_no_fault() -> None:
    assert faults(columns=3, rows=8, width_mm=70, height_mm=37.125, name="full") == ""
