"""A message without the people in it: whose it is, who ordered it, what anybody wrote in a text.

What stays is listed; whatever is not, goes, so that a segment that nobody thought of names nobody. The
numbers of request and specimen stay: the ledger has them too, and they are what the results hang on.
Texts of results go, coded answers and numbers stay; the ledger keeps every result's own words.
"""

from __future__ import annotations

from typing import Final

from thimble.exchange.hl7v2.decoding import BOM, decode
from thimble.exchange.hl7v2.faults import Undecodable
from thimble.exchange.hl7v2.values import CODED, NUMBERS

KEPT: Final = {
    "FHS": frozenset({1, 2, 3, 4, 5, 6, 7, 11}),
    "BHS": frozenset({1, 2, 3, 4, 5, 6, 7, 11}),
    "BTS": frozenset({1}),
    "FTS": frozenset({1}),
    "MSH": frozenset({1, 2, 3, 4, 5, 6, 7, 9, 10, 11, 12, 15, 16, 18, 21}),
    "ORC": frozenset({1, 2, 3, 5}),
    "OBR": frozenset({1, 2, 3, 4, 7, 14, 15, 22, 25, 26, 29, 50}),
    "OBX": frozenset({1, 2, 3, 4, 5, 6, 7, 8, 11, 14, 15, 17, 23}),
    "SPM": frozenset({1, 2, 4, 17, 18}),
}
"""The fields that stay, by segment; of any other segment its name alone."""
VALUES: Final = CODED | NUMBERS | {"SN"}
"""OBX-2 of values that stay; a value of another type is a text, a name or a document."""
_HEADERS: Final = frozenset({"FHS", "BHS", "MSH"})


def without_identity(raw: bytes, single_byte: str | None = None) -> bytes:
    """These bytes with what `KEPT` lists, in the same character set; nothing at all where they cannot
    be read as text.

    >>> whole = b"MSH|^~\\\\&|LAB||||202603020310||ORU^R01|C1|P|2.5.1\\rPID|1||4711||Muster^Ada\\rOBR|1|R-1"
    >>> without_identity(whole)
    b'MSH|^~\\\\&|LAB||||202603020310||ORU^R01|C1|P|2.5.1\\rPID\\rOBR|1|R-1\\r'
    """
    try:
        decoded = decode(raw.removeprefix(BOM).lstrip(), single_byte)
    except Undecodable:
        return b""
    mark = decoded.text[3:4]
    if decoded.text[:3] not in _HEADERS or not mark.strip() or mark.isalnum():
        return b""
    lines = (_kept(line, mark) for line in decoded.text.split("\r"))
    return "".join(f"{line}\r" for line in lines if line).encode(decoded.encoding)


def _kept(line: str, mark: str) -> str:
    """One segment with the fields that stay; "" for what is no segment."""
    name, *fields = line.split(mark)
    if len(name) != 3 or not name.isalnum():
        return ""  # a line break inside a text: what follows is the rest of the text
    # The mark after the header's name is its first field: its fields are counted from there.
    first = 2 if name in _HEADERS else 1
    stays = KEPT.get(name, frozenset())
    if name == "OBX" and (len(fields) < 2 or fields[1].strip() not in VALUES):
        stays -= {5}
    left = [field if number in stays else "" for number, field in enumerate(fields, first)]
    while left and not left[-1]:
        left.pop()
    return mark.join([name, *left])
