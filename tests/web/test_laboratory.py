"""Messages find their case by the numbers of the sample, or wait for a person with the reason."""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, date, datetime, timedelta

import pytest
from django.test import Client
from django.urls import reverse

from thimble import actions
from thimble.actions import SourceIdentity, WorkerIdentity
from thimble.clinical.vocabulary import VOCABULARY
from thimble.exchange.hl7v2.message import read_bytes
from thimble.exchange.inbox import Inbox, Settled, State
from thimble.exchange.receiving import Receiver
from thimble.ledger.entries import Kind
from thimble.ledger.verify import verify
from thimble.web import clock
from thimble.web.context import get_identities, get_protocol, get_site, get_store
from thimble.web.laboratory.processing import LedgerProcessor
from thimble.web.laboratory.register import get_register
from thimble.web.roles import Role

from .conftest import NIGHT
from .lab_people import compared

pytestmark = pytest.mark.django_db
SignIn = Callable[[Role], Client]
WRITER = {"by": "u-7", "role": "emergency_clinician"}
MORNING = datetime(2026, 3, 3, 9, 0, tzinfo=UTC)


def oru(
    *rows: str,
    placer: str = "R-1001",
    specimen: str = "S-17",
    patient: str = "M-55^^^HOSP^MR",
    born: str = "19700102",
    collected: str = "202603030300+0100",
    control: str = "MSG1",
) -> bytes:
    """An invented message of results, version 2.5.1."""
    segments = [
        f"MSH|^~\\&|LAB|INVENTED|THIMBLE|HOSP|20260303080000+0100||ORU^R01^ORU_R01|{control}|P|2.5.1",
        f"PID|1||{patient}||Invented^Vera||{born}|F",
        f"OBR|1|{placer}|F-9|24110-9^panel^LN|||{collected}|||||||||||||||20260303075500+0100|||F",
        *(f"OBX|{at}|{row}" for at, row in enumerate(rows, 1)),
        f"SPM|1|{specimen}||119297000^Blood^SCT",
    ]
    return "\r".join(segments).encode() + b"\r"


HBSAG_NEGATIVE = "CE|5195-3^HBsAg^LN||260385009^Negative^SCT||||||F"
HBSAG_POSITIVE = "CE|5195-3^HBsAg^LN||10828004^Positive^SCT||||||C"
UNKNOWN_TEST = "ST|99999-9^mystery^L||Negative||||||F"


@pytest.fixture
def receiver(inbox: Inbox) -> Receiver:
    processor = LedgerProcessor(
        inbox,
        get_store(),
        get_identities(),
        get_protocol(),
        get_site(),
        lambda: MORNING,
        get_register(),
    )
    return Receiver(inbox, control_id=lambda: "ANSWER", processor=processor)


@pytest.fixture
def case() -> str:
    return actions.report(
        get_store(), facts={"route": "percutaneous", "fluid": "blood"},
        occurred_at=NIGHT - timedelta(hours=1), occurred_at_precision="minute",
        vocabulary=VOCABULARY, now=NIGHT, identities=get_identities(),
        worker=WorkerIdentity("Wilma Invented", staff_number="Q77", date_of_birth=date(1990, 5, 6)),
    ).case  # fmt: skip


def sampled(case: str, **numbers: str) -> None:
    actions.sample_source(
        get_store(), case, action="source_hbsag_test", now=NIGHT, **numbers, **WRITER
    )


def send(receiver: Receiver, raw: bytes) -> bytes:
    (answer,) = receiver.take(raw, MORNING, "10.0.0.9").answers
    return answer


def last(case: str):
    return get_store().entries(case)[-1]


def state(inbox: Inbox, number: int = 1) -> State:
    return inbox.get(number).state


def forget_what_became_of_it(inbox: Inbox, number: int = 1) -> None:
    inbox._database.execute("UPDATE received SET state = 'new' WHERE id = ?", (number,))


PRELIMINARY = "CE|5195-3^HBsAg^LN||10828004^Positive^SCT||||||P"
PROMOTED = "CE|5195-3^HBsAg^LN||||||||U"


