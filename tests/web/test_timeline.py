"""The picture of a case over time: places against the instants, the text against the picture."""

from __future__ import annotations

import re
from datetime import UTC, datetime, timedelta
from itertools import pairwise
from xml.etree import ElementTree
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from thimble.ledger.plan import State
from thimble.ledger.situation import Departure
from thimble.web.timeline import NARROW, WIDE, Scale, Timeline, draw

from .made import NOW, action, hours, plan, situation

ZURICH = ZoneInfo("Europe/Zurich")
SVG = "{http://www.w3.org/2000/svg}"
START = hours(-2)


def _pictures(timeline: Timeline) -> list[ElementTree.Element]:
    # Two pictures stand side by side; a root makes them one document.
    root = ElementTree.fromstring(f"<root>{timeline.svg}</root>")  # noqa: S314 - our own
    return list(root)


def _wide(timeline: Timeline) -> ElementTree.Element:
    return _pictures(timeline)[0]


def _bars(picture: ElementTree.Element, id_: str) -> list[tuple[float, float]]:
    """Left and right end of each bar of an action, in the order of the scales."""
    found = []
    for group in picture.iter(f"{SVG}g"):
        if group.get("data-action") == id_:
            bar = group.find(f"{SVG}rect")
            assert bar is not None
            left = float(bar.get("x", "nan"))
            found.append((left, left + float(bar.get("width", "nan"))))
    return found


def _x(share: float, size: float = WIDE.width, margin: float = WIDE.margin) -> float:
    return margin + share * (size - 2 * margin)


def _draw(*actions: object, now: datetime = NOW, **about: object) -> Timeline:
    return draw(situation(**about), plan(*actions, now=now), now, ZURICH)  # type: ignore[arg-type]


def test_a_bar_runs_from_the_earliest_to_the_latest_instant_of_its_window() -> None:
    timeline = _draw(action(earliest=hours(6, START), latest=hours(36, START)))

    # 6 and 36 of 72 hours: a twelfth and a half of the way.
    assert _bars(_wide(timeline), "dose") == [
        (pytest.approx(_x(1 / 12), abs=0.05), pytest.approx(_x(1 / 2), abs=0.05))
    ]


def test_a_window_with_a_near_target_and_a_far_end_stands_in_each_scale_its_limits_fall_in() -> (
    None
):
    timeline = _draw(action(earliest=START, target=hours(1, START), latest=hours(72, START)))

    in_hours, in_days = _bars(_wide(timeline), "dose")
    assert in_hours == (pytest.approx(_x(0)), pytest.approx(_x(1)))  # goes on: drawn to the edge
    assert in_days == (pytest.approx(_x(0)), pytest.approx(_x(1)))
    marks = [
        float(m.get("x1", ""))
        for m in _wide(timeline).iter(f"{SVG}line")
        if m.get("class") == "tl-target"
    ]
    assert marks == [pytest.approx(_x(1 / 6), abs=0.05), pytest.approx(_x(1 / 72), abs=0.05)]


def test_a_window_of_months_is_drawn_against_calendar_months() -> None:
    start = datetime(2026, 1, 31, 9, 0, tzinfo=ZURICH)
    # Six calendar months from 31 January end on 31 July; the scale holds exactly those.
    end = datetime(2026, 7, 31, 9, 0, tzinfo=ZURICH)
    middle = datetime(2026, 4, 30, 9, 0, tzinfo=ZURICH)
    timeline = draw(
        situation(start, reported_at=start), plan(action(earliest=middle, latest=end), now=start),
        start, ZURICH,
    )  # fmt: skip

    share = (middle - start.astimezone(UTC)) / (end.astimezone(UTC) - start.astimezone(UTC))
    assert _bars(_wide(timeline), "dose") == [
        (pytest.approx(_x(share), abs=0.05), pytest.approx(_x(1), abs=0.05))
    ]
    labels = [t.text for t in _wide(timeline).iter(f"{SVG}text")]
    assert [f"{n} mo" for n in range(1, 7)] == [t for t in labels if t and t.endswith(" mo")]


