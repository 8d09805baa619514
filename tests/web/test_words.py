"""Instants, rings and telephone numbers as screens say them."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from django.template import engines

from thimble.protocol import ProtocolFaults
from thimble.web import context
from thimble.web.templatetags.thimble import ring, tel
from thimble.web.words import moment

from .conftest import NIGHT

ZONE = ZoneInfo("Europe/Zurich")


@pytest.mark.parametrize(
    ("minutes", "says"),
    [
        (0, "02:40 · just now"),
        (-35, "02:05 · 35 min ago"),
        (-160, "00:00 · 2 h 40 min ago"),
        (-161, "Mon 2 Mar 2026, 23:59 · 2 h 41 min ago"),
        (120, "04:40 · in 2 h"),
    ],
)
def test_an_instant_names_its_day_only_where_it_is_another(minutes: int, says: str) -> None:
    assert moment(NIGHT + timedelta(minutes=minutes), NIGHT, ZONE) == says


def test_an_instant_alone_names_day_and_time() -> None:
    assert moment(datetime(2026, 7, 1, 12, 0, tzinfo=UTC), None, ZONE) == "Wed 1 Jul 2026, 14:00"


@pytest.mark.parametrize(
    ("left", "total", "share", "closed"),
    [
        (72, 72, "100.0", False),
        (18, 72, "25.0", False),
        (0.01, 72, "0.0", False),
        (0, 72, "0.0", True),
        (-5, 72, "0.0", True),
        (90, 72, "100.0", False),
        (5, 0, "0.0", False),
    ],
)
def test_a_ring_empties_as_the_window_closes(
    left: float, total: float, share: str, closed: bool
) -> None:
    drawn = ring(left, total, "words")
    assert (drawn["left"], drawn["closed"]) == (share, closed)


def test_a_closed_ring_differs_in_shape_and_the_words_always_stand_beside_it() -> None:
    template = engines["django"].from_string("{% ring left 72 text %}")
    still_open = template.render({"left": 5, "text": "HBIG: 5 h left"})
    closed = template.render({"left": 0, "text": "closed 2 h ago"})

    assert "HBIG: 5 h left" in still_open
    assert "closed 2 h ago" in closed
    assert ("ring-bar" in closed, "ring-bar" in still_open) == (True, False)
    assert 'aria-hidden="true"' in still_open


@pytest.mark.parametrize(
    ("number", "dialled"),
    [
        ("+41 (0)44 123-45", "+414412345"),
        ("(0)44 1", "0441"),
        ("0123 ext. 7", "0123"),
        ("*7#", "*7#"),
    ],
)
def test_a_number_is_dialled_without_its_spaces(number: str, dialled: str) -> None:
    assert tel(number) == dialled


def test_the_server_is_not_ready_on_a_protocol_with_a_fault(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    context.make_ready()
    fault = next(iter(_planted()))
    monkeypatch.setattr(context, "check_protocol", lambda _: (fault,))
    with pytest.raises(ProtocolFaults, match="no rule covers"):
        context.make_ready()


def _planted() -> tuple[object, ...]:
    from thimble.protocol import Fault

    return (Fault("significance.csv", 0, "", "no rule covers route=percutaneous"),)