def test_a_preliminary_result_becomes_final_without_being_sent_again(
    case: str, inbox: Inbox, receiver: Receiver
):
    sampled(case, specimen="S-17")
    send(receiver, oru(PRELIMINARY))
    assert last(case).body["results"][0]["status"] == "preliminary"

    send(receiver, oru(PROMOTED, control="MSG2"))

    (result,) = last(case).body["results"]
    assert (result["word"], result["status"]) == ("positive", "final")
    assert last(case).body["facts"] == {"source_hbsag": "positive"}
    assert state(inbox, 2) is State.MATCHED


@pytest.mark.parametrize(
    ("again", "kept"), [("10828004^Positive", State.MATCHED), ("260385009^Negative", State.HELD)]
)
def test_a_promotion_with_its_value_beside_it_says_the_same_or_is_held(
    case: str, inbox: Inbox, receiver: Receiver, again: str, kept: State
):
    sampled(case, specimen="S-17")
    send(receiver, oru(PRELIMINARY))

    send(receiver, oru(PRELIMINARY.replace("10828004^Positive", again)[:-1] + "U", control="MSG2"))

    assert state(inbox, 2) is kept
    results = [e.body["results"][0] for e in get_store().entries(case) if "results" in e.body]
    assert [one["word"] for one in results] == ["positive"] * (2 if kept is State.MATCHED else 1)


def test_a_message_in_utf_16_is_held_and_both_sides_are_told_what_to_do(
    inbox: Inbox, receiver: Receiver
):
    answer = send(receiver, oru(HBSAG_NEGATIVE).decode().encode("utf-16"))

    assert b"MSA|AR" in answer
    assert b"Ask the sender to send it in UTF-8" in answer
    assert (state(inbox), "UTF-8" in inbox.get(1).reason) == (State.HELD, True)


def test_a_positive_pregnancy_test_against_a_no_on_record_waits_for_a_person(
    case: str, inbox: Inbox, receiver: Receiver
):
    actions.learn_facts(
        get_store(), case, {"worker_pregnancy": "no"}, said_by="worker",
        vocabulary=VOCABULARY, now=NIGHT, **WRITER,
    )  # fmt: skip
    actions.take_sample(
        get_store(), case, actions="pregnancy_test", now=NIGHT, specimen="S-17", **WRITER
    )
    send(receiver, oru("CE|2106-3^hCG^LN||10828004^Positive^SCT||||||F", born="19900506"))

    assert state(inbox) is State.HELD
    assert "Is the worker pregnant" in inbox.get(1).reason


@pytest.mark.parametrize(
    "before", [None, {"collected": "202603030200+0100"}, {"placer": "R-2"}], ids=str
)
def test_a_promotion_without_its_own_preliminary_result_is_held(
    case: str, inbox: Inbox, receiver: Receiver, before: dict[str, str] | None
):
    sampled(case, specimen="S-17")
    if before is not None:
        send(receiver, oru(PRELIMINARY, **before))
    length = len(get_store().entries(case))

    send(receiver, oru(PROMOTED, control="MSG2"))

    assert len(get_store().entries(case)) == length
    assert state(inbox, 1 if before is None else 2) is State.HELD


@pytest.mark.parametrize("numbers", [{"request": "R-1001"}, {"specimen": "s-17"}])
def test_a_result_finds_its_case_by_the_number_of_the_sample(
    case: str, inbox: Inbox, receiver: Receiver, numbers: dict[str, str]
):
    sampled(case, **numbers)
    assert b"MSA|AA|MSG1" in send(receiver, oru(HBSAG_NEGATIVE))

    entry = last(case)
    assert entry.kind is Kind.RESULT_RECEIVED
    assert entry.body["facts"] == {"source_hbsag": "negative"}
    assert entry.body["action"] == "source_hbsag_test"
    assert (entry.by, entry.body["request"]) == ("laboratory", "R-1001")
    assert state(inbox) is State.MATCHED


