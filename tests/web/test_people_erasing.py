"""Who a leaver was is erased when their time is over: name, scans, papers, and the name in closed cases;
never a day early, never while a case is open or may be, and the chain stays whole."""

from __future__ import annotations

from argparse import Namespace
from datetime import date, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from django.conf import settings

from people.files import RESULT
from thimble import actions
from thimble.actions import people as acts
from thimble.actions.people_erasing import is_theirs, may_be_theirs
from thimble.clinical.vocabulary import VOCABULARY
from thimble.commands import NotUnderstood, people_identities
from thimble.commands.daily import JOBS
from thimble.exchange.inbox import Inbox, State
from thimble.exchange.receiving import Receiver
from thimble.ledger.entries import Draft, Kind
from thimble.ledger.verify import verify
from thimble.people.entries import Kind as PeopleKind
from thimble.people.identity import PersonIdentity
from thimble.web import clock, context
from thimble.web.context import get_identities, get_people, get_people_identities, get_store
from thimble.web.models import CertificatePaper, LetterRun, LetterTo
from thimble.web.vault import Vault

from .conftest import NIGHT, SITE
from .lab_people import number, oru
from .test_scrubbing import bytes_of_the_database

pytestmark = pytest.mark.usefixtures("append_only_db")
LEFT = date(2026, 6, 30)
LAST = date(2056, 6, 30)
"""The last of thirty years."""
BORN = date(1990, 5, 17)
WORK = {
    "works_as": "staff", "role": "Nurse", "site": "", "department": "", "cohort": "",
    "starts_on": None, "ends_on": None, "exposure_prone": "no", "categories": {},
}  # fmt: skip
WRITER = {"by": "u-x", "role": "occupational_nurse", "now": NIGHT}


@pytest.fixture(autouse=True)
def _times() -> None:
    rules('keep_after_leaving = "P30Y"')


def rules(text: str) -> None:
    people = f"{SITE}\n[people]\n{text}\n" if text else SITE
    (settings.DATA / "site.toml").write_text(people, encoding="utf-8")
    context.forget()


def leaver(name: str = "Quarnbeck", number: str = "8800417", left: date | None = LEFT) -> str:
    who = PersonIdentity(number, name, "Ottilie", BORN, "o@example.org")
    identities = get_people_identities()
    known = identities.all_identities()
    person = acts.enrol(get_people(), identities, who, WORK, not_the_same_as=known, **WRITER)
    if left is not None:
        acts.leave(get_people(), person, left, **WRITER)
    return person


def case_of(worker: actions.WorkerIdentity, *, closed: bool, at: datetime = NIGHT) -> str:
    case = actions.report(
        get_store(), facts={"route": "percutaneous"}, occurred_at=at,
        occurred_at_precision="minute", vocabulary=VOCABULARY, now=at,
    ).case  # fmt: skip
    get_identities().save_worker(case, worker, by="u-x", now=at)
    if closed:
        draft = Draft(Kind.CLOSED, at, {"reason": "source_negative", "text": ""})
        get_store().append(case, [draft], expected_position=None, by="u-x", role="x", now=at)
    return case


def on(day: date) -> datetime:
    return datetime(day.year, day.month, day.day, 12, tzinfo=NIGHT.tzinfo)


def run(day: date, monkeypatch: Any, *, erase: bool = True) -> int:
    monkeypatch.setattr(people_identities, "open_data", lambda *_, **__: None)
    with clock.standing_at(on(day)):
        return people_identities.run(Namespace(data=Path(), erase=erase))


def known(person: str) -> bool:
    return get_people_identities().identity(person) is not None


