"""Messages recorded behind the answer: in order, together, again after a failure, and never lost."""

from __future__ import annotations

import threading
import time
from collections.abc import Callable, Iterator, Sequence

import pytest

from exchange.samples import obx, oru
from exchange.serving import PATIENCE
from thimble.exchange import recording
from thimble.exchange.hl7v2.message import read_bytes
from thimble.exchange.hl7v2.model import Message
from thimble.exchange.inbox import Inbox, Received, Settled, State
from thimble.exchange.receiving import Receiver
from thimble.exchange.recording import Recorder
from thimble.web.clock import now


class Matching:
    """Settles what it is given, and notes what came together; fails where it is told to."""

    def __init__(self, inbox: Inbox) -> None:
        self.inbox = inbox
        self.batches: list[list[str]] = []
        self.broken: set[str] = set()  # messages that fail alone
        self.full_disk = False
        self.go_on = threading.Event()
        self.go_on.set()

    def process_all(self, messages: Sequence[tuple[Received, Message]]) -> int:
        self.go_on.wait(PATIENCE)
        self.batches.append([message.control_id for _, message in messages])
        if self.full_disk:
            raise OSError("Muster, Ada")
        good = [r for r, m in messages if m.control_id not in self.broken]
        self.inbox.settle_new([Settled(received.id, State.MATCHED) for received in good])
        return len(messages) - len(good)

    @property
    def seen(self) -> list[str]:
        return [control for batch in self.batches for control in batch]


@pytest.fixture
def matching(inbox: Inbox) -> Matching:
    return Matching(inbox)


@pytest.fixture
def recorder(inbox: Inbox, matching: Matching) -> Iterator[Recorder]:
    made = Recorder(inbox, matching, read=read_bytes, again_seconds=0.05)
    yield made
    matching.go_on.set()
    if made._thread.is_alive():
        made.stop(PATIENCE)


def send(inbox: Inbox, recorder: Recorder | None, *controls: str) -> None:
    receiver = Receiver(inbox, control_id=lambda: "ANSWER", processor=recorder)
    for control in controls:
        (answer,) = receiver.take(oru(control=control), now(), "").answers
        assert b"\rMSA|AA|" in answer


def until(what: Callable[[], bool]) -> None:
    end = time.monotonic() + PATIENCE
    while not what():
        assert time.monotonic() < end, "waited in vain"
        time.sleep(0.002)


def test_what_comes_while_others_are_recorded_is_recorded_together(
    inbox: Inbox, matching: Matching, recorder: Recorder
) -> None:
    matching.go_on.clear()
    recorder.start()
    send(inbox, recorder, "first")
    until(lambda: not recorder._at_hand)
    send(inbox, recorder, "a", "b", "c")
    assert inbox.counts()[State.NEW] == 4  # answered, and not recorded yet
    matching.go_on.set()

    assert recorder.stop(PATIENCE)
    assert matching.batches == [["first"], ["a", "b", "c"]]
    assert inbox.counts()[State.MATCHED] == 4


def test_more_than_is_kept_in_memory_waits_in_the_inbox_and_keeps_its_order(
    inbox: Inbox, matching: Matching, recorder: Recorder, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(recording, "AT_HAND", 3)
    matching.go_on.clear()
    recorder.start()
    controls = [str(n) for n in range(12)]
    send(inbox, recorder, *controls)
    assert len(recorder._at_hand) <= 3
    matching.go_on.set()
    until(lambda: inbox.counts()[State.NEW] == 0)

    assert list(dict.fromkeys(matching.seen)) == controls


def test_one_that_fails_holds_up_no_other_and_is_tried_again(
    inbox: Inbox, matching: Matching, recorder: Recorder
) -> None:
    matching.broken = {"bad"}
    recorder.start()
    send(inbox, recorder, "bad", "good")
    until(lambda: matching.seen.count("bad") > 1)
    assert inbox.counts()[State.MATCHED] == 1
    matching.broken = set()
    until(lambda: inbox.counts()[State.NEW] == 0)

    assert inbox.counts()[State.MATCHED] == 2
    assert ["bad"] in matching.batches  # tried alone


def test_after_a_failure_of_the_whole_write_all_are_tried_again_one_by_one(
    inbox: Inbox, matching: Matching, recorder: Recorder, caplog: pytest.LogCaptureFixture
) -> None:
    matching.full_disk = True
    send(inbox, recorder, "a", "b")
    recorder.start()
    until(lambda: len(matching.batches) > 1)
    matching.full_disk = False
    until(lambda: inbox.counts()[State.NEW] == 0)

    assert matching.batches[0] == ["a", "b"]
    assert {tuple(batch) for batch in matching.batches[1:]} == {("a",), ("b",)}
    assert "OSError" in caplog.text
    assert "Muster" not in caplog.text


def test_a_start_takes_up_what_is_new_and_holds_what_can_no_longer_be_read(
    inbox: Inbox, matching: Matching
) -> None:
    latin = oru(obx("Nég"), control="accent", encoding="latin-1")
    # Taken while the site had named a character set that it names no more.
    Receiver(inbox, control_id=lambda: "ANSWER", single_byte="8859/1").take(latin, now(), "")
    send(inbox, None, *(str(n) for n in range(recording.TOGETHER + 1)))

    count = Recorder(inbox, matching, read=read_bytes).catch_up()

    assert count == recording.TOGETHER + 2
    assert [len(batch) for batch in matching.batches] == [recording.TOGETHER, 1]
    assert inbox.counts()[State.HELD] == 1
    assert inbox.get(1).reason


def test_a_stop_that_does_not_come_in_time_says_so_and_loses_nothing(
    inbox: Inbox, matching: Matching, recorder: Recorder
) -> None:
    matching.go_on.clear()
    recorder.start()
    send(inbox, recorder, "a")

    assert not recorder.stop(0.01)
    assert inbox.counts()[State.NEW] == 1
    matching.go_on.set()
    assert recorder.stop(PATIENCE)
    assert inbox.counts()[State.MATCHED] == 1


def test_what_a_person_settled_is_not_settled_again(inbox: Inbox) -> None:
    send(inbox, None, "a", "b")
    inbox.settle(1, State.DUPLICATE, "Entered by hand.")

    inbox.settle_new([Settled(1, State.MATCHED), Settled(2, State.HELD, "Nobody knows it.")])

    assert [(inbox.get(n).state, inbox.get(n).reason) for n in (1, 2)] == [
        (State.DUPLICATE, "Entered by hand."), (State.HELD, "Nobody knows it."),
    ]  # fmt: skip
    assert inbox.still_new([1, 2]) == set()
    # The next message is synchronised again, as every one that is acknowledged.
    assert inbox._database.execute("PRAGMA synchronous").fetchone() == (2,)