def test_the_same_message_again_is_recorded_once_even_after_a_crash(
    case: str, inbox: Inbox, receiver: Receiver
):
    sampled(case, request="R-1001")
    raw = oru(HBSAG_NEGATIVE)
    assert send(receiver, raw) == send(receiver, raw)
    forget_what_became_of_it(inbox)  # as if the process had died before the inbox knew
    receiver._processor.process(inbox.get(1), read_bytes(raw))

    kinds = [entry.kind for entry in get_store().entries(case)]
    assert kinds.count(Kind.RESULT_RECEIVED) == 1
    assert state(inbox) is State.MATCHED


def test_of_messages_recorded_together_each_is_recorded_whole_or_held_whole(
    case: str, inbox: Inbox, receiver: Receiver, caplog: pytest.LogCaptureFixture
):
    """The second one's own second sample is doubtful; the third one makes the directory fail."""
    sampled(case, specimen="S-17")
    actions.learn_facts(
        get_store(), case, {"source_hbsag": "negative"}, said_by="clinician",
        vocabulary=VOCABULARY, now=NIGHT, **WRITER,
    )  # fmt: skip
    good = oru("ST|13955-0^anti-HCV^LN||Negative||||||F", control="MSG1")
    segments = oru("ST|56888-1^HIV^LN||Negative||||||F", control="MSG2").split(b"\r")
    second = oru(HBSAG_POSITIVE).split(b"\r")[2:]
    half_doubtful = b"\r".join([*segments[:-1], *second])
    later = oru("ST|56888-1^HIV^LN||Negative||||||F", control="MSG4")
    fails = oru("ST|56888-1^HIV^LN||Negative||||||F", control="MSG3", specimen="BOOM")
    processor = receiver._processor
    plain = Receiver(inbox, control_id=lambda: "ANSWER")
    for raw in (good, half_doubtful, fails, later):
        plain.take(raw, MORNING, "")
    directory = processor._directory
    known = directory.samples

    def samples(key: str):
        if key == "BOOM":
            raise RuntimeError("Invented^Vera")
        return known(key)

    directory.samples = samples
    messages = [(each, read_bytes(each.raw)) for each in inbox.unprocessed()]

    assert processor.process_all(messages) == 1

    recorded = [e for e in get_store().entries(case) if e.kind is Kind.RESULT_RECEIVED]
    assert [e.body["message"] for e in recorded] == [
        m[0].digest for m in (messages[0], messages[3])
    ]
    assert [state(inbox, n) for n in (1, 2, 3, 4)] == [
        State.MATCHED, State.HELD, State.NEW, State.MATCHED,
    ]  # fmt: skip
    assert "Find out whose blood it was" in inbox.get(2).reason
    assert "Vera" not in caplog.text
    assert verify(list(get_store().all_entries())) == []


def test_a_message_that_a_person_settled_meanwhile_is_left_alone(
    case: str, inbox: Inbox, receiver: Receiver
):
    sampled(case, specimen="S-17")
    Receiver(inbox, control_id=lambda: "ANSWER").take(oru(HBSAG_NEGATIVE), MORNING, "")
    at_hand = [(each, read_bytes(each.raw)) for each in inbox.unprocessed()]
    inbox.settle(1, State.DUPLICATE, "Entered by hand.")

    assert receiver._processor.process_all(at_hand) == 0
    inbox.settle_new([Settled(1, State.HELD, "too late")])

    assert last(case).kind is not Kind.RESULT_RECEIVED
    assert (state(inbox), inbox.get(1).reason) == (State.DUPLICATE, "Entered by hand.")


def test_two_messages_of_one_case_that_are_recorded_together_see_each_other(
    case: str, inbox: Inbox, receiver: Receiver
):
    sampled(case, specimen="S-17")
    plain = Receiver(inbox, control_id=lambda: "ANSWER")
    plain.take(oru(HBSAG_NEGATIVE), MORNING, "")
    plain.take(oru(HBSAG_POSITIVE, control="MSG2"), MORNING, "")

    receiver._processor.process_all([(m, read_bytes(m.raw)) for m in inbox.unprocessed()])

    facts = [e.body["facts"] for e in get_store().entries(case) if e.kind is Kind.RESULT_RECEIVED]
    assert facts == [{"source_hbsag": "negative"}, {"source_hbsag": "positive"}]
    assert verify(list(get_store().all_entries())) == []


