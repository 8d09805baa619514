"""The history of a case, line by line."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, tzinfo

from thimble.ledger.entries import Entry, Kind
from thimble.ledger.exposed import as_written
from thimble.ledger.history.labels import LABELS
from thimble.ledger.history.wording import details
from thimble.ledger.standing import known_by, standing
from thimble.protocol.vocabulary import Fact


@dataclass(frozen=True, slots=True)
class Line:
    """One entry of the history.

    `details` are sentences in the words that were recorded. `happened_at` is given only where it
    was not the moment of writing. `corrected_by` are the positions of entries that set this one
    right; `withdrawn` says that it counts no more.
    """

    position: int
    kind: Kind
    label: str
    details: tuple[str, ...]
    recorded_at: datetime
    happened_at: datetime | None
    by: str
    role: str
    digest: str
    corrected_by: tuple[int, ...] = ()
    withdrawn: bool = False


def history(
    entries: Sequence[Entry],
    vocabulary: Mapping[str, Fact],
    zone: tzinfo,
    *,
    as_of: datetime | None = None,
    actions: Mapping[str, str] | None = None,
    say: Callable[[str], str] = as_written,
) -> list[Line]:
    """The entries of one case in plain words, oldest first, each as it was written.

    Args:
        entries: of one case.
        vocabulary: for the words of facts and values.
        zone: in which instants are shown.
        as_of: leave out what was recorded later.
        actions: the words for action ids (a protocol's `what`), where they are known.
        say: puts fixed words for who is exposed; what was typed stays as it is.
    """
    known = list(entries) if as_of is None else known_by(entries, as_of)
    corrected_by: dict[int, list[int]] = {}
    stands = standing(known)
    for entry in known:
        # A correction that was itself withdrawn corrects nothing.
        if entry.kind is Kind.CORRECTED and (found := stands[entry.position]) is not None:
            corrected_by.setdefault(found.body["corrects"], []).append(entry.position)
    return [
        Line(
            position=entry.position,
            kind=entry.kind,
            label=say(LABELS[entry.kind]),
            details=tuple(details(entry, vocabulary, zone, actions or {}, say)),
            recorded_at=entry.recorded_at,
            happened_at=None if entry.happened_at == entry.recorded_at else entry.happened_at,
            by=entry.by,
            role=entry.role,
            digest=entry.digest,
            corrected_by=tuple(corrected_by.get(entry.position, ())),
            withdrawn=stands[entry.position] is None,
        )
        for entry in known
    ]
