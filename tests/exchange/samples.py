"""Invented messages, built from their parts. No person, laboratory or hospital in them exists."""

from __future__ import annotations

from thimble.exchange.hl7v2.message import read_bytes
from thimble.exchange.hl7v2.model import Message, Observation

HBSAG = "5195-3^Hepatitis B virus surface Ag [Presence] in Serum^LN"
ANTI_HBS = "5193-8^Hepatitis B virus surface Ab^LN"
ANTI_HCV = "13955-0^Hepatitis C virus Ab^LN"
HCV_RNA = "11011-4^Hepatitis C virus RNA^LN"
HIV_RNA = "20447-9^HIV 1 RNA^LN"
HIV_AG_AB = "56888-1^HIV 1+2 Ab+HIV1 p24 Ag^LN"
PID = "PID|1||M-4711^^^INVENTED&1.2.3&ISO^MR~E-12^^^INVENTED^EI||Muster^Ada^M||19800229|F"
OBR = (
    "OBR|1|REQ-1^WARD|LAB-1^LAB|SEROLOGY^Serology^L|||202603020310|||||||202603020330||||||||"
    "202603020400|||F"
)


def msh(
    control: str = "C1", *, version: str = "2.5.1", charset: str = "", kind: str = "ORU^R01^ORU_R01",
    processing: str = "P", modes: str = "|", at: str = "20260302040000+0100", profile: str = "",
) -> str:  # fmt: skip
    return (
        rf"MSH|^~\&|LIS|INVENTED LAB|THIMBLE|INVENTED HOSPITAL|{at}||{kind}|{control}|{processing}|"
        f"{version}|||{modes}||{charset}|||{profile}"
    ).rstrip("|")


def obx(
    value: str, *, test: str = HBSAG, kind: str = "ST", unit: str = "", flags: str = "",
    status: str = "F", sub: str = "", number: int = 1,
) -> str:  # fmt: skip
    return f"OBX|{number}|{kind}|{test}|{sub}|{value}|{unit}||{flags}|||{status}"


def oru(*rows: str, control: str = "C1", charset: str = "", encoding: str = "utf-8") -> bytes:
    """A message of one order with these rows."""
    return text(msh(control, charset=charset), PID, OBR, *(rows or (obx("Negative"),))).encode(
        encoding
    )


def text(*segments: str) -> str:
    return "".join(segment + "\r" for segment in segments)


def read(*segments: str) -> Message:
    return read_bytes(text(*segments).encode())


def row(value: str, **how: object) -> Observation:
    """One row of results, read from a message as the product reads it."""
    message = read_bytes(oru(obx(value, **how)))  # type: ignore[arg-type]
    return message.patients[0].orders[0].observations[0]
