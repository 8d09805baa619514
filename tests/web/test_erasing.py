"""Who a source was is erased a time after closing, from the very file; an open case keeps it."""

from __future__ import annotations

import sqlite3
from argparse import Namespace
from contextlib import closing
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from django.db import connection

from thimble import actions
from thimble.actions.erasing import identities_to_erase
from thimble.clinical.durations import parse
from thimble.clinical.source_rules import SourceRules
from thimble.clinical.vocabulary import VOCABULARY
from thimble.commands import source_identities
from thimble.ledger.entries import Draft, Kind
from thimble.ledger.verify import verify
from thimble.web import clock, context
from thimble.web.context import get_identities, get_site, get_store

from .conftest import NIGHT, SITE

pytestmark = pytest.mark.usefixtures("append_only_db")
CLOSED = NIGHT + timedelta(hours=2)


def case_of(name: str, *, closed: bool) -> str:
    case = actions.report(
        get_store(), facts={"route": "percutaneous"}, occurred_at=NIGHT,
        occurred_at_precision="minute", vocabulary=VOCABULARY, now=NIGHT,
    ).case  # fmt: skip
    for version in (name, f"{name} corrected"):
        identity = actions.SourceIdentity(name=version)
        get_identities().save_source(case, identity, by="u-x", now=NIGHT)
    if closed:
        draft = Draft(Kind.CLOSED, CLOSED, {"reason": "source_negative", "text": ""})
        get_store().append(case, [draft], expected_position=None, by="u-x", role="x", now=CLOSED)
    return case


def run(now: datetime, monkeypatch: Any, *, erase: bool) -> int:
    monkeypatch.setattr(source_identities, "open_data", lambda *_, **__: None)
    with clock.standing_at(now):
        return source_identities.run(Namespace(data=Path(), erase=erase))


def bytes_of_the_database() -> bytes:
    path = Path(connection.settings_dict["NAME"])
    files = [path, *(path.with_name(path.name + end) for end in ("-wal", "-journal"))]
    return b"".join(file.read_bytes() for file in files if file.exists())


def due(now: datetime, rules: SourceRules) -> list[str]:
    args = (get_store(), get_identities(), rules, VOCABULARY, get_site().zone, now)
    return [found.case for found in identities_to_erase(*args)]


def test_what_is_erased_is_gone_from_the_file_and_the_open_case_is_not_touched(
    monkeypatch: Any, capsys: Any
):
    over = case_of("Ottilie Quarnbeck", closed=True)
    still = case_of("Ansgar Wielandt", closed=False)
    assert b"Quarnbeck" in bytes_of_the_database()

    assert run(CLOSED + timedelta(days=500), monkeypatch, erase=True) == 0

    assert b"Quarnbeck" not in bytes_of_the_database()
    assert b"Wielandt" in bytes_of_the_database()
    assert get_identities().source(over) is None
    assert get_identities().source(still) is not None
    assert "Quarnbeck" not in capsys.readouterr().out
    last = get_store().entries(over)[-1]
    assert last.kind is Kind.SOURCE_IDENTITY_PURGED
    assert last.body["closed_on"] == "2026-03-03"
    assert last.body["rule"].startswith("KEEP-01")
    assert get_store().entries(still)[-1].kind is Kind.REPORTED
    assert verify(list(get_store().all_entries())) == []


def test_while_somebody_still_reads_the_file_it_does_not_claim_that_all_is_gone(
    monkeypatch: Any, capsys: Any
):
    case = case_of("Ottilie Quarnbeck", closed=True)
    now = CLOSED + timedelta(days=500)
    connection.ensure_connection()
    with closing(sqlite3.connect(connection.settings_dict["NAME"])) as reader:
        reader.execute("BEGIN")
        reader.execute("SELECT count(*) FROM web_sourceidentity").fetchall()
        with connection.cursor() as cursor:
            cursor.execute("PRAGMA busy_timeout=1")

        assert run(now, monkeypatch, erase=True) == 1
        assert "may still be readable" in capsys.readouterr().out
        assert get_identities().source(case) is None

    assert run(now, monkeypatch, erase=True) == 0
    assert b"Quarnbeck" not in bytes_of_the_database()


def test_without_the_word_erase_it_only_shows(monkeypatch: Any, capsys: Any):
    case = case_of("Ottilie Quarnbeck", closed=True)

    assert run(CLOSED + timedelta(days=500), monkeypatch, erase=False) == 0

    said = capsys.readouterr().out
    assert f"{case}, closed on 2026-03-03: would be erased" in said
    assert get_identities().source(case) is not None
    assert get_store().entries(case)[-1].kind is Kind.CLOSED


def test_it_is_kept_to_the_end_of_its_time_and_a_day():
    case = case_of("Ottilie Quarnbeck", closed=True)
    week = SourceRules(keep=parse("P7D"))

    assert due(CLOSED + timedelta(days=8), week) == []
    assert due(CLOSED + timedelta(days=8, seconds=1), week) == [case]
    assert due(CLOSED + timedelta(days=60), SourceRules()) == []


def test_a_case_on_hold_or_opened_again_keeps_it():
    case = case_of("Ottilie Quarnbeck", closed=True)
    later = CLOSED + timedelta(days=900)
    assert due(later, SourceRules(hold=(case,))) == []

    draft = Draft(Kind.REOPENED, CLOSED, {"reason": "symptoms"})
    get_store().append(case, [draft], expected_position=None, by="u-x", role="x", now=CLOSED)
    assert due(later, SourceRules()) == []


@pytest.mark.parametrize("keep", ["PT24H", "P0D", "soon"])
def test_a_time_that_is_none_is_refused_in_the_settings(keep: str, settings: Any):
    text = f'{SITE}\n[source_patient]\nkeep_identity = "{keep}"\n'
    (settings.DATA / "site.toml").write_text(text, encoding="utf-8")
    context.forget()

    with pytest.raises(Exception, match="keep_identity is a time in days"):
        get_site()
