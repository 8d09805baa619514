"""Acknowledgements, read back and validated by another library (hl7apy)."""

from __future__ import annotations

from datetime import datetime, timedelta, timezone
from typing import Any

import pytest
from hl7apy.consts import VALIDATION_LEVEL
from hl7apy.parser import parse_message

from exchange.samples import PID, msh, oru, text
from thimble.exchange.hl7v2.answering import (
    ERRORS,
    Header,
    Refusal,
    Verdict,
    answers,
    header_of,
)
from thimble.exchange.hl7v2.faults import Place

AT = datetime(2026, 3, 2, 4, 1, 2, tzinfo=timezone(timedelta(hours=1)))
VERSIONS = ["2.3.1", "2.4", "2.5", "2.5.1"]
REFUSAL = Refusal(
    Verdict.ERROR, 101, "MSH-10 | the “control id” ^ is missing.", Place("MSH", 1, 10)
)


def answered(header_line: str, refusal: Refusal | None = None) -> tuple[bytes, ...]:
    header = header_of(text(header_line, PID).encode())
    assert header is not None
    return answers(header, refusal, at=AT, control_id="T-1")


def only(header_line: str, refusal: Refusal | None = None) -> Any:
    """The one answer, as the other library reads it, checked against the standard."""
    (answer,) = answered(header_line, refusal)
    told = answer.decode()
    if "||ACK|" in told:
        # Up to 2.4 the type alone is usual. That library asks for the structure's name as well.
        told = told.replace("||ACK|", "||ACK^R01^ACK|")
    read = parse_message(told, validation_level=VALIDATION_LEVEL.STRICT)
    read.validate()
    return read


@pytest.mark.parametrize("version", VERSIONS)
def test_an_acceptance_is_valid_in_every_version(version: str) -> None:
    read = only(msh("C-77", version=version))

    assert (read.msa.msa_1.value, read.msa.msa_2.value) == ("AA", "C-77")
    assert read.msh.msh_12.value == version
    assert read.msh.msh_9.value.startswith("ACK")
    assert read.msh.msh_10.value == "T-1"
    assert read.msh.msh_11.value == "P"
    assert read.msh.msh_7.value.startswith("20260302040102")
    assert not list(read.err)


def test_sender_and_receiver_are_swapped() -> None:
    read = only(msh())

    assert [read.msh.msh_3.value, read.msh.msh_4.value] == ["THIMBLE", "INVENTED HOSPITAL"]
    assert [read.msh.msh_5.value, read.msh.msh_6.value] == ["LIS", "INVENTED LAB"]


@pytest.mark.parametrize("version", ["2.3.1", "2.4"])
def test_a_refusal_up_to_2_4_has_code_and_place_in_one_field(version: str) -> None:
    read = only(msh(version=version), REFUSAL)

    error = read.err.err_1
    assert read.msa.msa_1.value == "AE"
    assert "is missing" in read.msa.msa_3.value
    assert [error.eld_1.value, error.eld_2.value, error.eld_3.value] == ["MSH", "1", "10"]
    assert error.eld_4.value.split("&")[0] == "101"


@pytest.mark.parametrize("version", ["2.5", "2.5.1"])
def test_a_refusal_from_2_5_has_place_code_severity_and_text(version: str) -> None:
    read = only(msh(version=version), REFUSAL)

    assert read.msa.msa_1.value == "AE"
    assert read.err.err_2.value == "MSH^1^10"
    assert read.err.err_3.value == "101^Required field missing^HL70357"
    assert read.err.err_4.value == "E"
    assert read.err.err_8.value == r'MSH-10 \F\ the "control id" \S\ is missing.'


@pytest.mark.parametrize("verdict", [Verdict.ERROR, Verdict.REJECTED])
@pytest.mark.parametrize("error", ERRORS)
def test_every_error_of_table_0357_is_valid(error: int, verdict: Verdict) -> None:
    read = only(msh(), Refusal(verdict, error, "A reason."))

    assert read.msa.msa_1.value == f"A{verdict}"
    assert read.err.err_3.cwe_1.value == str(error)


