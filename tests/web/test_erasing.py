"""Who a source was is erased a time after closing, from the very file; an open case keeps it."""

from __future__ import annotations

import hashlib
import sqlite3
from argparse import Namespace
from contextlib import closing
from datetime import date, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from django.conf import settings
from django.db import connection

from thimble import actions
from thimble.actions.erasing import identities_to_erase
from thimble.clinical.durations import parse
from thimble.clinical.source_rules import SourceRules
from thimble.clinical.vocabulary import VOCABULARY
from thimble.commands import NotUnderstood, source_identities
from thimble.exchange.inbox import Arrival, Inbox, State
from thimble.exchange.receiving import Receiver
from thimble.ledger.entries import Draft, Kind
from thimble.ledger.verify import verify
from thimble.web import clock, context
from thimble.web.context import get_identities, get_protocol, get_site, get_store
from thimble.web.laboratory.processing import LedgerProcessor
from thimble.web.laboratory.register import get_register

from .conftest import NIGHT, SITE
from .test_laboratory import MORNING as RECEIVED
from .test_laboratory import oru

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


def test_a_hold_is_read_as_people_write_it_and_one_that_cannot_be_read_stops_every_erasing(
    monkeypatch: Any, settings: Any
):
    """What is erased is gone: a slip in the hold of a court's case must not cost the evidence."""
    case = case_of("Ottilie Quarnbeck", closed=True)
    later = CLOSED + timedelta(days=900)
    assert due(later, SourceRules(hold=(case.lower().replace("-", " "),))) == []

    mistyped = case[:-1] + ("2" if case[-1] != "2" else "3")
    text = f'{SITE}\n[source_patient]\nhold = ["{mistyped}"]\n'
    (settings.DATA / "site.toml").write_text(text, encoding="utf-8")
    context.forget()
    with pytest.raises(NotUnderstood, match=r"hold: .* is no case reference.*Nothing was erased"):
        run(later, monkeypatch, erase=True)
    assert get_identities().source(case) is not None


@pytest.mark.parametrize("keep", ["PT24H", "P0D", "soon"])
def test_a_time_that_is_none_is_refused_in_the_settings(keep: str, settings: Any):
    text = f'{SITE}\n[source_patient]\nkeep_identity = "{keep}"\n'
    (settings.DATA / "site.toml").write_text(text, encoding="utf-8")
    context.forget()

    with pytest.raises(Exception, match="keep_identity is a time in days"):
        get_site()


# -- the laboratory's messages --------------------------------------------------------------------------

LATE = CLOSED + timedelta(days=500)
HBSAG = "CE|5195-3^HBsAg^LN||260385009^Negative^SCT||||||F"


def source_case(name: str, specimen: str, *, number: str = "", closed: bool = True) -> str:
    """A case with a sample of its source; `number` and date of birth are written down where given."""
    case = actions.report(
        get_store(), facts={"route": "percutaneous", "fluid": "blood"}, occurred_at=NIGHT,
        occurred_at_precision="minute", vocabulary=VOCABULARY, now=NIGHT,
    ).case  # fmt: skip
    if number:
        who = actions.SourceIdentity(name, number, date(1970, 1, 2))
        get_identities().save_source(case, who, by="u-x", now=NIGHT)
    actions.sample_source(
        get_store(), case, action="source_hbsag_test", now=NIGHT, specimen=specimen, by="u-x",
        role="emergency_clinician",
    )  # fmt: skip
    return case


def close(case: str) -> None:
    draft = Draft(Kind.CLOSED, CLOSED, {"reason": "source_negative", "text": ""})
    get_store().append(case, [draft], expected_position=None, by="u-x", role="x", now=CLOSED)


def came(
    inbox: Inbox, name: str, specimen: str, *, control: str, number: str = "M-1",
    state: State | None = None,
) -> int:  # fmt: skip
    """A message about somebody, recorded if its case is known, or left in this state; its number."""
    processor = LedgerProcessor(
        inbox,
        get_store(),
        get_identities(),
        get_protocol(),
        get_site(),
        lambda: RECEIVED,
        get_register(),
    )
    raw = oru(HBSAG, specimen=specimen, control=control, placer="", patient=f"{number}^^^HOSP^MR")
    raw = raw.replace(b"Invented^Vera", name.encode())
    Receiver(
        inbox, control_id=lambda: "ANSWER", processor=None if state else processor
    ).take(raw, RECEIVED, "")  # fmt: skip
    last = max(each.id for state in State for each in inbox.in_state(state))
    if state not in (None, State.NEW):
        inbox.settle(last, state, "as a person or a rule said")
    return last


def bytes_of_the_inbox() -> bytes:
    return b"".join(path.read_bytes() for path in Path(settings.DATA).glob("inbox.sqlite3*"))