@pytest.mark.parametrize(
    ("start", "gap"),
    [
        # Clocks in Zurich go forward on 29 March 2026 and back on 25 October 2026.
        (datetime(2026, 3, 28, 6, 0, tzinfo=ZURICH), 23),
        (datetime(2026, 10, 24, 6, 0, tzinfo=ZURICH), 25),
        (datetime(2026, 6, 1, 6, 0, tzinfo=ZURICH), 24),
    ],
)
def test_midnights_stand_where_the_clocks_of_the_site_have_them(start: datetime, gap: int) -> None:
    window = action(earliest=start, latest=hours(72, start.astimezone(UTC)))
    timeline = draw(situation(start, reported_at=start), plan(window), start, ZURICH)

    ticks = [
        float(line.get("x1", ""))
        for line in _wide(timeline).iter(f"{SVG}line")
        if "tl-midnight" in line.get("class", "")
    ]
    hour = (_x(1) - _x(0)) / 72
    assert (ticks[1] - ticks[0]) / hour == pytest.approx(gap, abs=0.02)
    assert (ticks[0] - _x(0)) / hour == pytest.approx(18, abs=0.02)


def test_now_is_a_line_at_its_place_in_each_scale_that_reaches_it() -> None:
    now = hours(36, START)
    timeline = _draw(action(earliest=START, latest=hours(60, START), now=now), now=now)

    lines = [
        float(n.get("x1", ""))
        for n in _wide(timeline).iter(f"{SVG}line")
        if n.get("class") == "tl-now"
    ]
    assert lines == [pytest.approx(_x(1 / 2), abs=0.05)]  # not in the first six hours


@given(
    at=st.floats(-100, 5000), start=st.integers(0, 3650),
    length=st.floats(1, 5000),
)  # fmt: skip
def test_later_never_stands_left_of_earlier_and_nothing_leaves_the_picture(
    at: float, start: int, length: float
) -> None:
    begin = NOW + timedelta(days=start)
    scale = Scale(begin, begin + timedelta(hours=length), 12, 348)
    here, later = (scale.x(begin + timedelta(hours=h)) for h in (at, at + 1))

    assert 12 <= here <= later <= 348
    assert scale.x(begin) == 12
    assert scale.x(begin + timedelta(hours=length)) == 348


def test_all_that_the_plan_and_the_situation_hold_stands_in_the_text() -> None:
    limits = {"earliest": hours(1), "target": hours(4), "latest": hours(30)}
    actions = [
        action("all_limits", what="Give the one with limits", **limits),
        action("no_limit", what="Ask for it"),
        action("waiting", what="Give the second dose", waits_for="all_limits"),
        action("was_done", what="Draw blood", done_at=hours(-0.5)),
        action("gone", what="Give what is not needed", state=State.NO_LONGER_NEEDED),
        action("late", what="Give it too late", latest=hours(-1)),
        action("maybe", what="Perhaps give it", certain=False, latest=hours(9)),
    ]
    departure = Departure(3, "dose", "give", "Not given", "declined", "u-1", hours(-0.25))
    timeline = _draw(
        *actions, steps={"asked": hours(-1), "refused": hours(-0.1)}, signed_at=hours(-0.2),
        departures=(departure,), closed_at=hours(-0.05),
    )  # fmt: skip

    assert [line.what for line in timeline.windows] == [a.what for a in actions]
    said = {line.what: f"{line.when}; {line.state}" for line in timeline.windows}
    for clock in ("14:00", "17:00", "19:00"):  # Zurich, from 13:00, 16:00 and Wednesday 18:00 UTC
        assert clock in said["Give the one with limits"]
    assert "no time limit" in said["Ask for it"]
    assert "after: Give the one with limits" in said["Give the second dose"]
    assert "done Tue 3 Mar 2026, 12:30" in said["Draw blood"]
    assert "no longer needed" in said["Give what is not needed"]
    assert "past its window" in said["Give it too late"]
    assert "may be needed" in said["Perhaps give it"]
    assert [line.what for line in timeline.events] == [
        "Exposure", "Reported", "Source patient asked", "Done: Draw blood",
        "Decided otherwise: Not given", "Plan signed", "Source patient refused", "Case closed",
    ]  # fmt: skip
    assert [line.mark for line in timeline.events] == list(range(1, 9))


