"""What somebody sees and does about messages of people of the register; and who does not see it."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from datetime import date
from pathlib import Path

import pytest
from django.conf import settings
from django.test import Client
from django.urls import reverse

from thimble import actions
from thimble.clinical.vocabulary import VOCABULARY
from thimble.exchange.hl7v2.message import read_bytes
from thimble.exchange.inbox import Inbox, Received, State
from thimble.exchange.receiving import Receiver
from thimble.people.entries import Kind
from thimble.people.identity import PersonIdentity
from thimble.people.to_see import to_see
from thimble.web import clock
from thimble.web.context import (
    get_identities,
    get_people,
    get_people_identities,
    get_protocol,
    get_site,
    get_store,
    today,
    zone,
)
from thimble.web.laboratory.processing import MEANWHILE, LedgerProcessor, Told
from thimble.web.laboratory.register import get_register
from thimble.web.models import IdentityLook
from thimble.web.on_record.taken import source_of
from thimble.web.own_page.page import own_page
from thimble.web.roles import Role

from .lab_people import (
    ADA,
    HBSAG,
    HIV,
    MORNING,
    compared,
    dosed,
    enrolled,
    held,
    labelled,
    number,
    oru,
    results,
    sampled,
    typed,
    word,
)

pytestmark = pytest.mark.django_db
SignIn = Callable[[Role], Client]


@pytest.fixture(autouse=True)
def _morning() -> Iterator[None]:
    with clock.standing_at(MORNING):
        yield


@pytest.fixture
def ada() -> str:
    person = enrolled()
    dosed(person)
    return person


def came(raw: bytes) -> Received:
    """Take a message as the listener does."""
    with Inbox(Path(settings.DATA)) as inbox:
        processor = LedgerProcessor(
            inbox, get_store(), get_identities(), get_protocol(), get_site(), clock.now,
            get_register(),
        )  # fmt: skip
        Receiver(inbox, control_id=lambda: "ANSWER", processor=processor).take(raw, MORNING, "")
        return max((m for state in State for m in inbox.in_state(state)), key=lambda m: m.id)


def state_of(message: int) -> State:
    with Inbox(Path(settings.DATA)) as inbox:
        return inbox.get(message).state


def place(client: Client, message: int = 1, **typed: str):
    """As somebody does who compares both identities and finds them the same."""
    address = reverse("laboratory:place", args=[message])
    return compared(client, address, {"to": "register", **typed})


def test_a_message_is_placed_with_a_person_whom_the_page_proposes(ada: str, signed_in: SignIn):
    """The label was printed and the draw never written down; the name was changed by marriage."""
    label = labelled(ada)
    assert came(oru(number("120"), label=label, name="Neuer^Ada")).state is State.HELD
    nurse = signed_in(Role.OCCUPATIONAL_NURSE)
    page = nurse.get(reverse("laboratory:message", args=[1])).text
    assert "Muster, Ada" in page
    assert f"label {label} was printed for them" in page
    assert IdentityLook.objects.filter(case=ada, where="laboratory").count() == 1

    for fields, said in (
        ({"reason": "Rang them."}, "Choose whose results"),
        ({"reference": "P-AAAA-AAAA", "reason": "x"}, "No file of the register"),
        ({"reference": "Q-77", "reason": "x"}, "No file of the register"),
        ({"person": ada}, "how you know"),
        ({"person": ada, "reason": "Rang them.", "drawn_on": "2.3."}, "such as 2026-03-02"),
    ):
        refused = place(nurse, **fields)
        assert (refused.status_code, said in refused.text) == (422, True), fields
    assert results(ada) == []

    done = place(nurse, person=ada, reason="Rang them: married since.")
    assert (done.status_code, done["Location"]) == (302, reverse("people:person", args=[ada]))
    assert results(ada) == [("anti_hbs", None, "=", 120.0, "2026-03-02")]
    entry = get_people().entries(ada)[-1]
    assert entry.role == "occupational_nurse"
    assert entry.body["looked_at"] == "Rang them: married since."
    assert entry.body["sample"]["drawn_here"] == "not_known"
    assert state_of(1) is State.MATCHED
    shown = nurse.get(reverse("people:person", args=[ada])).text
    assert "A message of the laboratory, recorded" in shown


def test_a_message_about_two_people_is_placed_with_neither(ada: str):
    """What was found out about one of them says nothing of the other's results."""
    ben = enrolled(PersonIdentity("Q-99", "Beispiel", "Ben", date(1985, 1, 2)))
    of_ada = oru(number("120"), label=labelled(ada), name="Neuer^Ada")
    of_ben = oru(word("POSITIVE"), patient="Q-77", name="Beispiel^Ben", born="19850102")
    message = came(of_ada + of_ben.split(b"\r", 1)[1].replace(b"PID|1|", b"PID|2|"))
    read = read_bytes(message.raw)
    assert len(read.patients) == 2
    with Inbox(Path(settings.DATA)) as inbox:
        processor = LedgerProcessor(
            inbox, get_store(), get_identities(), get_protocol(), get_site(), clock.now,
            get_register(),
        )  # fmt: skip
        (why,) = processor.take(message, read, Told(ada, "Rang them: married since."))

    assert "more than one person" in why
    assert (results(ada), results(ben)) == ([], [])
    assert state_of(message.id) is State.HELD