def test_names_go_from_the_laboratorys_messages_too_and_what_proves_the_message_stays(
    inbox: Inbox, monkeypatch: Any, capsys: Any
):
    over, still = source_case("Quarnbeck", "S-1", number="M-1"), source_case("Wielandt", "S-2")
    one = came(inbox, "Quarnbeck^Ottilie", "S-1", control="C1")
    other = came(inbox, "Wielandt^Ansgar", "S-2", control="C2", number="M-2")
    close(over)
    before = inbox.get(one)
    assert (before.state, inbox.get(other).state) == (State.MATCHED, State.MATCHED)

    assert run(LATE, monkeypatch, erase=False) == 0
    assert f"{over}, closed on 2026-03-03: would be erased, with the people in 1 message" in (
        capsys.readouterr().out
    )
    assert inbox.get(one) == before

    assert run(LATE, monkeypatch, erase=True) == 0

    assert b"Quarnbeck" not in bytes_of_the_inbox()
    assert b"Wielandt" in bytes_of_the_inbox()
    after = inbox.get(one)
    assert (after.digest, after.control_id, after.state) == (before.digest, "C1", State.MATCHED)
    assert after.digest == hashlib.sha256(before.raw).hexdigest()
    assert after.erased_at == LATE
    assert b"260385009" in after.raw
    assert inbox.get(other).erased_at is None
    assert get_store().entries(still)[-1].body["message"] == inbox.get(other).digest
    # The same bytes that come again are still the same, and say nothing new.
    (again,) = inbox.store([Arrival(before.sender, "C1", before.raw, LATE, State.NEW, "", (b"x",))])
    assert (again.fresh, again.id) == (False, one)
    capsys.readouterr()
    assert run(LATE, monkeypatch, erase=True) == 0
    assert "0 erased, and the people in 0 messages" in capsys.readouterr().out


def test_of_a_source_whom_nobody_wrote_down_the_messages_name_nobody_either(
    inbox: Inbox, monkeypatch: Any, capsys: Any
):
    case = source_case("", "S-1")
    came(inbox, "Quarnbeck^Ottilie", "S-1", control="C1")
    close(case)

    assert run(LATE, monkeypatch, erase=True) == 0

    assert b"Quarnbeck" not in bytes_of_the_inbox()
    assert f"{case}, closed on 2026-03-03: erased, with the people in 1 message" in (
        capsys.readouterr().out
    )
    # Nothing that the ledger knows was erased.
    assert get_store().entries(case)[-1].kind is Kind.CLOSED


def test_messages_that_were_never_recorded_are_known_by_their_sample_or_by_number_and_birth(
    inbox: Inbox, monkeypatch: Any
):
    case = source_case("Quarnbeck", "S-1", number="M-1")
    by_sample = came(
        inbox, "Quarnbeck^O", "S-1", control="C1", number="M-3", state=State.DUPLICATE
    )  # fmt: skip
    held = came(inbox, "Quarnbeck^P", "S-9", control="C2", state=State.HELD)
    stranger = came(inbox, "Wielandt^A", "S-9", control="C3", number="M-3", state=State.HELD)
    new = came(inbox, "Neuling^Ada", "S-9", control="C4", state=State.NEW)
    close(case)

    assert run(LATE, monkeypatch, erase=True) == 0

    assert inbox.get(by_sample).erased_at == LATE
    assert inbox.get(held).erased_at == LATE
    assert (inbox.get(stranger).erased_at, inbox.get(new).erased_at) == (None, None)
    assert b"Quarnbeck" not in bytes_of_the_inbox()


def test_a_source_whom_another_open_case_knows_keeps_what_no_case_recorded(
    inbox: Inbox, monkeypatch: Any
):
    over, _ = sorted(source_case("Quarnbeck", each, number="M-1") for each in ("S-1", "S-2"))
    held = came(inbox, "Quarnbeck^Ottilie", "S-9", control="C1")
    close(over)

    assert run(LATE, monkeypatch, erase=True) == 0

    assert inbox.get(held).erased_at is None


def test_a_batch_that_was_kept_whole_loses_the_people_with_its_messages(
    inbox: Inbox, monkeypatch: Any
):
    case = source_case("", "S-1")
    one = came(inbox, "Quarnbeck^Ottilie", "S-1", control="C1")
    raw = b"BHS|^~\\&|LAB\r" + inbox.get(one).raw + b"BTS|2\r"
    Receiver(inbox, control_id=lambda: "ANSWER").take(raw, RECEIVED, "")
    close(case)

    assert run(LATE, monkeypatch, erase=True) == 0

    assert b"Quarnbeck" not in bytes_of_the_inbox()


def test_what_breaks_off_between_the_inbox_and_the_ledger_is_done_again(
    inbox: Inbox, monkeypatch: Any
):
    case = source_case("Quarnbeck", "S-1", number="M-1")
    came(inbox, "Quarnbeck^Ottilie", "S-1", control="C1")
    close(case)

    def power_cut(*_: object) -> None:
        raise SystemExit

    with monkeypatch.context() as patched:
        patched.setattr(Inbox, "erase_people", power_cut)
        with pytest.raises(SystemExit):
            run(LATE, patched, erase=True)
    assert get_identities().source(case) is not None
    assert get_store().entries(case)[-1].kind is Kind.CLOSED

    assert run(LATE, monkeypatch, erase=True) == 0
    assert get_identities().source(case) is None
    assert b"Quarnbeck" not in bytes_of_the_inbox()


def test_an_inbox_of_before_learns_to_erase(tmp_path: Path):
    with Inbox(tmp_path) as opened:
        opened._database.execute("ALTER TABLE received DROP COLUMN erased_at")
    with Inbox(tmp_path) as opened:
        opened.store([Arrival("A|B", "C1", b"MSH|1", LATE, State.NEW, "", (b"x",))])
        assert opened.get(1).erased_at is None