def _numbers(label: str) -> list[int]:
    """The numbers that a mark's words stand for."""
    found: list[int] = []
    for part in label.split(", "):
        first, _, last = part.partition("–")
        found += range(int(first), int(last or first) + 1)
    return found


def _event_marks(
    picture: ElementTree.Element,
) -> list[tuple[list[int], float, float, float, float]]:
    """Each mark of events: its numbers, its left, top and right end, and its height."""
    found = []
    for group in picture.iter(f"{SVG}g"):
        if group.get("class") == "tl-event":
            rect, text = group.find(f"{SVG}rect"), group.find(f"{SVG}text")
            assert rect is not None
            assert text is not None
            x, y, width, height = (
                float(rect.get(name, "nan")) for name in ("x", "y", "width", "height")
            )
            found.append((_numbers(text.text or ""), x, y, x + width, height))
    return found


def test_every_event_in_the_picture_has_its_number_in_the_text_and_none_is_missing() -> None:
    timeline = _draw(
        action("b", done_at=hours(-1.5)), steps={"asked": hours(-1), "sampled": hours(-0.5)}
    )

    for picture in _pictures(timeline):
        drawn = {number for numbers, *_ in _event_marks(picture) for number in numbers}
        assert drawn == {line.mark for line in timeline.events}


@given(
    minutes=st.lists(st.integers(0, 6 * 60), max_size=30),
    days=st.lists(st.integers(1, 200), max_size=10),
)
def test_no_mark_covers_another_or_leaves_the_picture_and_each_event_has_one(
    minutes: list[int], days: list[int]
) -> None:
    after = [START + timedelta(minutes=m) for m in minutes] + [
        START + timedelta(days=d) for d in days
    ]
    done = [action(f"a{n}", done_at=at) for n, at in enumerate(after)]
    timeline = _draw(*done, now=hours(5000, START))

    for size, picture in zip((WIDE, NARROW), _pictures(timeline), strict=True):
        marks = _event_marks(picture)
        drawn = {number for numbers, *_ in marks for number in numbers}
        assert drawn == {line.mark for line in timeline.events}
        lines: dict[float, list[tuple[float, float]]] = {}
        for numbers, left, top, right, _ in marks:
            assert numbers == sorted(numbers)
            assert size.margin - 0.01 <= left < right <= size.width - size.margin + 0.01
            lines.setdefault(top, []).append((left, right))
        # One line of marks in each scale, whatever happened at once.
        assert len(lines) <= 3
        for ends in lines.values():
            ends.sort()
            for (_, right), (left, _) in pairwise(ends):
                assert left > right


def test_ten_things_in_five_minutes_are_one_mark_with_their_numbers() -> None:
    """As after a first night's work: the picture must not grow by a row for each of them."""
    done = [action(f"a{n}", done_at=hours(-0.2) + timedelta(seconds=30 * n)) for n in range(10)]
    timeline = _draw(*done)

    for picture in _pictures(timeline):
        many = [numbers for numbers, *_ in _event_marks(picture) if len(numbers) > 1]
        assert many == [list(range(3, 13))]
        labels = [text.text for text in picture.iter(f"{SVG}text")]
        assert "3–12" in labels


def test_an_event_far_from_the_others_keeps_a_mark_of_its_own_at_its_place() -> None:
    timeline = _draw(steps={"asked": hours(3, START), "sampled": hours(5, START)}, now=hours(6))

    places = {numbers[0]: (left + right) / 2 for numbers, left, _, right, _ in
              _event_marks(_wide(timeline)) if len(numbers) == 1}  # fmt: skip
    assert places[3] == pytest.approx(_x(3 / 6), abs=0.05)
    assert places[4] == pytest.approx(_x(5 / 6), abs=0.05)


def test_each_event_has_a_tick_at_its_own_place_though_its_mark_is_shared() -> None:
    at = [hours(1.8, START), hours(1.85, START)]
    timeline = _draw(*(action(f"a{n}", done_at=when) for n, when in enumerate(at)))

    ticks = [
        float(line.get("x1", "nan"))
        for line in _wide(timeline).iter(f"{SVG}line")
        if line.get("class") == "tl-tick"
    ]
    for when in (1.8, 1.85):
        assert [tick for tick in ticks if tick == pytest.approx(_x(when / 6), abs=0.05)]
    (shared,) = [m for m in _event_marks(_wide(timeline)) if len(m[0]) == 2 and 3 in m[0]]
    assert shared[0] == [3, 4]


