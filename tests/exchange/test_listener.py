"""The server on a real socket: what senders do to it, and what the others notice (nothing)."""

from __future__ import annotations

import random
import threading
import time
from collections.abc import Iterator
from contextlib import ExitStack, suppress
from dataclasses import replace
from datetime import datetime

import pytest

from exchange.samples import OBR, PID, msh, obx, oru, text
from exchange.serving import PATIENCE, Client, Remembering, control_id, serving
from thimble.exchange.hl7v2.framing import framed
from thimble.exchange.hl7v2.model import Message
from thimble.exchange.inbox import Inbox, Received, State
from thimble.exchange.listener import Limits
from thimble.exchange.receiving import Outcome, Receiver

QUICK = Limits(
    message_bytes=20_000,
    connections=8,
    bytes_in_flight=60_000,
    junk_bytes=2_000,
    read_seconds=0.3,
    frame_seconds=1.0,
    last_byte_seconds=0.1,
    write_seconds=2.0,
    stop_seconds=5.0,
)


@pytest.fixture
def port(inbox: Inbox) -> Iterator[int]:
    """A listener that stores in the inbox."""
    with serving(Receiver(inbox, control_id=control_id), QUICK) as served:
        yield served.port


def code(answer: bytes | None) -> str:
    """MSA-1 and MSA-2."""
    assert answer is not None
    return answer.split(b"\rMSA|")[1].split(b"\r")[0].decode()


def works(port: int) -> bool:
    """Whether a well-behaved sender is served now."""
    with Client(port) as client:
        return code(client.send(oru(control=control_id()))).startswith("AA|")


# -- what is taken ----------------------------------------------------------------------------------


def test_a_result_is_on_the_disk_when_it_is_acknowledged(port: int, inbox: Inbox) -> None:
    with Client(port) as client:
        answer = client.send(oru(control="C-1"))
        (stored,) = inbox.unprocessed()

    assert code(answer) == "AA|C-1"
    assert (stored.raw, stored.sender) == (oru(control="C-1"), "LIS|INVENTED LAB")


def test_a_connection_stays_open_for_the_next_message(port: int) -> None:
    with Client(port) as client:
        assert code(client.send(oru(control="1"))) == "AA|1"
        time.sleep(QUICK.frame_seconds + 0.2)  # idle longer than any limit inside a frame
        assert code(client.send(oru(control="2"))) == "AA|2"


def test_two_frames_in_one_packet_are_both_answered_in_order(port: int) -> None:
    with Client(port) as client:
        client.raw(framed(oru(control="1")) + b"\r\n" + framed(oru(control="2")))

        assert [code(client.answer()), code(client.answer())] == ["AA|1", "AA|2"]


def test_a_frame_that_comes_byte_by_byte_is_taken(port: int) -> None:
    with Client(port) as client:
        for byte in framed(oru(control="1")):
            client.raw(bytes([byte]))

        assert code(client.answer()) == "AA|1"


def test_a_forgotten_last_byte_is_waited_for_and_not_for_ever(port: int) -> None:
    with Client(port) as client:
        client.raw(framed(oru(control="1"))[:-1])
        assert code(client.answer()) == "AA|1"
        assert code(client.send(oru(control="2"))) == "AA|2"


def test_a_sender_that_closes_after_the_last_frame_is_still_answered(port: int) -> None:
    with Client(port) as client:
        client.raw(framed(oru(control="1"))[:-1])
        client.half_close()
        assert code(client.answer()) == "AA|1"


def test_the_same_message_again_gets_the_same_answer_and_is_stored_once(
    port: int, inbox: Inbox
) -> None:
    with Client(port) as client:
        first = client.send(oru(control="1"))
    with Client(port) as client:
        again = client.send(oru(control="1"))

    assert first == again
    assert inbox.counts()[State.NEW] == 1


def test_another_message_under_the_same_control_id_is_kept_and_marked(
    port: int, inbox: Inbox
) -> None:
    with Client(port) as client:
        client.send(oru(obx("Negative"), control="1"))
        answer = client.send(oru(obx("Positive"), control="1"))

    assert code(answer) == "AA|1"
    assert [each.reused for each in inbox.unprocessed()] == [False, True]