def test_name_scan_papers_and_the_name_in_a_closed_case_go_and_the_chain_stays(
    monkeypatch: Any, capsys: Any
) -> None:
    person, other = leaver(), leaver("Wielandt", "8800418", left=None)
    vault = Vault(settings.DATA)
    scan, letter, bound = (vault.put(text) for text in (b"scan", b"letter", b"letters of all"))
    body = {
        "name": scan, "digest": "0" * 64, "type": "application/pdf", "size": 4,
        "shows": next(iter(_documents())), "text": "",
    }  # fmt: skip
    acts.append_to(get_people(), person, [(PeopleKind.DOCUMENT_ATTACHED, body)], **WRITER)
    CertificatePaper.objects.create(
        number="T-1", person=person, name="Ottilie Quarnbeck", born=BORN, code="c", proof="p", salt="00"
    )  # fmt: skip
    letters = LetterRun.objects.create(
        id="l1", about="missing", by="u", role="r", at=NIGHT, file=bound, in_file=1
    )
    LetterTo.objects.create(run=letters, person=person, how="paper", letter=letter)
    case = case_of(actions.WorkerIdentity("Ottilie Quarnbeck", "8800417"), closed=True)
    assert b"Quarnbeck" in bytes_of_the_database()

    assert run(LAST + timedelta(days=1), monkeypatch) == 0

    assert not known(person)
    assert known(other)
    there = bytes_of_the_database()
    for trace in (b"Quarnbeck", b"8800417"):
        assert trace not in there, trace
    assert b"Wielandt" in there
    assert not (settings.DATA / "vault" / scan).exists()
    assert not (settings.DATA / "vault" / letter).exists()
    assert not (settings.DATA / "vault" / bound).exists()
    assert not CertificatePaper.objects.exists()
    assert get_identities().worker(case) is None
    last = get_people().entries(person)[-1]
    assert (last.kind, dict(last.body)) == (
        PeopleKind.IDENTITY_PURGED,
        {
            "kept_until": "2056-06-30",
            "rule": "site.toml: people.keep_after_leaving",
            "left_on": "2026-06-30",
        },
    )  # fmt: skip
    assert get_store().entries(case)[-1].kind is Kind.WORKER_IDENTITY_PURGED
    assert acts.person_of(get_people(), person, on(LAST + timedelta(days=2))).documents == ()
    assert verify(list(get_store().all_entries())) == []
    assert verify(list(get_people().all_entries()), subject="person") == []
    said = capsys.readouterr().out
    assert f"{person}, kept until 2056-06-30: erased, with 1 of their cases" in said
    assert "Quarnbeck" not in said
    # Once.
    assert run(LAST + timedelta(days=2), monkeypatch) == 0
    assert get_people().entries(person)[-1] == last


@pytest.mark.parametrize(("days", "kept"), [(-1, True), (0, True), (1, False)])
def test_it_is_kept_through_its_last_day(days: int, monkeypatch: Any, *, kept: bool) -> None:
    person = leaver()
    assert run(LAST + timedelta(days=days), monkeypatch) == 0

    assert known(person) is kept


def test_a_later_exposure_lengthens_it(monkeypatch: Any) -> None:
    rules('keep_after_leaving = "P30Y"\nkeep_after_exposure = "P40Y"')
    person = leaver()
    case_of(actions.WorkerIdentity("Ottilie Quarnbeck", "8800417"), closed=True)

    run(date(2066, 3, 3), monkeypatch)
    assert known(person)
    run(date(2066, 3, 4), monkeypatch)
    assert not known(person)


def test_who_was_exposed_here_after_the_last_day_on_file_had_not_left_yet(monkeypatch: Any) -> None:
    """Back at work under another file, or without one: the time begins at the exposure at the earliest."""
    person = leaver()
    back = on(date(2055, 1, 9))
    case = case_of(actions.WorkerIdentity("Ottilie Quarnbeck", "8800417"), closed=True, at=back)

    run(LAST + timedelta(days=1), monkeypatch)
    assert known(person)
    assert get_identities().worker(case) is not None
    run(date(2085, 1, 10), monkeypatch)
    assert not known(person)


@pytest.mark.parametrize(
    "worker",
    [
        actions.WorkerIdentity("Ottilie Quarnbeck", "8800417"),
        actions.WorkerIdentity("Somebody Else", "8800417"),
        actions.WorkerIdentity("Quarnbeck Ottilie"),
        actions.WorkerIdentity("Quarnbeck", date_of_birth=BORN),
    ],
)
def test_nobody_is_erased_while_a_case_is_open_that_may_be_theirs(
    worker: actions.WorkerIdentity, monkeypatch: Any
) -> None:
    person = leaver()
    case_of(worker, closed=False)
    run(LAST + timedelta(days=4000), monkeypatch)

    assert known(person)


