"""Fields of several parts: codes, identifiers, and a text as a person would read it."""

from __future__ import annotations

from collections.abc import Sequence

from thimble.exchange.hl7v2.model import (
    Code,
    Coded,
    Identifier,
)
from thimble.exchange.hl7v2.segments import Field


def plain(written: Field) -> str:
    """The components of the first repetition in one text, as a person would read them."""
    return "^".join(written.components())


def coded(written: Field) -> Coded:
    """CE, CWE or CNE: two triples; CWE-9 is the original text."""
    triples = ([written.component(n + step) for step in range(3)] for n in (1, 4))
    codes = tuple(Code(*(part.strip() for part in triple)) for triple in triples if any(triple))
    return Coded(codes, written.component(9).strip())


def entity(written: Field) -> Identifier | None:
    """EI: number, name space, universal id and its type."""
    if not written.text:
        return None
    return Identifier(written.text, authority(written.components()[1:4]))


def extended(written: Field) -> Identifier:
    """CX: number, check digit, its scheme, authority, type."""
    return Identifier(written.text, authority(written.parts(4)), written.component(5))


def authority(parts: Sequence[str]) -> str:
    """Who gave a number: name space, universal id and its type."""
    return "&".join(parts).rstrip("&")
