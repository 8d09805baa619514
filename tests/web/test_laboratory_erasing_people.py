"""Stored messages lose the people in them when the time of somebody of the register is over."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date
from pathlib import Path

import pytest
from django.conf import settings

from thimble.exchange.inbox import Inbox, State
from thimble.exchange.receiving import Receiver
from thimble.people.identity import PersonIdentity
from thimble.web.context import get_identities, get_protocol, get_site, get_store
from thimble.web.laboratory.erasing_people import messages_of
from thimble.web.laboratory.processing import LedgerProcessor
from thimble.web.laboratory.register import get_register

from .lab_people import ADA, MORNING, enrolled, labelled, number, oru, sampled

pytestmark = pytest.mark.django_db
BEN = PersonIdentity("Q-99", "Beispiel", "Ben", date(1985, 1, 2))
BEN_SAID = {"name": "Beispiel^Ben", "born": "19850102"}


@pytest.fixture
def inbox() -> Iterator[Inbox]:
    with Inbox(Path(settings.DATA)) as opened:
        yield opened


def take(inbox: Inbox, raw: bytes) -> int:
    processor = LedgerProcessor(
        inbox, get_store(), get_identities(), get_protocol(), get_site(), lambda: MORNING,
        get_register(),
    )  # fmt: skip
    Receiver(inbox, control_id=lambda: "A", processor=processor).take(raw, MORNING, "")
    return max(each.id for state in State for each in inbox.in_state(state))


def test_every_message_about_the_person_loses_them_and_no_other(inbox: Inbox) -> None:
    ada, ben = enrolled(), enrolled(BEN)
    label = sampled(ada)
    recorded = take(inbox, oru(number("120"), label=label, control="A1"))
    by_label = take(inbox, oru(number("120"), label=labelled(ada), control="A2"))
    by_number = take(inbox, oru(number("120", unit="x"), patient="Q-88", control="A3"))
    take(inbox, oru(number("120"), label=sampled(ben), control="A4", **BEN_SAID))
    take(inbox, oru(number("120"), label=labelled(ben), control="A5", patient="Q-88"))
    take(inbox, oru(number("120"), control="A6"))
    states = [inbox.get(n).state for n in (recorded, by_label, by_number)]
    assert states == [State.MATCHED, State.HELD, State.HELD]

    left = messages_of(inbox, get_register(), ada, ADA)
    assert set(left) == {recorded, by_label, by_number}
    inbox.erase_people(left, MORNING)

    assert all(b"Muster" not in inbox.get(n).raw for n in left)
    assert label.encode() in inbox.get(recorded).raw
    assert messages_of(inbox, get_register(), ada, ADA) == {}


def test_one_that_said_what_the_file_said_already_loses_them_too(inbox: Inbox) -> None:
    """Nothing was written of it, so that no entry names it."""
    ada, ben = enrolled(), enrolled(BEN)
    label = sampled(ada)
    first = take(inbox, oru(number("120"), label=label, control="A1"))
    again = take(inbox, oru(number("120"), label=label, control="A2"))
    by_number = take(inbox, oru(number("120"), patient="Q-88", placer="7", control="A3"))
    once_more = take(inbox, oru(number("120"), patient="Q-88", placer="7", control="A4"))
    take(inbox, oru(number("120"), label=sampled(ben), control="A5", **BEN_SAID))
    parted = f"{label[:6]} {label[6:]}".lower()
    by_label_alone = take(inbox, oru(number("120"), label=parted, born="", control="A6"))
    about_ada = {first, again, by_number, once_more, by_label_alone}
    assert {inbox.get(n).state for n in about_ada} == {State.MATCHED}

    assert set(messages_of(inbox, get_register(), ada, ADA)) == about_ada


@pytest.mark.parametrize("written", ["Q-88", "Q88", "q 88", "Q.88"])
def test_a_number_is_theirs_however_it_is_written(inbox: Inbox, written: str) -> None:
    """As where a message finds its file."""
    ada = enrolled()
    held = take(inbox, oru(number("120", unit="x"), patient=written))
    assert inbox.get(held).state is State.HELD
    assert set(messages_of(inbox, get_register(), ada, ADA)) == {held}


def test_one_that_nobody_looked_at_stays(inbox: Inbox) -> None:
    ada = enrolled()
    Receiver(inbox, control_id=lambda: "A").take(
        oru(number("120"), label=labelled(ada)), MORNING, ""
    )
    assert inbox.get(1).state is State.NEW
    assert messages_of(inbox, get_register(), ada, ADA) == {}


def test_a_batch_goes_with_its_messages(inbox: Inbox) -> None:
    """A batch whose count is wrong is kept whole beside its messages."""
    ada = enrolled()
    raw = oru(number("120"), label=sampled(ada))
    take(inbox, b"BHS|^~\\&|LIS\r" + raw + b"BTS|2\r")
    kept = [each for state in State for each in inbox.in_state(state)]
    assert len(kept) == 2

    left = messages_of(inbox, get_register(), ada, ADA)

    assert set(left) == {each.id for each in kept}
    assert all(b"Muster" not in raw for raw in left.values())