def test_a_case_that_was_opened_again_is_open(monkeypatch: Any) -> None:
    person = leaver()
    case = case_of(actions.WorkerIdentity("Ottilie Quarnbeck", "8800417"), closed=True)
    draft = Draft(Kind.REOPENED, NIGHT, {"reason": "symptoms"})
    get_store().append(case, [draft], expected_position=None, by="u-x", role="x", now=NIGHT)
    run(LAST + timedelta(days=4000), monkeypatch)

    assert known(person)


def test_a_closed_case_that_is_not_theirs_for_certain_keeps_its_name(monkeypatch: Any) -> None:
    person = leaver()
    doubtful = case_of(actions.WorkerIdentity("Somebody Else", "8800417"), closed=True)
    run(LAST + timedelta(days=1), monkeypatch)

    assert not known(person)
    assert get_identities().worker(doubtful) is not None


@pytest.mark.parametrize("left", [None, LAST + timedelta(days=90)])
def test_nobody_who_has_not_left_is_erased(left: date | None, monkeypatch: Any) -> None:
    person = leaver(left=left)
    run(LAST + timedelta(days=60), monkeypatch)

    assert known(person)


def test_who_came_back_is_kept_until_they_leave_again(monkeypatch: Any) -> None:
    person = leaver()
    acts.come_back(
        get_people(), person, date(2030, 1, 1), **{**WRITER, "now": on(date(2030, 1, 1))}
    )
    run(LAST + timedelta(days=4000), monkeypatch)

    assert known(person)


def test_without_a_time_of_the_site_nobody_is_erased_and_the_law_is_told(
    monkeypatch: Any, capsys: Any
) -> None:
    rules("")
    person = leaver()
    assert run(date(2150, 1, 1), monkeypatch) == 0

    assert known(person)
    said = capsys.readouterr().out
    assert "Nobody is erased: site.toml sets no people.keep_after_leaving. United States:" in said
    assert "29 CFR 1910.1030(h)(1)(iv)" in said


def test_a_file_on_hold_is_kept_and_a_hold_that_cannot_be_read_stops_everything(
    monkeypatch: Any,
) -> None:
    person = leaver()
    rules(f'keep_after_leaving = "P30Y"\nhold = ["{person.lower()}"]')
    run(LAST + timedelta(days=9), monkeypatch)
    assert known(person)

    rules('keep_after_leaving = "P30Y"\nhold = ["P-1111-1112"]')
    with pytest.raises(NotUnderstood, match="Nothing was erased"):
        run(LAST + timedelta(days=9), monkeypatch)


def test_without_the_word_erase_it_only_shows(monkeypatch: Any, capsys: Any) -> None:
    person = leaver()
    assert run(LAST + timedelta(days=1), monkeypatch, erase=False) == 0

    assert f"{person}, kept until 2056-06-30: would be erased" in capsys.readouterr().out
    assert known(person)


def test_it_is_done_each_night() -> None:
    assert people_identities.erase_all in [job.run for job in JOBS]


def test_the_page_of_the_file_says_what_was_done(
    monkeypatch: Any, client: Any, signed_in: Any
) -> None:
    from thimble.web.roles import Role

    person = leaver()
    run(LAST + timedelta(days=1), monkeypatch)
    nurse = signed_in(Role.OCCUPATIONAL_NURSE)

    assert "Name erased" in nurse.get(f"/people/{person}/").text
    history = nurse.get(f"/people/{person}/history").text
    assert "Who this was is erased" in history
    assert "Rule: site.toml: people.keep_after_leaving" in history


def test_the_administrator_reads_how_long_names_are_kept(signed_in: Any) -> None:
    from thimble.web.roles import Role

    admin = signed_in(Role.ADMINISTRATOR)
    assert "30 years after leaving" in admin.get("/administration/site").text
    rules("")
    page = admin.get("/administration/site").text
    assert "For good: site.toml sets no time" in page
    assert "29 CFR 1910.1030(h)(1)(iv)" in page


