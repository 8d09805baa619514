"""A row of a list and its fate."""

from __future__ import annotations

import hashlib
from collections import Counter
from collections.abc import Mapping
from dataclasses import asdict, dataclass, field
from enum import StrEnum
from typing import Any

from thimble.people.identity import PersonIdentity
from thimble.people.importing.on_file import Judged, Standing
from thimble.people.importing.values import Piece

NEW, LEAVE = "new", "leave"
"""Decisions about a row: another person than those shown; leave it out. Else a person's reference."""


class Fate(StrEnum):
    """What becomes of a row."""

    NEW = "new"
    CHANGED = "changed"
    ADDED = "added"
    UNCHANGED = "unchanged"
    ASK = "ask"
    REPEATED = "repeated"
    LEFT_OUT = "left_out"
    REFUSED = "refused"


@dataclass(frozen=True, slots=True)
class Change:
    """One field of somebody in the register: as it is, and as the file has it."""

    field: str
    before: str
    after: str


@dataclass(frozen=True, slots=True)
class Row:
    """One row and its fate.

    `person` is whose file it writes in ("" for nobody, or somebody new); `work` is what an entry says;
    `why` are sentences; `candidates` are the people whom it may be; `evidence` is how each piece stands.
    """

    number: int
    fate: Fate
    identity: PersonIdentity
    person: str = ""
    work: Mapping[str, Any] = field(default_factory=dict)
    changes: tuple[Change, ...] = ()
    why: tuple[str, ...] = ()
    candidates: tuple[str, ...] = ()
    may_be_new: bool = False
    notes: tuple[str, ...] = ()
    evidence: tuple[Judged, ...] = ()

    @property
    def writes(self) -> bool:
        """Whether anything of it is written."""
        return self.fate in (Fate.NEW, Fate.CHANGED, Fate.ADDED)

    @property
    def pieces(self) -> tuple[Piece, ...]:
        """The evidence that is written."""
        new = (j.piece for j in self.evidence if j.standing is Standing.NEW)
        return tuple(new) if self.writes else ()


@dataclass(frozen=True, slots=True)
class Preview:
    """The fate of every row, in the file's order; `absent` are people of the register whom no row names;
    `cautions` are sentences about the file as a whole."""

    rows: tuple[Row, ...]
    absent: tuple[str, ...]
    cautions: tuple[str, ...] = ()

    @property
    def counts(self) -> Mapping[Fate, int]:
        """How many rows have each fate."""
        return Counter(row.fate for row in self.rows)

    @property
    def digest(self) -> str:
        """Equal for equal previews: what was looked at is what is written."""
        told = repr(
            [
                (
                    r.number,
                    r.fate,
                    r.person,
                    r.changes,
                    sorted(r.work.items(), key=str),
                    [(piece.kind, piece.body) for piece in r.pieces],
                )
                for r in self.rows
            ]
            + [asdict(r.identity) for r in self.rows]
        )
        return hashlib.sha256(told.encode("utf-8", "replace")).hexdigest()
