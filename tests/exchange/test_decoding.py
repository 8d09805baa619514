"""Character sets, line ends, batches and escapes (HL7 v2 chapter 2, table 0211)."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from exchange.samples import OBR, PID, msh, obx, oru, text
from thimble.exchange.hl7v2.decoding import decode, is_utf_16, split_batch
from thimble.exchange.hl7v2.escapes import Delimiters, unescape
from thimble.exchange.hl7v2.faults import Undecodable

NAME = "Müller"


def message(charset: str) -> str:
    return text(msh(charset=charset), f"PID|||1||{NAME}")


@pytest.mark.parametrize(
    ("charset", "encoding"),
    [
        ("8859/1", "iso8859-1"),
        ("8859/15", "iso8859-15"),
        ("UNICODE UTF-8", "utf-8"),
        ("UTF-8~UNICODE", "utf-8"),
        ("", "utf-8"),
        ("NONSENSE", "utf-8"),
    ],
)
def test_the_named_set_is_used_and_utf_8_where_none_is_known(charset: str, encoding: str) -> None:
    decoded = decode(message(charset).encode(encoding))

    assert NAME in decoded.text
    assert decoded.encoding == encoding


def test_a_site_says_what_its_silent_senders_send() -> None:
    raw = message("").encode("iso8859-1")

    assert NAME in decode(raw, "8859/1").text
    with pytest.raises(Undecodable, match=r"names no known .* \(0xFC\) is not in utf-8"):
        decode(raw)


@pytest.mark.parametrize("charset", ["ASCII", "UNICODE UTF-8"])
def test_bytes_outside_the_named_set_are_refused_even_where_the_site_has_another(
    charset: str,
) -> None:
    with pytest.raises(Undecodable):
        decode(message(charset).encode("iso8859-1"), "8859/1")


@pytest.mark.parametrize("end", ["\r", "\n", "\r\n"])
def test_every_line_end_ends_a_segment(end: str) -> None:
    raw = b"\xef\xbb\xbf" + oru().replace(b"\r", end.encode())

    assert decode(raw).text.split("\r") == [msh(), PID, OBR, obx("Negative")]


def test_a_line_feed_inside_a_text_stays_where_carriage_returns_end_segments() -> None:
    raw = text(msh(), "NTE|1||first\nsecond", "OBX|1").encode()

    assert decode(raw).text.split("\r")[1:] == ["NTE|1||first\nsecond", "OBX|1"]


# -- batches --------------------------------------------------------------------------------------

FHS, BHS = r"FHS|^~\&|LIS", r"BHS|^~\&|LIS"
ONE, TWO = oru(control="1"), oru(control="2")


def batch(*inside: bytes, before: str = BHS, after: str = "BTS|2") -> bytes:
    return before.encode() + b"\r" + b"".join(inside) + (after.encode() + b"\r" if after else b"")


def test_a_batch_is_taken_apart_byte_for_byte() -> None:
    found = split_batch(batch(ONE, TWO))

    assert (found.messages, found.fault) == ((ONE, TWO), "")


def test_a_file_of_two_batches_is_counted_together() -> None:
    raw = batch(batch(ONE, after="BTS|1"), batch(TWO, after="BTS|1"), before=FHS, after="FTS|2")

    found = split_batch(raw)

    assert (found.messages, found.fault) == ((ONE, TWO), "")


@pytest.mark.parametrize(
    ("after", "fault"),
    [
        ("BTS|1", "BTS-1 says 1 messages and 2 arrived"),
        ("BTS|3", "BTS-1 says 3 messages and 2 arrived"),
        ("BTS|two", "BTS-1 is not a number"),
        ("", "1 BHS and 0 BTS"),
        ("BTS", ""),
    ],
)
def test_a_batch_that_does_not_hold_what_it_says_is_told(after: str, fault: str) -> None:
    found = split_batch(batch(ONE, TWO, after=after))

    assert fault in found.fault
    assert bool(fault) == bool(found.fault)
    # A blank line at the end belongs to the last message and says nothing.
    assert [each.rstrip(b"\r") for each in found.messages] == [
        each.rstrip(b"\r") for each in (ONE, TWO)
    ]


def test_a_single_message_is_left_as_it_came() -> None:
    raw = b"\xef\xbb\xbf" + ONE

    assert split_batch(raw).messages == (raw,)
    assert split_batch(b"junk\r" + ONE + TWO).messages == (b"junk\r" + ONE + TWO,)


@given(st.lists(st.sampled_from([ONE, TWO, oru(control="3")]), max_size=5))
def test_no_byte_of_a_message_is_lost_in_a_batch(messages: list[bytes]) -> None:
    found = split_batch(batch(*messages, after=f"BTS|{len(messages)}"))

    assert (list(found.messages), found.fault) == (messages, "")


# -- escapes --------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("written", "meant"),
    [
        (r"\F\\S\\T\\R\\E\ ", r"|^&~\ "),
        (r"\X41\\X0D0A\ ", "A\r\n "),
        (r"\XC3BC\ ", "ü "),
        (r"\XFC\ ", r"\XFC\ "),
        (r"one\.br\two\.sp+2\three\.in+4\\.ti-2\\.fi\\.nf\\.ce\four", "one\ntwo\nthree\nfour"),
        (r"\H\loud\N\ ", "loud "),
        (r"\Z99\ \C2842\ \M924232\ ", r"\Z99\ \C2842\ \M924232\ "),
        (r"\Zq\T\x", r"\Zq&x"),
        ("C:\\dir", "C:\\dir"),
        ("end\\", "end\\"),
        (r"\E\S\E\ ", r"\S\ "),
    ],
)
def test_escapes_are_undone_once_and_unknown_ones_left(written: str, meant: str) -> None:
    assert unescape(written, Delimiters(), "utf-8") == meant


def test_hexadecimal_bytes_are_in_the_set_of_the_message() -> None:
    assert unescape(r"\XFC\ ", Delimiters(), "iso8859-1") == "ü "


@given(st.text(alphabet="|^&~\\aT.b"))
def test_a_text_that_was_escaped_is_found_again(plain: str) -> None:
    names = {"\\": "E", "|": "F", "^": "S", "~": "R", "&": "T"}
    written = "".join(f"\\{names[c]}\\" if c in names else c for c in plain)

    assert unescape(written, Delimiters(), "utf-8") == plain


@pytest.mark.parametrize("encoding", ["utf-16", "utf-16-le", "utf-16-be"])
def test_utf_16_is_recognised_so_that_the_sender_is_told(encoding: str) -> None:
    assert is_utf_16("MSH|^~\\&|LAB\r".encode(encoding))
    assert not is_utf_16(b"MSH|^~\\&|LAB\r")
