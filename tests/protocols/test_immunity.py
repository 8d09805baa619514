"""How evidence counts, and the law of offers: each number with a source and a standing."""

from __future__ import annotations

import re
import tomllib

import pytest

from thimble.clinical.immunity import JUDGED, rules
from thimble.clinical.library import SHIPPED, protocol
from thimble.protocol.finding import STANDINGS


@pytest.mark.parametrize("name", ["us", "uk"])
def test_every_number_has_a_source_of_the_tables_and_a_standing(name: str) -> None:
    told = tomllib.loads((SHIPPED / "immunity" / f"{name}.toml").read_text(encoding="utf-8"))
    assert set(JUDGED) | {"live", "season"} == set(told)
    for part, keys in told.items():
        cited = re.findall(r"(?:^|; )([A-Z0-9]+): ", keys["source"])
        assert cited, part
        assert set(cited) <= set(protocol(f"immunity_{name}").sources), part
        assert keys["standing"] in STANDINGS, part


@pytest.mark.parametrize("name", ["us", "uk"])
def test_nothing_that_is_remembered_is_said_to_be_read(name: str) -> None:
    for table in protocol(f"immunity_{name}").tables:
        for rule in table.rules:
            if rule.standing == "read":
                assert "as remembered" not in rule.source, rule.id
                assert "THIMBLE" not in rule.source, rule.id


@pytest.mark.parametrize("name", ["us", "uk"])
def test_every_season_begins_no_later_than_its_vaccine_is_offered(name: str) -> None:
    season = rules(name).season
    assert season.starts <= season.offered_from
    assert season.offered_until < season.starts


def test_each_law_of_offers_names_its_source() -> None:
    for path in (SHIPPED / "offers").glob("*.toml"):
        told = tomllib.loads(path.read_text(encoding="utf-8"))
        assert told["source"]
        assert told["declined_source"]
        assert told["standing"] in STANDINGS