HELD = [
    (oru(control="1").replace(b"Muster", b"M\xfcller"), "not in utf-8"),
    (text(msh("1"), PID, obx("Negative")).encode(), "stands below no order"),
    (text(msh("1"), PID, OBR, "and a line break").encode(), "not a segment"),
]


@pytest.mark.parametrize(("raw", "reason"), HELD, ids=[reason for _, reason in HELD])
def test_what_cannot_be_read_was_received_and_waits_for_a_person(
    port: int, inbox: Inbox, raw: bytes, reason: str
) -> None:
    with Client(port) as client:
        assert code(client.send(raw)) == "AA|1"

    (held,) = inbox.in_state(State.HELD)
    assert held.raw == raw
    assert reason in held.reason
    assert "ller" not in held.reason


REFUSED = [
    (text(msh("1", kind="ADT^A08")), "AR|1", "200"),
    (text(msh("1", kind="ORU^R30")), "AR|1", "201"),
    (text(msh("1", processing="T"), PID, OBR), "AR|1", "202"),
    (text(msh("1", processing=""), PID, OBR), "AR|1", "202"),
    (text(msh("1", version="3.0"), PID, OBR), "AR|1", "203"),
    (text(msh(""), PID, OBR), "AE", "101"),
    (text(msh("1"), PID, "OBR|1|||68991-9^Case^LN"), "AE|1", "200"),
    ("hello\r", "AR", "100"),
    ("", "AR", "100"),
]


@pytest.mark.parametrize(("raw", "answer", "error"), REFUSED)
def test_what_is_not_taken_is_refused_with_the_reason_and_kept(
    port: int, inbox: Inbox, raw: str, answer: str, error: str
) -> None:
    with Client(port) as client:
        told = client.send(raw.encode())

    assert code(told) == answer
    assert told is not None
    assert f"|{error}^".encode() in told
    (kept,) = inbox.in_state(State.REFUSED)
    assert kept.raw == raw.encode()


def test_processing_ids_have_modes_that_do_not_matter(port: int) -> None:
    with Client(port) as client:
        assert code(client.send(text(msh("1", processing="P^T"), PID, OBR).encode())) == "AA|1"


def test_nobody_acknowledges_an_acknowledgement(port: int) -> None:
    with Client(port) as client:
        client.raw(framed(text(msh("1", kind="ACK"), "MSA|AA|1").encode()))

        assert code(client.send(oru(control="2"))) == "AA|2"


def test_an_enhanced_sender_gets_both_answers_in_frames_of_their_own(port: int) -> None:
    with Client(port) as client:
        first = client.send(text(msh("1", modes="AL|AL"), PID, OBR).encode())

        assert [code(first), code(client.answer())] == ["CA|1", "AA|1"]


def test_a_batch_is_stored_message_by_message_and_answered_as_a_batch(
    port: int, inbox: Inbox
) -> None:
    head = b"FHS|^~\\&|LIS\rBHS|^~\\&|LIS|LAB|THIMBLE|HOSP|||||B-7\r"
    raw = head + oru(control="1") + oru(control="2") + b"BTS|2\rFTS|1\r"
    with Client(port) as client:
        answer = client.send(raw)

    assert answer is not None
    assert [line[:8] for line in answer.split(b"\r") if line.startswith(b"MSA")] == [
        b"MSA|AA|1",
        b"MSA|AA|2",
    ]
    assert answer.startswith(b"BHS|^~\\&|THIMBLE|HOSP|LIS|LAB|")
    assert answer.split(b"\r")[0].endswith(b"|B-7")
    assert answer.endswith(b"\rBTS|2\r")
    assert [each.raw for each in inbox.unprocessed()] == [oru(control="1"), oru(control="2")]
    assert inbox.counts()[State.HELD] == 0


def test_a_batch_of_messages_that_want_no_answer_gets_none(port: int) -> None:
    silent = text(msh("1", modes="NE|NE"), PID, OBR).encode()
    with Client(port) as client:
        client.raw(framed(b"BHS|^~\\&|LIS\r" + silent + b"BTS|1\r"))

        assert code(client.send(oru(control="2"))) == "AA|2"


