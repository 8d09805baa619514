"""What is left of a message without the people in it: the results, and nothing anybody wrote of anybody."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from exchange.samples import OBR, PID, msh, obx, text
from thimble.exchange.hl7v2.erasing import without_identity
from thimble.exchange.hl7v2.message import read_bytes
from thimble.exchange.hl7v2.values import read_value

SECRET = "Quarnbeck"
FULL = text(
    msh(),
    f"PID|1||{SECRET}^^^INVENTED^MR||{SECRET}^Ada||19800229|F|||{SECRET} Street 1||0441|||||{SECRET}",
    f"PD1||||{SECRET}",
    f"NTE|1|L|Mrs {SECRET} was told",
    f"NK1|1|{SECRET}^Otto|SPO",
    f"PV1|1|I|||||{SECRET}^Doctor||||||||||||V-{SECRET}",
    f"ORC|RE|R-1|L-1||CM||||||||{SECRET}^Orderer",
    f"OBR|1|R-1^WARD|L-1^LAB|SEROLOGY^Serology^L|||202603020310|||{SECRET}^Drawer|||{SECRET} is ill||"
    f"BLOOD|{SECRET}^Orderer||||||202603020400|||F",
    obx("260385009^Negative^SCT", kind="CWE") + f"|||202603020310||{SECRET}^Technician",
    obx("<20", kind="SN", number=2).replace("|<20|", "|<^20|"),
    obx(f"called Mrs {SECRET}", kind="ST", number=3),
    obx(f"^application^pdf^Base64^{SECRET}", kind="ED", number=4),
    f"NTE|1|L|{SECRET}",
    "SPM|1|S-17^L-17||119297000^Blood^SCT",
    f"ZPI|{SECRET}",
)


def test_nobody_is_left_and_the_results_are_what_they_were() -> None:
    left = without_identity(FULL.encode())

    assert SECRET.encode() not in left
    for identifying in (b"Ada", b"19800229", b"Street", b"0441"):
        assert identifying not in left
    before, after = read_bytes(FULL.encode()), read_bytes(left)
    assert (after.sender, after.control_id, after.at) == (
        before.sender,
        before.control_id,
        before.at,
    )
    (was,), (now,) = before.patients[0].orders, after.patients[0].orders
    assert (now.placer, now.filler, now.collected_at, now.specimen_numbers) == (
        was.placer, was.filler, was.collected_at, was.specimen_numbers,
    )  # fmt: skip
    assert [read_value(row) for row in now.observations[:2]] == [
        read_value(row) for row in was.observations[:2]
    ]
    patient = after.patients[0]
    assert (patient.ids, patient.names, patient.birth_date) == ((), (), None)


@pytest.mark.parametrize(
    "raw",
    [
        FULL.replace(SECRET, "Müller").encode("latin-1"),  # no character set named
        b"",
        b"no message at all",
        b"MSH",
        b"PID|1||4711||Quarnbeck^Ada",
    ],
)
def test_what_cannot_be_read_goes_whole(raw: bytes) -> None:
    assert without_identity(raw) == b""


def test_a_name_after_a_line_break_inside_a_text_goes_with_the_text() -> None:
    raw = FULL.replace("was told", f"was told\n{SECRET}\nOBX said {SECRET}").encode()

    assert SECRET.encode() not in without_identity(raw)


def test_a_batch_keeps_its_envelope_and_loses_everybody() -> None:
    batch = f"BHS|^~\\&|LAB|X||||{SECRET}|||B1\r{FULL}{FULL}BTS|3\r"

    left = without_identity(batch.encode())

    assert (left[:3], left.count(b"\rMSH|"), b"BTS|3" in left) == (b"BHS", 2, True)
    assert SECRET.encode() not in left


@given(
    secret=st.text("abcdefghijklmnopqrstuvwxyzäöüß", min_size=6, max_size=12),
    segment=st.from_regex(r"[A-Z][A-Z0-9]{2}", fullmatch=True).filter(
        lambda name: name not in {"MSH", "ORC", "OBR", "OBX", "SPM", "FHS", "BHS", "BTS", "FTS"}
    ),
    field=st.integers(1, 40),
    mark=st.sampled_from("|#%$"),
)
def test_a_segment_that_nobody_listed_says_nothing(
    secret: str, segment: str, field: int, mark: str
) -> None:
    odd = segment + mark * field + secret
    whole = text(msh(), PID, odd, OBR, obx("Negative")).replace("|", mark)

    left = without_identity(whole.encode())

    assert secret.encode() not in left
    assert without_identity(left) == left
    assert b"\r" + segment.encode() + b"\r" in left
