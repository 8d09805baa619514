"""Escape sequences, undone once, after a field was split.

Source: HL7 v2 chapter 2, "Use of escape sequences in text fields" (F S T R E X and .br read in
public test messages; the rest from memory). What is not known is left as it stands.
"""

from __future__ import annotations

import re
from dataclasses import dataclass

_HEX = re.compile(r"X(?:[0-9A-Fa-f]{2})+")
_BREAK = re.compile(r"\.(?:br|sp|ce)(?:\s*\+?\d{0,3})?", re.IGNORECASE)
_SHAPE = re.compile(r"\.(?:in|ti|fi|nf|sk)(?:\s*[+-]?\d{0,3})?", re.IGNORECASE)


@dataclass(frozen=True, slots=True)
class Delimiters:
    """The characters that MSH-1 and MSH-2 of this message declare."""

    field: str = "|"
    component: str = "^"
    repetition: str = "~"
    escape: str = "\\"
    subcomponent: str = "&"


def unescape(text: str, delimiters: Delimiters, encoding: str) -> str:
    r"""Text with its escape sequences undone; bytes given in hexadecimal are in `encoding`.

    >>> print(unescape(r"a\T\b 1\S\2 \X41\ \Zq\ ", Delimiters(), "utf-8").strip())
    a&b 1^2 A \Zq\
    """
    mark = delimiters.escape
    if mark not in text:
        return text
    out: list[str] = []
    at = 0
    while True:
        start = text.find(mark, at)
        end = text.find(mark, start + 1) if start >= 0 else -1
        if end < 0:
            return "".join([*out, text[at:]])
        meant = _meaning(text[start + 1 : end], delimiters, encoding)
        if meant is None:
            # Its closing mark may open the next sequence.
            out.append(text[at:end])
            at = end
        else:
            out += [text[at:start], meant]
            at = end + 1


def _meaning(code: str, delimiters: Delimiters, encoding: str) -> str | None:
    match code:
        case "F":
            return delimiters.field
        case "S":
            return delimiters.component
        case "T":
            return delimiters.subcomponent
        case "R":
            return delimiters.repetition
        case "E":
            return delimiters.escape
        case "H" | "N":
            return ""  # highlighted, and back to normal
    if _HEX.fullmatch(code):
        try:
            return bytes.fromhex(code[1:]).decode(encoding)
        except UnicodeDecodeError:
            return None
    if _BREAK.fullmatch(code):
        return "\n"
    return "" if _SHAPE.fullmatch(code) else None