def test_a_batch_with_a_message_too_few_is_kept_whole_for_a_person_as_well(
    port: int, inbox: Inbox
) -> None:
    raw = b"BHS|^~\\&|LIS\r" + oru(control="1") + b"BTS|2\r"
    with Client(port) as client:
        answer = client.send(raw)

    assert answer is not None
    assert b"MSA|AA|1\r" in answer
    assert b"BTS|1|BTS-1 says 2 messages and 1 arrived." in answer
    (held,) = inbox.in_state(State.HELD)
    assert (held.raw, inbox.counts()[State.NEW]) == (raw, 1)


# -- what a sender may do to it ---------------------------------------------------------------------


def test_half_a_message_is_neither_stored_nor_acknowledged(port: int, inbox: Inbox) -> None:
    with Client(port) as client:
        client.raw(framed(oru())[:200])
        assert client.answer() is None  # closed after the silence

    assert sum(inbox.counts().values()) == 0
    assert works(port)


def test_a_sender_that_drips_is_given_up_and_does_not_hold_the_others_up(port: int) -> None:
    stop = threading.Event()

    def drip(client: Client) -> None:
        while not stop.wait(0.05):
            try:
                client.raw(b"x")
            except OSError:
                return

    with Client(port) as slow:
        slow.raw(b"\x0bMSH|")
        dripping = threading.Thread(target=drip, args=(slow,))
        dripping.start()
        try:
            assert works(port)
            assert slow.answer() is None
        finally:
            stop.set()
            dripping.join()


def test_a_sender_that_never_takes_its_answers_is_given_up() -> None:
    sink = Remembering(b"x" * 5_000_000)
    with serving(sink, QUICK) as served, Client(served.port) as deaf:
        started = time.monotonic()

        def insist() -> None:
            while time.monotonic() - started < PATIENCE:
                deaf.raw(framed(oru()))
                time.sleep(0.05)

        with pytest.raises(OSError, match=r"reset|pipe|abort"):
            insist()
        with Client(served.port) as client:
            assert client.send(oru()) is not None


def test_a_message_above_the_limit_is_refused_and_the_connection_closed(
    port: int, inbox: Inbox
) -> None:
    with Client(port) as client:
        client.raw(b"\x0b" + oru(control="1") + b"x" * QUICK.message_bytes)
        answer = client.answer()

        assert code(answer) == "AR|1"
        assert answer is not None
        assert b"|104^" in answer
        assert client.answer() is None
    assert sum(inbox.counts().values()) == 0
    assert works(port)


@pytest.mark.parametrize(
    "junk", [b"GET / HTTP/1.1\r\n\r\n" * 200, b"\x16\x03\x01" * 1000, b"\x00" * 5000]
)
def test_a_client_that_speaks_another_language_is_given_up(port: int, junk: bytes) -> None:
    with Client(port) as client:
        client.raw(junk)
        assert client.answer() is None
    assert works(port)


def test_idle_connections_without_end_do_not_keep_the_laboratory_out(port: int) -> None:
    with ExitStack() as flood:
        for _ in range(QUICK.connections * 4):
            flood.enter_context(Client(port))
        assert works(port)


def test_connections_that_are_all_busy_turn_a_new_one_away_and_are_served(inbox: Inbox) -> None:
    patient = replace(QUICK, read_seconds=PATIENCE * 2, frame_seconds=PATIENCE * 2)
    receiver = Receiver(inbox, control_id=control_id)
    with serving(receiver, patient) as served, ExitStack() as flood:
        busy = [flood.enter_context(Client(served.port)) for _ in range(QUICK.connections)]
        for number, client in enumerate(busy):
            client.raw(framed(oru(control=f"B{number}"))[:-20])
        time.sleep(0.1)
        with Client(served.port) as late:
            assert late.answer() is None
        for number, client in enumerate(busy):
            client.raw(framed(oru(control=f"B{number}"))[-20:])
            assert code(client.answer()) == f"AA|B{number}"


def test_a_flood_of_half_messages_takes_no_more_memory_than_allowed() -> None:
    patient = replace(QUICK, read_seconds=PATIENCE * 2, frame_seconds=PATIENCE * 2)
    half = b"\x0b" + b"x" * (QUICK.message_bytes - 1_000)
    fit = QUICK.bytes_in_flight // len(half)
    with serving(Remembering(), patient) as served, ExitStack() as flood:
        for _ in range(fit):
            flood.enter_context(Client(served.port)).raw(half)
        time.sleep(0.2)  # until they have arrived
        with Client(served.port) as one_too_many:
            one_too_many.raw(half)
            assert one_too_many.answer() is None
        with Client(served.port) as small:
            assert small.send(b"MSH|") is not None