NAMED = PersonIdentity("7", "Weber", "Anna Maria", BORN, "")


@pytest.mark.parametrize(
    ("worker", "may", "sure"),
    [
        (actions.WorkerIdentity("Anna Weber", "7"), True, True),
        (actions.WorkerIdentity("Karl Lindt", "7"), True, False),
        (actions.WorkerIdentity("Anna Weber", "8"), True, False),
        (actions.WorkerIdentity("Anna Maria Weber", date_of_birth=BORN), True, True),
        (actions.WorkerIdentity("Anna Maria Weber"), True, False),
        (actions.WorkerIdentity("Anna Maria Weber", date_of_birth=date(1990, 5, 18)), False, False),
        (actions.WorkerIdentity("Karl Lindt", date_of_birth=BORN), False, False),
        (actions.WorkerIdentity(""), False, False),
    ],
)
def test_which_cases_are_theirs(worker: actions.WorkerIdentity, *, may: bool, sure: bool) -> None:
    assert (may_be_theirs(NAMED, worker), is_theirs(NAMED, worker)) == (may, sure)


def _documents() -> dict[str, str]:
    from thimble.people.choices import DOCUMENTS

    return dict(DOCUMENTS)


def test_the_laboratorys_messages_about_them_lose_the_name_with_the_rest(monkeypatch: Any) -> None:
    """One recorded in the file, one in a case of theirs, one that was held; not that of somebody else."""
    person, other = leaver(), leaver("Andersen", "8800999", left=None)
    who = get_people_identities().identity(person)
    worker = actions.WorkerIdentity("Ottilie Quarnbeck", staff_number="8800417", date_of_birth=BORN)
    case = case_of(worker, closed=True)
    said = ("Quarnbeck^Ottilie", "Quarnbeck^Ottilie", "Quarnbeck^Ottilie", "Andersen^Ottilie")
    with Inbox(settings.DATA) as inbox:
        receiver = Receiver(inbox, control_id=lambda: "A")
        for at, name in enumerate(said):
            raw = oru(
                number("120"), patient="8800417", name=name, born="19900517", control=f"A{at}"
            )
            receiver.take(raw.replace(b"8800417", b"8800999") if at == 3 else raw, NIGHT, "")
            inbox.settle(at + 1, State.HELD if at == 2 else State.MATCHED)
        in_file, in_case, _, of_other = (inbox.get(n).digest for n in range(1, 5))
    result = {**RESULT, "message": in_file, "sample": {**RESULT["sample"], "direct": "yes"}}
    acts.append_to(get_people(), person, [(PeopleKind.RESULT_RECORDED, result)], **WRITER)
    acts.append_to(
        get_people(), other, [(PeopleKind.RESULT_RECORDED, {**result, "message": of_other})], **WRITER
    )  # fmt: skip
    titre = {"analyte": "anti_hbs", "word": None, "number": 120.0, "comparator": "=",
             "unit": "m[IU]/mL", "status": "final", "as_sent": ""}  # fmt: skip
    body = {"facts": {}, "text": "", "of": "worker", "drawn_for": "follow_up", "results": [titre],
            "taken_at": None, "reported_at": NIGHT.isoformat(), "request": "", "specimen": "",
            "laboratory": "", "looked_at": "", "message": in_case}  # fmt: skip
    draft = Draft(Kind.RESULT_RECEIVED, NIGHT, body)
    get_store().append(case, [draft], expected_position=None, by="laboratory", role="x", now=NIGHT)
    assert who is not None

    assert run(LAST + timedelta(days=1), monkeypatch) == 0

    with Inbox(settings.DATA) as inbox:
        kept = [b"Quarnbeck" in inbox.get(n).raw for n in (1, 2, 3)]
        assert (kept, b"Andersen" in inbox.get(4).raw) == ([False] * 3, True)
    files = (settings.DATA).glob("inbox.sqlite3*")
    assert all(b"Quarnbeck" not in path.read_bytes() for path in files)