def test_of_two_who_place_one_message_at_one_moment_the_first_holds(ada: str):
    ben = enrolled(PersonIdentity("Q-99", "Beispiel", "Ben", ADA.birth_date))
    message = came(oru(number("120"), label=labelled(ada), name="Neuer^Ada"))
    read = read_bytes(message.raw)
    with Inbox(Path(settings.DATA)) as inbox:
        processor = LedgerProcessor(
            inbox, get_store(), get_identities(), get_protocol(), get_site(), clock.now,
            get_register(),
        )  # fmt: skip
        assert processor.take(message, read, Told(ada, "Rang them.")) == ()
        # Both had read it while it was held.
        assert processor.take(message, read, Told(ben, "Looks like Ben.")) == (MEANWHILE,)

    assert (len(results(ada)), results(ben)) == (1, [])
    assert state_of(message.id) is State.MATCHED


@pytest.mark.parametrize("named", ["q 88", "reference"])
def test_the_day_of_the_draw_is_given_where_the_message_leaves_it_out(
    ada: str, signed_in: SignIn, named: str
):
    came(oru(number("120"), patient="Q-88", collected=""))
    nurse = signed_in(Role.OCCUPATIONAL_NURSE)
    who = ada if named == "reference" else named
    refused = place(nurse, reference=who, reason="Ours.")
    assert "Give the day" in refused.text
    assert 'value="' + who in refused.text
    assert place(nurse, reference=who, reason="Ours.", drawn_on="2026-02-20").status_code == 302
    assert results(ada)[0][-1] == "2026-02-20"


def test_placing_silences_no_doubt_that_was_not_shown(ada: str, signed_in: SignIn):
    typed(ada, number=8, unit="m[IU]/mL")
    came(oru(number("120"), label=labelled(ada)))
    nurse = signed_in(Role.OCCUPATIONAL_NURSE)

    doubted = place(nurse, person=ada, reason="Ours.")
    assert "another result of the same day is on record" in doubted.text
    assert len(results(ada)) == 1
    assert doubted.text.count('name="doubts_shown" value="1"') == 1
    assert place(nurse, person=ada, reason="Two draws.", doubts_shown="1").status_code == 302
    assert len(results(ada)) == 2


def test_only_who_places_messages_and_edits_people_places_them_so(ada: str, signed_in: SignIn):
    came(oru(number("120"), label=labelled(ada)))
    for role in Role:
        client = signed_in(role)
        may = role in (Role.OCCUPATIONAL_NURSE, Role.OCCUPATIONAL_PHYSICIAN)
        assert (place(client).status_code == 403) is not may, role
        seen = client.post(reverse("laboratory:seen", args=[ada]), {"text": "x", "entry": "1"})
        assert (seen.status_code == 403) is (role is not Role.OCCUPATIONAL_PHYSICIAN), role


