"""Frames in a stream of bytes: MLLP, Release 1, and what senders make of it."""

from __future__ import annotations

from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from thimble.exchange.hl7v2.framing import Fault, Frame, Frames, Trouble, framed

A = b"MSH|^~\\&|A\r"
B = b"MSH|^~\\&|B\rPID|1\r"


def of(stream: bytes, cuts: list[int] | None = None, limit: int = 1000) -> list[Frame | Fault]:
    """All that is found in this stream, fed in pieces."""
    frames = Frames(limit)
    edges = [0, *sorted(cut for cut in cuts or [] if cut <= len(stream)), len(stream)]
    found = [each for start, end in pairwise(edges) for each in frames.feed(stream[start:end])]
    return found + frames.finish()


def test_two_frames_in_one_packet_are_both_found() -> None:
    assert of(framed(A) + framed(B)) == [Frame(A), Frame(B)]


def test_bytes_before_the_start_are_told_and_the_frame_is_found() -> None:
    assert of(b"GET / " + framed(A)) == [Fault(Trouble.JUNK, 6), Frame(A)]


def test_line_ends_between_frames_are_nothing_to_tell() -> None:
    assert of(framed(A) + b"\r\n" + framed(B) + b"\n") == [Frame(A), Frame(B)]


def test_a_frame_without_its_last_byte_ends_where_the_next_begins() -> None:
    assert of(b"\x0b" + A + b"\x1c" + framed(B)) == [Frame(A, whole=False), Frame(B)]


def test_a_frame_without_its_last_byte_ends_with_the_stream() -> None:
    assert of(b"\x0b" + A + b"\x1c") == [Frame(A, whole=False)]


def test_waiting_for_the_last_byte_shows() -> None:
    frames = Frames()
    frames.feed(b"\x0b" + A)
    assert not frames.awaits_last_byte
    frames.feed(b"\x1c")
    assert frames.awaits_last_byte
    assert frames.feed(b"\r") == [Frame(A)]
    assert not frames.awaits_last_byte


def test_half_a_frame_is_no_frame() -> None:
    assert of(b"\x0b" + A) == [Fault(Trouble.UNFINISHED, len(A))]


def test_a_sender_that_broke_off_and_began_again_has_sent_one_message() -> None:
    assert of(b"\x0b" + A[:5] + framed(B)) == [Fault(Trouble.UNFINISHED, 5), Frame(B)]


def test_the_first_byte_of_the_end_inside_a_message_does_not_end_it() -> None:
    assert of(b"\x0bMSH\x1cX" + b"\x1c\r") == [Frame(b"MSH\x1cX")]


@pytest.mark.parametrize(
    ("length", "taken"), [(99, True), (100, True), (101, False)], ids=["below", "on", "above"]
)
def test_the_limit_is_the_most_that_a_message_may_have(length: int, *, taken: bool) -> None:
    content = b"M" * length

    found = of(framed(content) + framed(A), limit=100)

    wanted = [Frame(content), Frame(A)] if taken else [Fault(Trouble.TOO_LONG, 100, content[:100])]
    assert found == wanted


def test_an_endless_message_takes_no_more_memory_than_the_limit() -> None:
    frames = Frames(1000)
    frames.feed(b"\x0b")

    found = [each for _ in range(50) for each in frames.feed(b"x" * 100)]

    assert [each.trouble for each in found if isinstance(each, Fault)] == [Trouble.TOO_LONG]
    assert frames.held == 0


def test_a_limit_below_one_byte_is_refused() -> None:
    with pytest.raises(ValueError, match="1 byte or more; got 0"):
        Frames(0)


STREAMS = [
    framed(A) + framed(B),
    b"junk" + framed(A) + b"\r\nmore" + b"\x0b" + B + b"\x1c" + framed(A),
    b"\x0b" + A[:4] + framed(B) + b"\x0b" + A + b"\x1c",
    framed(b"M" * 101) + framed(A),
]


@pytest.mark.parametrize("stream", STREAMS)
def test_cutting_at_any_byte_changes_nothing(stream: bytes) -> None:
    whole = of(stream, limit=100)

    assert all(of(stream, [cut], limit=100) == whole for cut in range(len(stream) + 1))
    assert of(stream, list(range(len(stream))), limit=100) == whole


PIECES = st.sampled_from([b"\x0b", b"\x1c", b"\r", b"\n", b"MSH|", b"x", b"\x1c\r", b"\x0bMSH"])


@given(st.lists(PIECES, max_size=30).map(b"".join), st.lists(st.integers(0, 90), max_size=8))
def test_cutting_any_stream_anywhere_changes_nothing(stream: bytes, cuts: list[int]) -> None:
    assert of(stream, cuts, limit=12) == of(stream, limit=12)


@given(st.lists(st.binary(max_size=40).map(lambda raw: raw.translate(None, b"\x0b\x1c"))))
def test_what_was_framed_is_found_again(contents: list[bytes]) -> None:
    stream = b"".join(map(framed, contents))

    assert of(stream) == [Frame(content) for content in contents]
