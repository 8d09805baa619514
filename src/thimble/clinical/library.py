"""The protocols that ship with Thimble, and those in a folder of the user's own."""

from __future__ import annotations

from functools import lru_cache
from pathlib import Path

from thimble.protocol import Protocol, load_protocol

from .vocabulary import VOCABULARY

SHIPPED = Path(__file__).parent.parent / "protocols"


def shipped() -> tuple[str, ...]:
    """Ids of the shipped protocols."""
    return tuple(sorted(path.parent.name for path in SHIPPED.glob("*/protocol.toml")))


def folder_of(name: str) -> Path:
    """The folder of a shipped protocol's id, or of a path.

    Raises:
        LookupError: a sentence that lists what there is.
    """
    if name in shipped():
        return SHIPPED / name
    path = Path(name)
    if path.is_dir():
        return path
    raise LookupError(
        f"There is no protocol {name!r}. Shipped are {', '.join(shipped())}; "
        "or name a folder that holds protocol.toml."
    )


@lru_cache(maxsize=8)
def protocol(name: str) -> Protocol:
    """The protocol of that id or folder, read and compiled once.

    Raises:
        LookupError: there is no such protocol.
        ProtocolFaults: the folder is refused, with every fault.
    """
    return load_protocol(folder_of(name), VOCABULARY)