def test_a_positive_result_waits_on_the_lists_until_a_physician_has_seen_it(
    ada: str, signed_in: SignIn
):
    """Before the first day and after the last one too."""
    leaver = enrolled(PersonIdentity("Q-99", "Gegangen", "Gil", date(1980, 1, 1)),
                      starts_on="2020-01-01", ends_on="2026-03-01")  # fmt: skip
    came(oru(word("Positive", HBSAG), label=sampled(ada)))
    came(
        oru(word("Reactive", HIV, "P"), label=sampled(leaver), control="A2", name="Gegangen^Gil",
            born="19800101")
    )  # fmt: skip
    nurse, physician = signed_in(Role.OCCUPATIONAL_NURSE), signed_in(Role.OCCUPATIONAL_PHYSICIAN)
    lists = reverse("rechecks:listed") + "?topic=look_at"
    for client in (nurse, physician):
        listed = client.get(lists).text
        assert listed.count("See a result of the laboratory") >= 2
        assert not [what for what in ("HBsAg", "HIV", "ositive", "eactive") if what in listed]
        assert "Muster, Ada" in listed
        assert "Gegangen, Gil" in listed
    assert "2 people" in physician.get(reverse("fitness:reviews")).text
    assert "2 people" in nurse.get(reverse("laboratory:inbox")).text
    export = nurse.get(reverse("rechecks:export_csv")).content.decode()
    assert "result of the laboratory" not in export

    page = physician.get(reverse("people:person", args=[ada])).text
    assert "A physician has to see this" in page
    assert "HBsAg: positive, drawn 2 Mar 2026" in page
    assert "I have seen it" in page
    assert "I have seen it" not in nurse.get(reverse("people:person", args=[ada])).text
    (waits,) = to_see(held(ada))
    address = reverse("laboratory:seen", args=[ada])
    physician.post(address, {"entry": waits.entry, "text": " "})
    assert to_see(held(ada)) == (waits,)
    physician.post(address, {"entry": waits.entry, "text": "Told her; DNA is drawn."})

    assert to_see(held(ada)) == ()
    assert "A physician has to see" not in nurse.get(reverse("people:person", args=[ada])).text
    history = nurse.get(reverse("people:history", args=[ada])).text
    assert "Told her; DNA is drawn." in history
    assert "Muster" not in nurse.get(lists).text


def test_what_was_taken_back_is_shown_by_what_it_was(ada: str, signed_in: SignIn):
    label = sampled(ada)
    case = actions.report(
        get_store(), facts={"route": "percutaneous"}, occurred_at=None,
        occurred_at_precision="unknown", vocabulary=VOCABULARY, now=MORNING,
    ).case  # fmt: skip
    actions.note(get_store(), case, source_of(ada), now=MORNING, by="u-7", role="nurse")
    came(oru(word("Positive", HBSAG), label=label))
    came(oru(word("Positive", HBSAG, "W"), label=label, control="A2", at="023000"))

    page = signed_in(Role.OCCUPATIONAL_PHYSICIAN).get(reverse("people:person", args=[ada])).text
    assert "HBsAg: positive, drawn 2 Mar 2026" in page
    assert "It was taken back by the laboratory" in page
    assert case in page
    history = signed_in(Role.OCCUPATIONAL_NURSE).get(reverse("people:history", args=[ada])).text
    assert "find out whose result it was" in history


def test_the_persons_own_page_says_nothing_of_what_came(ada: str):
    before = own_page(held(ada), ADA, get_site(), today(), zone())
    label = sampled(ada)
    came(oru(word("Positive", HBSAG), label=label))
    came(oru(word("Reactive", HIV, "P"), label=label, control="A2"))
    after = own_page(held(ada), ADA, get_site(), today(), zone())

    said = repr(after)
    assert not [what for what in ("HBsAg", "HIV", "ositive", "eactive") if what in said]
    assert set(after.missing) == set(before.missing)
    assert get_people_identities().identity(ada) == ADA


OTHER = PersonIdentity("Q-12", "Andere", "Adele", date(1991, 2, 5))


def test_both_identities_are_compared_before_anything_is_recorded(ada: str, signed_in: SignIn):
    came(oru(number("120"), patient="Q-88", collected="20260302", name="Neuer^Ada", born=""))
    nurse = signed_in(Role.OCCUPATIONAL_NURSE)
    address = reverse("laboratory:place", args=[1])
    fields = {"to": "register", "reference": ada, "reason": "Rang them: married since."}

    page = nurse.post(address, fields)
    assert page.status_code == 200
    for said in (
        "Neuer, Ada",
        "Muster, Ada",
        "6 May 1990",
        "not said",
        "Q-88",
        "Something differs",
    ):
        assert said in page.text, said
    assert "Rang them: married since." in page.text
    assert IdentityLook.objects.filter(case=ada, where="laboratory").exists()
    assert (results(ada), state_of(1)) == ([], State.HELD)
    back = nurse.post(address, {**fields, "back": "1", "compared": ada})
    assert f'value="{ada}"' in back.text
    # Whoever compared another person has not compared this one.
    other = enrolled(OTHER)
    assert nurse.post(address, {**fields, "compared": other}).status_code == 200
    assert (results(ada), state_of(1)) == ([], State.HELD)

    assert nurse.post(address, {**fields, "compared": ada}).status_code == 302
    assert len(results(ada)) == 1