def test_a_correction_from_negative_to_positive_supersedes(case: str, receiver: Receiver):
    sampled(case, request="R-1001")
    send(receiver, oru(HBSAG_NEGATIVE))
    send(receiver, oru(HBSAG_POSITIVE, control="MSG2"))

    assert last(case).body["facts"] == {"source_hbsag": "positive"}


@pytest.mark.parametrize(
    ("raw", "said"),
    [
        (
            oru(HBSAG_NEGATIVE, placer="R-9", specimen="S-9", patient="M-9^^^HOSP^MR"),
            "No case and no file",
        ),
        (oru(UNKNOWN_TEST), "mystery"),
        (oru(HBSAG_NEGATIVE, UNKNOWN_TEST), "mystery"),
        (
            oru("CE|5195-3^HBsAg^LN||10828004^Positive^SCT||||||U"),
            "makes a preliminary result final",
        ),
        (oru("CE|5195-3^HBsAg^LN|||||||| |X"), ""),
    ],
)
def test_what_cannot_be_placed_or_read_is_held_with_the_reason_and_records_nothing(
    case: str, inbox: Inbox, receiver: Receiver, raw: bytes, said: str
):
    sampled(case, request="R-1001", specimen="S-17")
    before = len(get_store().entries(case))
    assert b"MSA|AA" in send(receiver, raw)

    assert len(get_store().entries(case)) == before
    assert state(inbox) is State.HELD
    assert said in inbox.get(1).reason


def test_a_source_is_known_by_number_and_birth_date_together(
    case: str, inbox: Inbox, receiver: Receiver
):
    get_identities().save_source(
        case, SourceIdentity("Vera Invented", "M-55", date(1970, 1, 2)), by="u-7", now=NIGHT
    )
    send(receiver, oru(HBSAG_NEGATIVE, born="19700103"))
    assert state(inbox) is State.HELD
    send(receiver, oru(HBSAG_NEGATIVE, control="MSG2"))

    assert state(inbox, 2) is State.MATCHED
    assert last(case).body["of"] == "source"


def test_another_birth_date_than_that_of_the_sample_is_held(
    case: str, inbox: Inbox, receiver: Receiver
):
    sampled(case, request="R-1001")
    get_identities().save_source(
        case, SourceIdentity("Vera Invented", "M-55", date(1955, 1, 2)), by="u-7", now=NIGHT
    )
    send(receiver, oru(HBSAG_NEGATIVE))

    assert state(inbox) is State.HELD
    assert "date of birth" in inbox.get(1).reason


def test_a_worker_known_by_number_alone_is_asked_about(case: str, inbox: Inbox, receiver: Receiver):
    send(receiver, oru(HBSAG_NEGATIVE, patient="Q77^^^HOSP^EI", born="19900506"))

    assert state(inbox) is State.HELD
    assert "at the exposure or in follow-up" in inbox.get(1).reason


def test_a_result_against_the_record_waits_for_a_person(
    case: str, inbox: Inbox, receiver: Receiver
):
    sampled(case, request="R-1001")
    actions.learn_facts(
        get_store(), case, {"source_hbsag": "positive"}, said_by="record", vocabulary=VOCABULARY,
        now=NIGHT, **WRITER,
    )  # fmt: skip
    before = len(get_store().entries(case))
    send(receiver, oru(HBSAG_NEGATIVE))

    assert len(get_store().entries(case)) == before
    assert "which is right" in inbox.get(1).reason


# -- the pages ------------------------------------------------------------------------------------


def test_only_who_follows_the_workers_places_messages(
    inbox: Inbox, receiver: Receiver, signed_in: SignIn
):
    send(receiver, oru(HBSAG_NEGATIVE))
    for role in Role:
        client = signed_in(role)
        may = role in (Role.OCCUPATIONAL_NURSE, Role.OCCUPATIONAL_PHYSICIAN)
        for address in (reverse("laboratory:inbox"), reverse("laboratory:message", args=[1])):
            assert client.get(address).status_code == (200 if may else 403), role


