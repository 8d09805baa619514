"""Evidence on a time line: each piece at its place, a month as long as it may have been."""

from __future__ import annotations

import re
from datetime import date
from xml.etree import ElementTree as XML

from thimble.web.people.time_line import WIDTH, Mark, time_line

TODAY = date(2026, 3, 3)


def drawn(*rows: tuple[str, list[Mark]]) -> XML.Element:
    return XML.fromstring(time_line(rows, TODAY))  # noqa: S314 - our own markup


def day(year: int, month: int, of: int) -> Mark:
    return Mark(date(year, month, of), date(year, month, of), "dose")


def test_nothing_with_a_date_draws_nothing() -> None:
    assert time_line([], TODAY) == ""
    assert time_line([("Measles", [])], TODAY) == ""


def test_every_piece_stands_in_its_row_in_order_of_time_and_inside_the_picture() -> None:
    svg = drawn(
        ("Hepatitis B", [day(2019, 2, 4), day(2019, 8, 11)]),
        ("Varicella", [Mark(date(2008, 5, 20), date(2008, 5, 20), "result")]),
    )
    dots = [(float(c.get("cx", "")), float(c.get("cy", ""))) for c in svg.iter("circle")]
    (box,) = [r for r in svg.iter("rect") if r.get("class") == "result"]
    assert dots[0][0] < dots[1][0]
    assert dots[0][1] == dots[1][1] < float(box.get("y", ""))
    assert float(box.get("x", "")) < dots[0][0]
    (now,) = [line for line in svg.iter("line") if line.get("class") == "now"]
    assert dots[1][0] < float(now.get("x1", "")) < WIDTH
    assert [t.text for t in svg.iter("text") if t.get("class") is None] == [
        "Hepatitis B",
        "Varicella",
    ]
    assert "hepatitis B: 2, 2019; varicella: 1, 2008" in svg.get("aria-label", "")


def test_a_month_is_as_long_as_it_may_have_been_and_a_day_has_no_length() -> None:
    svg = drawn(("Measles", [Mark(date(2026, 1, 1), date(2026, 1, 31), "dose"), day(2026, 2, 1)]))
    (bar,) = [line for line in svg.iter("line") if line.get("class") == "span"]
    length = float(bar.get("x2", "")) - float(bar.get("x1", ""))
    # Thirty of the 365 days that the picture is wide.
    assert abs(length - (WIDTH - 24) * 30 / 365) < 0.2


def test_a_name_is_text_and_no_markup() -> None:
    text = time_line([("<b>", [day(2020, 1, 1)])], TODAY)
    assert "<b>" not in text
    assert re.search("&lt;b&gt;", text)