def test_what_people_typed_cannot_become_markup() -> None:
    bad = '</text><script>alert("1")</script>&<b>'
    departure = Departure(3, "dose", "give", bad, bad, "u-1", hours(-0.25))
    timeline = _draw(action(what=bad, latest=hours(5)), departures=(departure,))

    tags = {element.tag.removeprefix(SVG) for p in _pictures(timeline) for element in p.iter()}
    assert tags <= {"svg", "title", "desc", "g", "rect", "line", "circle", "path", "text"}
    assert "<script" not in timeline.svg


def test_the_picture_carries_no_style_of_its_own() -> None:
    """A strict content policy refuses style attributes; colours would not follow the dark mode."""
    timeline = _draw(action(earliest=START, target=hours(1), latest=hours(900)))

    for picture in _pictures(timeline):
        for element in picture.iter():
            assert not {"style", "fill", "stroke", "onclick"} & set(element.attrib)


def test_each_picture_is_named_and_the_names_differ() -> None:
    timeline = _draw(action(latest=hours(5)))

    ids = re.findall(r' id="([^"]+)"', timeline.svg)
    assert len(ids) == len(set(ids)) == 4
    for picture in _pictures(timeline):
        assert picture.get("role") == "img"
        assert set(picture.get("aria-labelledby", "").split()) <= set(ids)


@pytest.mark.parametrize("size", [WIDE, NARROW])
def test_no_word_is_wider_than_the_picture_and_none_is_tiny(size: object) -> None:
    """12 px at the narrow picture's own width on a phone of 390 px is the least that is readable."""
    long = "Draw blood for something with a very long name that nobody can read on a telephone " * 3
    timeline = _draw(action(what=long, earliest=START, latest=hours(900)))

    picture = _pictures(timeline)[0 if size is WIDE else 1]
    for text in picture.iter(f"{SVG}text"):
        assert float(text.get("font-size", "0")) >= 11.9
        assert len(text.text or "") * float(text.get("font-size", "0")) * 0.5 <= size.width  # type: ignore[attr-defined]


def test_what_does_not_fit_on_one_line_takes_two_and_keeps_its_state() -> None:
    long = "Draw the worker's blood for the second test of the follow-up"
    timeline = _draw(action(what=long, certain=False, earliest=START, latest=hours(70)))

    narrow = [t.text or "" for t in _pictures(timeline)[1].iter(f"{SVG}text")]
    assert any(text.startswith("Draw the worker's blood") for text in narrow)
    assert "may be needed; to do, 2 days left" in narrow


def test_without_a_time_of_exposure_the_picture_begins_at_the_report_and_says_so() -> None:
    timeline = _draw(action(), occurred_at=None)

    assert "the time of the exposure is not known" in timeline.summary
    assert "Hours since the report" in timeline.svg
    assert "Hours since the exposure" not in timeline.svg


def test_without_any_time_there_is_no_picture_but_the_text_is_there() -> None:
    timeline = _draw(action(what="Ask for it"), occurred_at=None, reported_at=None)

    assert timeline.svg == ""
    assert [line.what for line in timeline.windows] == ["Ask for it"]


def test_an_exposure_known_to_the_hour_is_shaded_over_that_hour() -> None:
    at = datetime(2026, 3, 3, 9, 20, tzinfo=UTC)
    timeline = _draw(action(latest=hours(5)), occurred_at=at, precision="hour", reported_at=NOW)

    shades = [r for r in _wide(timeline).iter(f"{SVG}rect") if r.get("class") == "tl-unsure"]
    # From 10:00 to 11:00 in Zurich: the first sixth of the first six hours.
    assert float(shades[0].get("x", "")) == pytest.approx(_x(0))
    assert float(shades[0].get("width", "")) == pytest.approx(_x(1 / 6) - _x(0), abs=0.05)