ENHANCED = [
    # MSH-15, MSH-16, answers where accepted, answers where refused (table 0155)
    ("", "", ["AA"], ["AE"]),
    ("AL", "NE", ["CA"], ["CE"]),
    ("NE", "AL", ["AA"], ["AE"]),
    ("AL", "AL", ["CA", "AA"], ["CE", "AE"]),
    ("NE", "NE", [], []),
    ("ER", "NE", [], ["CE"]),
    ("NE", "ER", [], ["AE"]),
    ("SU", "SU", ["CA", "AA"], []),
    ("AL", "", ["CA"], ["CE"]),
    ("", "AL", ["AA"], ["AE"]),
    ("ER", "AL", ["AA"], ["CE", "AE"]),
]


@pytest.mark.parametrize(("accept", "application", "good", "bad"), ENHANCED)
def test_the_sender_gets_the_answers_that_it_asks_for(
    accept: str, application: str, good: list[str], bad: list[str]
) -> None:
    line = msh(modes=f"{accept}|{application}")

    told = [
        [answer.split(b"\rMSA|")[1][:2].decode() for answer in answered(line, refusal)]
        for refusal in (None, REFUSAL)
    ]
    assert told == [good, bad]


@pytest.mark.parametrize(("accept", "application", "good", "bad"), ENHANCED)
def test_the_switch_changes_nothing_but_for_who_never_wants_an_answer(
    accept: str, application: str, good: list[str], bad: list[str]
) -> None:
    header = header_of(msh(modes=f"{accept}|{application}").encode())
    told = [
        [
            answer.split(b"\rMSA|")[1][:2].decode()
            for answer in answers(header, refusal, at=AT, control_id="T-1", unasked=True)
        ]
        for refusal in (None, REFUSAL)
    ]

    assert told == ([["AA"], ["AE"]] if accept == application == "NE" else [good, bad])


def test_the_answer_uses_the_sender_s_delimiters() -> None:
    raw = oru().decode().translate(str.maketrans("|^~\\&", "#*!?%")).encode()
    (answer,) = answers(header_of(raw), REFUSAL, at=AT, control_id="T-1")

    assert answer.startswith(b"MSH#*!?%#THIMBLE#")
    assert b"MSA#AE#C1\r" in answer
    assert b"ERR##MSH*1*10#101*Required field missing*HL70357#E####MSH-10 | the" in answer


def test_names_go_back_in_the_bytes_that_they_came_in() -> None:
    raw = oru(encoding="iso8859-1", charset="8859/1").replace(b"INVENTED LAB", b"LABOR M\xdcLLER")
    (answer,) = answers(header_of(raw), None, at=AT, control_id="T-1")

    assert b"|LIS|LABOR M\xdcLLER|" in answer
    assert answer.split(b"\r")[0].endswith(b"|8859/1")


@pytest.mark.parametrize("version", ["", "2.3.z", "2.7"])
def test_an_odd_version_is_answered_all_the_same(version: str) -> None:
    (answer,) = answered(msh(version=version))

    assert b"\rMSA|AA|C1\r" in answer


def test_a_message_without_a_header_is_answered_without_its_id() -> None:
    (answer,) = answers(None, REFUSAL, at=AT, control_id="T-1")

    assert b"\rMSA|AE\r" in answer


def test_control_characters_cannot_come_back_in_an_answer() -> None:
    raw = oru(control="a\x1cb\x0bc")
    (answer,) = answers(header_of(raw), None, at=AT, control_id="T-1")

    assert b"MSA|AA|abc\r" in answer
    assert not {0x0B, 0x1C} & set(answer)


@pytest.mark.parametrize("raw", [b"", b"MSH", b"MSHX^~", b"PID|1", b"\x16\x03\x01"])
def test_what_is_no_header_is_none(raw: bytes) -> None:
    assert header_of(raw) is None


def test_an_absent_field_of_a_header_is_empty() -> None:
    header = header_of(b"MSH|^~\\&|A")

    assert isinstance(header, Header)
    assert (header[3], header[10], header.component(9, 2)) == ("A", "", "")