def test_random_bytes_never_hurt_a_connection_beside_them(port: int) -> None:
    draw = random.Random(7)
    pieces = [b"\x0b", b"\x1c", b"\r", b"\x1c\r", b"MSH|^~\\&|", b"\xff\xfe", oru(), b"|", b"\n"]
    with Client(port) as good:
        for round_ in range(40):
            with Client(port) as bad:
                with suppress(OSError):
                    bad.raw(b"".join(draw.choices(pieces, k=draw.randrange(1, 40))))
                assert code(good.send(oru(control=f"G{round_}"))) == f"AA|G{round_}"


# -- when the sink fails, and at the end --------------------------------------------------------------


class Failing:
    """A disk that is full for a while."""

    def __init__(self) -> None:
        self.full = True

    def take(self, raw: bytes, received_at: datetime, peer: str) -> Outcome:  # noqa: ARG002
        if self.full:
            raise OSError("no space left")
        return Outcome((b"MSH|^~\\&|\rMSA|AA|1\r",))


def test_what_could_not_be_stored_is_not_acknowledged_and_may_be_sent_again() -> None:
    sink = Failing()
    with serving(sink, QUICK) as served, Client(served.port) as client:
        refused = client.send(oru(control="1"))
        sink.full = False
        taken = client.send(oru(control="1"))

    assert code(refused) == "AR|1"
    assert refused is not None
    assert b"|207^" in refused
    assert code(taken) == "AA|1"


def test_stopping_lets_what_is_being_stored_be_answered() -> None:
    begun, go_on = threading.Event(), threading.Event()

    class Slow(Remembering):
        def take(self, raw: bytes, received_at: datetime, peer: str) -> Outcome:
            begun.set()
            assert go_on.wait(PATIENCE)
            return super().take(raw, received_at, peer)

    sink = Slow()
    with serving(sink, QUICK) as served, Client(served.port) as client, Client(served.port) as idle:
        client.raw(framed(oru()))
        assert begun.wait(PATIENCE)
        stopping = threading.Thread(target=served.stop)
        stopping.start()
        assert idle.answer() is None
        go_on.set()
        assert client.answer() is not None
        stopping.join(PATIENCE)
        with pytest.raises(OSError):  # noqa: PT011 - refused, in the words of each system
            Client(served.port)
    assert sink.taken == [oru()]


class Settling:
    """A processor that fails for one message and settles the others."""

    def __init__(self, inbox: Inbox) -> None:
        self.inbox = inbox
        self.seen: list[str] = []

    def process(self, received: Received, message: Message) -> None:
        self.seen.append(message.control_id)
        if message.control_id == "bad":
            raise RuntimeError("Muster, Ada")
        self.inbox.settle(received.id, State.MATCHED)


def test_a_processor_that_fails_changes_no_answer_and_leaves_the_message_new(
    inbox: Inbox, caplog: pytest.LogCaptureFixture
) -> None:
    first = Settling(inbox)
    with (
        serving(Receiver(inbox, control_id=control_id, processor=first), QUICK) as served,
        Client(served.port) as client,
    ):
        assert code(client.send(oru(control="good"))) == "AA|good"
        assert code(client.send(oru(control="bad"))) == "AA|bad"
        assert code(client.send(oru(control="good"))) == "AA|good"

    assert first.seen == ["good", "bad"]  # a message that came again is not processed again
    assert "RuntimeError" in caplog.text
    assert "Muster" not in caplog.text
    assert [received.control_id for received in inbox.unprocessed()] == ["bad"]
    assert inbox.counts()[State.MATCHED] == 1


def test_no_log_line_holds_what_a_message_says(port: int, caplog: pytest.LogCaptureFixture) -> None:
    caplog.set_level("DEBUG", logger="thimble.exchange")
    with Client(port) as client:
        client.send(oru(control="1"))
        client.send(oru(control="1"))
        client.send(oru(obx("Positive"), control="1"))
        client.send(HELD[0][0])

    assert caplog.records
    for told in ("Muster", "Ada", "M-4711", "Positive", "LAB-1", "19800229"):
        assert told not in caplog.text