def test_a_person_places_a_message_and_says_how_they_know(
    case: str, inbox: Inbox, receiver: Receiver, signed_in: SignIn
):
    send(receiver, oru(HBSAG_NEGATIVE))
    client = signed_in(Role.OCCUPATIONAL_NURSE)
    listed = client.get(reverse("laboratory:inbox")).text
    assert "No case and no file" in listed
    assert "Invented, Vera" not in listed
    assert "Invented, Vera" in client.get(reverse("laboratory:message", args=[1])).text

    address = reverse("laboratory:assign", args=[1])
    for typed, said in (
        ({"case": "nonsense"}, "Write the reference"),
        ({"case": case}, "whose blood"),
        ({"case": case, "whose": "source"}, "how you know"),
    ):
        refused = client.post(address, typed)
        assert (refused.status_code, said in refused.text) == (422, True)
    with clock.standing_at(MORNING):
        client = signed_in(Role.OCCUPATIONAL_PHYSICIAN)
        done = compared(
            client, address, {"case": case, "whose": "source", "reason": "Rang the ward."}
        )
    assert done.status_code == 302

    assert last(case).body["looked_at"] == "Rang the ward."
    assert last(case).role == "occupational_physician"
    assert state(inbox) is State.MATCHED


def test_a_message_that_is_not_ours_is_settled_with_a_reason(
    inbox: Inbox, receiver: Receiver, signed_in: SignIn
):
    send(receiver, oru(HBSAG_NEGATIVE))
    client = signed_in(Role.OCCUPATIONAL_NURSE)
    address = reverse("laboratory:settle", args=[1])
    assert client.post(address, {}).status_code == 422
    assert client.post(address, {"reason": "Not one of ours."}).status_code == 302

    assert state(inbox) is State.DUPLICATE
    assert "Not one of ours." in inbox.get(1).reason


def test_a_message_that_does_not_exist_is_not_found(signed_in: SignIn):
    client = signed_in(Role.OCCUPATIONAL_NURSE)

    assert client.get(reverse("laboratory:message", args=[99])).status_code == 404


def test_a_message_is_recorded_whole_or_not_at_all(case: str, inbox: Inbox, receiver: Receiver):
    """The second order is in doubt: nothing of the first is written either."""
    sampled(case, request="R-1001")
    sampled(case, request="R-1002")
    actions.learn_facts(
        get_store(), case, {"source_hiv": "positive"}, said_by="record", vocabulary=VOCABULARY,
        now=NIGHT, **WRITER,
    )  # fmt: skip
    before = len(get_store().entries(case))
    second = (
        b"OBR|2|R-1002|F-10|56888-1^HIV^LN|||202603030300+0100|||||||||||||||20260303075500+0100|||F\r"
        b"OBX|1|CE|56888-1^HIV 1+2 Ab+HIV1 p24 Ag^LN||260385009^Negative^SCT||||||F\r"
    )
    send(receiver, oru(HBSAG_NEGATIVE) + second)

    assert state(inbox) is State.HELD
    assert "which is right" in inbox.get(1).reason
    assert len(get_store().entries(case)) == before


def test_a_sample_is_known_from_when_it_is_recorded_until_it_is_withdrawn(
    case: str, inbox: Inbox, receiver: Receiver
):
    send(receiver, oru(HBSAG_NEGATIVE))
    assert state(inbox, 1) is State.HELD
    sampled(case, request="R-1001")
    send(receiver, oru(HBSAG_NEGATIVE, control="MSG2"))
    assert state(inbox, 2) is State.MATCHED
    taken = next(e for e in get_store().entries(case) if e.kind is Kind.SOURCE_SAMPLED)
    actions.correct(
        get_store(), case, taken.position, reason="another patient", withdrawn=True,
        vocabulary=VOCABULARY, now=MORNING, **WRITER,
    )  # fmt: skip
    send(receiver, oru(HBSAG_NEGATIVE, control="MSG3"))

    assert state(inbox, 3) is State.HELD


