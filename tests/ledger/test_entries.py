"""The digest: a published form, stable however an entry was stored since."""

import hashlib
from dataclasses import replace
from datetime import UTC, datetime, timedelta, timezone
from zoneinfo import ZoneInfo

import pytest

from thimble.ledger.entries import GENESIS, Entry, Kind, canonical, digest_of, instant

ENTRY = Entry(
    number=1,
    case="K7QM-2F49",
    position=1,
    kind=Kind.FACT_LEARNED,
    happened_at=datetime(2026, 3, 2, 1, 40, tzinfo=UTC),
    recorded_at=datetime(2026, 3, 2, 1, 41, 5, 7, tzinfo=UTC),
    by="u1",
    role="nurse",
    body={"said_by": "worker", "facts": {"worker_weight": 70.0, "a": 1e21, "b": "€\n"}},
    previous=GENESIS,
    digest="",
)


def test_the_canonical_form_is_that_of_rfc_8785():
    """Written by hand from RFC 8785: sorted keys, no spaces, 70.0 as 70, 1e21 as 1e+21 (section
    3.2.2.3 and appendix B), only control characters escaped, UTF-8."""
    expected = (
        '{"body":{"facts":{"a":1e+21,"b":"€\\n","worker_weight":70},"said_by":"worker"},'
        '"by":"u1","case":"K7QM-2F49","happened_at":"2026-03-02T01:40:00.000000+00:00",'
        '"kind":"fact_learned","number":1,"position":1,'
        f'"previous":"{GENESIS}","recorded_at":"2026-03-02T01:41:05.000007+00:00",'
        '"role":"nurse"}'
    ).encode()
    assert canonical(ENTRY) == expected
    assert digest_of(ENTRY) == hashlib.sha256(expected).hexdigest()


@pytest.mark.parametrize("zone", [ZoneInfo("Europe/Zurich"), timezone(timedelta(hours=-5))])
def test_the_zone_in_which_an_instant_is_read_back_does_not_matter(zone):
    moved = replace(ENTRY, happened_at=ENTRY.happened_at.astimezone(zone))
    assert digest_of(moved) == digest_of(ENTRY)


def test_a_whole_number_read_back_as_an_integer_does_not_matter():
    body = {"said_by": "worker", "facts": {"worker_weight": 70, "a": 1e21, "b": "€\n"}}
    assert digest_of(replace(ENTRY, body=body)) == digest_of(ENTRY)


def test_an_instant_without_offset_has_no_form():
    with pytest.raises(ValueError, match="needs its offset from UTC"):
        instant(datetime(2026, 3, 2, 1, 40))  # noqa: DTZ001