@pytest.mark.parametrize("born", ["19900506", "199005", "1990", "19900507", "1989"])
def test_nothing_is_recorded_of_somebody_with_another_date_of_birth(
    ada: str, signed_in: SignIn, born: str
):
    """A year alone fits everybody of that year and nobody else."""
    came(oru(number("120"), label=labelled(ada), name="Neuer^Ada", born=born))
    nurse = signed_in(Role.OCCUPATIONAL_NURSE)
    before = inbox_reason(1)
    fields = {
        "to": "register",
        "person": ada,
        "reason": "Sure.",
        "doubts_shown": "1",
        "compared": ada,
    }
    answer = nurse.post(reverse("laboratory:place", args=[1]), fields)

    if "19900506".startswith(born):
        assert (answer.status_code, len(results(ada))) == (302, 1)
        return
    assert (answer.status_code, results(ada), state_of(1)) == (422, [], State.HELD)
    assert "the date of birth in the message is not the one in this file" in answer.text
    assert "record it</button>" not in answer.text
    # That somebody named the wrong person says nothing of the message.
    assert inbox_reason(1) == before


def inbox_reason(message: int) -> str:
    with Inbox(Path(settings.DATA)) as inbox:
        return inbox.get(message).reason


def withdraw(client: Client, person: str):
    (result,) = held(person).of(Kind.RESULT_RECORDED)
    address = reverse("people:withdraw", args=[person, result.entry])
    return client.post(address, {"reason": "Somebody else's."})


def test_what_was_put_into_the_wrong_file_is_withdrawn_there_and_placed_anew(
    ada: str, signed_in: SignIn
):
    wrong = enrolled(PersonIdentity("Q-12", "Fremd", "Wiebke", ADA.birth_date))
    came(oru(number("120"), name="Neuer^Ada"))
    nurse = signed_in(Role.OCCUPATIONAL_NURSE)
    page, hold = reverse("laboratory:message", args=[1]), reverse("laboratory:hold_again", args=[1])
    place(nurse, reference=wrong, reason="Looks like her.")
    shown = nurse.get(page).text
    assert reverse("people:person", args=[wrong]) in shown
    assert "Hold it again" not in shown
    nurse.post(hold)
    assert state_of(1) is State.MATCHED  # it stands in a file

    assert withdraw(nurse, wrong)["Location"] == page
    shown = nurse.get(page).text
    assert "withdrawn since" in shown
    assert "Hold it again" in shown
    for _ in range(2):
        assert nurse.post(hold)["Location"] == page
        assert state_of(1) is State.HELD
    assert wrong in nurse.get(page).text
    place(nurse, reference=ada, reason="Rang them.")

    assert (results(wrong), len(results(ada)), state_of(1)) == ([], 1, State.MATCHED)
    assert nurse.post(hold).status_code == 302
    assert state_of(1) is State.MATCHED


def test_it_can_be_placed_in_the_same_file_again_once(ada: str, signed_in: SignIn):
    came(oru(number("120"), name="Neuer^Ada"))
    nurse = signed_in(Role.OCCUPATIONAL_NURSE)
    place(nurse, reference=ada, reason="Rang them.")
    withdraw(nurse, ada)
    nurse.post(reverse("laboratory:hold_again", args=[1]))
    place(nurse, reference=ada, reason="It was hers.")
    assert (len(results(ada)), state_of(1)) == (1, State.MATCHED)


def test_what_the_laboratory_took_back_is_not_held_again(ada: str, signed_in: SignIn):
    label = sampled(ada)
    came(oru(word("Positive", HBSAG), label=label))
    came(oru(word("Positive", HBSAG, "W"), label=label, control="A2", at="023000"))
    nurse = signed_in(Role.OCCUPATIONAL_NURSE)
    assert (
        "taken back by the laboratory since"
        in nurse.get(reverse("laboratory:message", args=[1])).text
    )
    for message in (1, 2):
        nurse.post(reverse("laboratory:hold_again", args=[message]))
        assert state_of(message) is State.MATCHED


def test_a_message_stands_in_one_file_at_a_time(ada: str, signed_in: SignIn):
    """A process that died after recording leaves it held, with somebody's results in a file."""
    twin = enrolled(PersonIdentity("Q-12", "Fremd", "Wiebke", ADA.birth_date))
    came(oru(number("120"), name="Neuer^Ada"))
    nurse = signed_in(Role.OCCUPATIONAL_NURSE)
    place(nurse, reference=ada, reason="Rang them.")
    with Inbox(Path(settings.DATA)) as inbox:
        inbox.settle(1, State.HELD, "as before")

    assert "stands in another file or case" in place(nurse, reference=twin, reason="Hers?").text
    assert (len(results(ada)), results(twin)) == (1, [])
    assert place(nurse, reference=ada, reason="Rang them.").status_code == 302
    assert len(results(ada)) == 1
