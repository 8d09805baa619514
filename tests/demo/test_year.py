"""The year of exposures that are over: the safety overview has something to show, whatever day it is."""

from __future__ import annotations

from datetime import UTC, datetime

import pytest

from demo.staging import stage
from thimble.clinical.vocabulary import VOCABULARY
from thimble.demo.build import build
from thimble.demo.year import YEAR
from thimble.ledger.fold import fold
from thimble.web.safety.overview import exposures, overview, period_at

FIRST = datetime(2026, 3, 1, 6, tzinfo=UTC)
LAST = datetime(2026, 12, 31, 22, tzinfo=UTC)


@pytest.mark.parametrize("day", [FIRST, LAST])
def test_on_the_first_and_on_the_last_day_of_a_month_each_table_shows_something(day: datetime):
    told = stage()
    cases = build(told, day, YEAR)
    period = period_at(day, told.site.zone)
    found = exposures(told.store.all_entries(), period, VOCABULARY, told.site.zone)
    page = overview(found, period, VOCABULARY)

    assert page.total == f"{len(YEAR)} exposures"
    for table in page.tables:
        assert not table.withheld, table.id
        assert sum(line.count > 0 for line in table.lines) >= 2, table.id
    for case in cases.values():
        assert fold(told.store.entries(case), day, VOCABULARY).closed_at is not None
        assert told.identities.worker(case) is None
