"""Every letter of one run as the data of one file."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import asdict
from datetime import datetime
from typing import Any

from thimble.clinical.site import Site
from thimble.documents.frame import ProtocolMark, frame


def many_letters(
    letters: Sequence[Mapping[str, Any]], title: str, site: Site, now: datetime, mark: ProtocolMark
) -> dict[str, Any]:
    """Letters as `Letter.to_data` gave them, in order, under the title of the file.

    Raises:
        ValueError: there is none.
    """
    if not letters:
        raise ValueError("a file of letters holds at least one")
    shared = frame(title, f"{len(letters)} letters", site, now, mark)
    return {"frame": asdict(shared), "letters": list(letters)}