def test_placing_a_message_silences_no_doubt_that_was_not_shown(
    case: str, inbox: Inbox, receiver: Receiver, signed_in: SignIn
):
    """How somebody knows whose it is says nothing of a result against the record."""
    actions.learn_facts(
        get_store(), case, {"source_hbsag": "positive"}, said_by="record", vocabulary=VOCABULARY,
        now=NIGHT, **WRITER,
    )  # fmt: skip
    send(receiver, oru(HBSAG_NEGATIVE))
    address = reverse("laboratory:assign", args=[1])
    typed = {"case": case, "whose": "source", "reason": "Rang the ward."}
    with clock.standing_at(MORNING):
        client = signed_in(Role.OCCUPATIONAL_PHYSICIAN)
        other = client.post(address, {"case": case, "reason": "Rang the ward."})
        assert 'name="doubts_shown"' not in other.text
        doubted = compared(client, address, typed)
        assert (doubted.status_code, "which is right" in doubted.text) == (422, True)
        assert last(case).kind is Kind.FACT_LEARNED
        assert 'name="doubts_shown" value="1"' in doubted.text
        assert compared(client, address, typed | {"doubts_shown": "1"}).status_code == 302

    assert last(case).body["facts"] == {"source_hbsag": "negative"}


@pytest.mark.parametrize(
    ("whose", "name", "recorded"),
    [
        ("source", "Sorin Erfunden", False),
        ("baseline", "Wilma Invented", False),
        ("source", "", True),
    ],
)
def test_a_message_is_compared_with_whom_the_case_is_about(
    case: str,
    inbox: Inbox,
    receiver: Receiver,
    signed_in: SignIn,
    whose: str,
    name: str,
    recorded: bool,
):
    """Another date of birth is refused; where none is known, somebody who knows better decides."""
    if name.startswith("Sorin"):
        source = SourceIdentity(name, "M-9", date(1970, 1, 3))
        get_identities().save_source(case, source, by="u-7", now=NIGHT)
    send(receiver, oru(HBSAG_NEGATIVE))
    before = len(get_store().entries(case))
    address = reverse("laboratory:assign", args=[1])
    fields = {"case": case, "whose": whose, "reason": "Rang the ward."}
    with clock.standing_at(MORNING):
        client = signed_in(Role.OCCUPATIONAL_PHYSICIAN)
        page = client.post(address, fields)
        assert "Invented, Vera" in page.text
        assert name in page.text
        assert len(get_store().entries(case)) == before
        of = "source" if whose == "source" else "worker"
        done = client.post(address, {**fields, "compared": f"{case} {of}"})
    if recorded:
        assert "The dates of birth cannot be compared" in page.text
        assert done.status_code == 302
    else:
        assert "is not the one in this case" in page.text
        assert (page.status_code, done.status_code) == (422, 422)
    assert (len(get_store().entries(case)) > before) is recorded


def test_what_was_put_into_the_wrong_case_is_placed_anew_once_it_is_withdrawn(
    case: str, inbox: Inbox, receiver: Receiver, signed_in: SignIn
):
    send(receiver, oru(HBSAG_NEGATIVE))
    address, hold = (reverse(f"laboratory:{what}", args=[1]) for what in ("assign", "hold_again"))
    fields = {"case": case, "whose": "source", "reason": "Rang the ward."}
    with clock.standing_at(MORNING):
        client = signed_in(Role.OCCUPATIONAL_PHYSICIAN)
        compared(client, address, fields)
        shown = client.get(reverse("laboratory:message", args=[1])).text
        assert reverse("desk:case", args=[case]) in shown
        client.post(hold)
        assert state(inbox) is State.MATCHED
        actions.correct(
            get_store(), case, last(case).position, reason="another patient", withdrawn=True,
            vocabulary=VOCABULARY, now=MORNING, **WRITER,
        )  # fmt: skip
        client.post(hold)
        assert state(inbox) is State.HELD
        compared(client, address, fields)
    received = [e for e in get_store().entries(case) if e.kind is Kind.RESULT_RECEIVED]
    assert (len(received), state(inbox)) == (2, State.MATCHED)
