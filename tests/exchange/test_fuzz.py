"""Whatever is sent, nothing comes out but a message, a reading or a refusal of our own."""

from __future__ import annotations

import tempfile
from datetime import UTC, datetime
from pathlib import Path

from hypothesis import given, settings
from hypothesis import strategies as st

from exchange.samples import (
    ANTI_HBS,
    ANTI_HCV,
    HBSAG,
    HCV_RNA,
    HIV_AG_AB,
    HIV_RNA,
    OBR,
    PID,
    msh,
    obx,
    oru,
    row,
    text,
)
from thimble.clinical.serology import Word
from thimble.exchange.hl7v2.decoding import split_batch
from thimble.exchange.hl7v2.erasing import without_identity
from thimble.exchange.hl7v2.faults import Unreadable
from thimble.exchange.hl7v2.message import read_bytes
from thimble.exchange.hl7v2.reading import Held, Reading
from thimble.exchange.hl7v2.values import read_value
from thimble.exchange.inbox import Inbox
from thimble.exchange.receiving import Receiver

AT = datetime(2026, 3, 2, 3, 0, tzinfo=UTC)
WHOLE = text(
    msh(charset="UNICODE UTF-8"), PID, "NTE|1||note", "ORC|RE|P-1|F-1||CM", OBR,
    obx("10828004^Positive^SCT^POS^Reactive^L", kind="CWE", flags="A~POS"),
    obx("<^20", test=HIV_RNA, kind="SN", unit="{copies}/mL^copies^UCUM"),
    obx(r"Gr\XC3BC\n\.br\ \Z1\ ", kind="FT"), "NTE|1|L|a~b",
    "SPM|1|S-1&W^S-2&L||119297000^Blood^SCT|||||||||||||202603020255^202603020300|202603020330",
    obx("29", kind="NM"),
)  # fmt: skip
ODD = st.sampled_from(
    [b"|", b"^", b"~", b"\\", b"&", b"\r", b"\n", b"\x00", b"\x1c", b"\x0b", b"\xff", b"\xc3",
     b"MSH", b"OBX|", b"\rOBX|1|ST|5195-3^^LN||Negative||||||F\r", b"\rPID|1\r", b"\rBTS|9\r",
     b'""', b"\\X", b"\xef\xbb\xbf", b""]
)  # fmt: skip


@st.composite
def mutated(draw: st.DrawFn) -> bytes:
    """A good message with some bytes replaced, put in or taken away."""
    raw = WHOLE.encode()
    for _ in range(draw(st.integers(1, 6))):
        start = draw(st.integers(0, len(raw)))
        length = draw(st.integers(0, 12))
        raw = raw[:start] + draw(ODD | st.binary(max_size=4)) + raw[start + length :]
    return raw


def look(raw: bytes) -> None:
    """Read it as far as it goes, as the product would."""
    for each in split_batch(raw).messages:
        try:
            message = read_bytes(each, "8859/1")
        except Unreadable:
            continue
        for patient in message.patients:
            for order in patient.orders:
                for observation in order.observations:
                    assert isinstance(read_value(observation), Reading | Held)


@given(mutated())
@settings(max_examples=400)
def test_a_spoilt_message_is_read_or_refused(raw: bytes) -> None:
    look(raw)


@given(mutated() | st.binary(max_size=300))
@settings(max_examples=200)
def test_what_is_left_without_the_people_is_left_alone_and_read_or_refused(raw: bytes) -> None:
    left = without_identity(raw)

    # Nothing at all where the header itself was spoilt.
    assert without_identity(left) in (left, b"")
    assert not any(line.startswith(b"PID") and line != b"PID" for line in left.split(b"\r"))
    look(left)


RANGE = st.from_regex(
    r"[<>=]{0,2} ?[0-9]{1,4}(\.[0-9]{1,3})? ?-? ?[0-9]{0,4}", fullmatch=True
) | st.text(st.characters(exclude_characters="|^~\\&\r\n\x0b\x1c", codec="utf-8"), max_size=20)


@given(RANGE, st.sampled_from(["22", "<5", ">1000"]), st.sampled_from(["", "H", "N", "A", "POS"]))
def test_any_range_is_read_or_says_nothing(range_: str, number: str, flag: str) -> None:
    look(oru(f"OBX|1|NM|1742-6^ALT^LN||{number}|U/L|{range_}|{flag}|||F"))


@given(st.binary(max_size=300) | st.binary(max_size=200).map(lambda tail: b"MSH|^~\\&|" + tail))
def test_any_bytes_are_read_or_refused(raw: bytes) -> None:
    look(raw)


@given(st.lists(mutated() | st.binary(max_size=60), min_size=1, max_size=4))
@settings(max_examples=60, deadline=None)
def test_any_bytes_are_stored_and_answered_in_a_form_that_fits_a_frame(frames: list[bytes]) -> None:
    with tempfile.TemporaryDirectory() as folder, Inbox(Path(folder)) as inbox:
        receiver = Receiver(inbox, control_id=lambda: "T-1")
        for raw in frames:
            outcome = receiver.take(raw, AT, "")
            assert not any({0x0B, 0x1C} & set(answer) for answer in outcome.answers)
            assert receiver.take(raw, AT, "") == outcome
        whole = {received.raw for state in inbox.counts() for received in inbox.in_state(state)}
        for raw in frames:
            assert all(each in whole for each in split_batch(raw).messages)


WORD = st.sampled_from(
    ["positive", "negative", "reactive", "non", "not", "detected", "target", "control", "failed",
     "-", " ", "<", ">", "20", "1000", ",", ".", "repeat", "weakly", "previously", "IU/mL", "?", "("]
)  # fmt: skip
TESTS = st.sampled_from([HBSAG, ANTI_HBS, ANTI_HCV, HCV_RNA, HIV_RNA, HIV_AG_AB])

LISTED = {
    Word.POSITIVE: {"positive", "detected", "reactive"},
    Word.NEGATIVE: {"negative", "not detected", "non reactive", "nonreactive",
                       "target not detected"},
    Word.INDETERMINATE: {"weakly reactive"},
}  # fmt: skip


@given(st.lists(WORD, max_size=6).map("".join), TESTS, st.sampled_from(["ST", "TX", "FT", "NM"]))
@settings(max_examples=500)
def test_words_put_together_mean_something_only_as_the_whole_of_a_listed_text(
    value: str, test: str, kind: str
) -> None:
    """Written again without the code's own list: an oracle of a few lines."""
    found = read_value(row(value, test=test, kind=kind, unit="[IU]/mL"))

    plain = " ".join(value.replace("-", " ").split())
    if isinstance(found, Reading) and found.outcome and found.quantity is None:
        assert plain in LISTED[found.outcome]
    if isinstance(found, Reading) and found.quantity and found.outcome is Word.NEGATIVE:
        assert plain.startswith("<")
        assert plain.endswith("not detected")
