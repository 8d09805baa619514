"""The protocols that ship with Thimble, and those in a folder of the user's own."""

from __future__ import annotations

import tomllib
from functools import lru_cache
from pathlib import Path

from thimble.protocol import Protocol, Vocabulary, load_protocol

from .vocabulary import VOCABULARY

SHIPPED = Path(__file__).parent.parent / "protocols"
NOT_FOR_A_SITE = frozenset(
    {
        "serology",
        "prophylaxis",
        "fitness",
        "clearance_us",
        "clearance_uk",
        "immunity_us",
        "immunity_uk",
        "screening",
        "source_law",
    }
)
"""Folders of tables that are used beside a site's protocol: no protocol to choose."""


def shipped() -> tuple[str, ...]:
    """Ids of the shipped protocols that a site can choose."""
    found = {path.parent.name for path in SHIPPED.glob("*/protocol.toml")}
    return tuple(sorted(found - NOT_FOR_A_SITE))


def folders() -> tuple[str, ...]:
    """Every shipped folder of tables: those that a site can choose, then those that all use."""
    return (*shipped(), *sorted(NOT_FOR_A_SITE))


def folder_of(name: str) -> Path:
    """The folder of a shipped protocol's id, or of a path.

    Raises:
        LookupError: a sentence that lists what there is.
    """
    if name in shipped() or name in NOT_FOR_A_SITE:
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
    folder = folder_of(name)
    return load_protocol(folder, _vocabulary_of(folder))


def _vocabulary_of(folder: Path) -> Vocabulary:
    """The facts that a folder's tables ask for: of the exposure, results, a course, fitness,
    clearance, immunity, screening."""
    # Imported here: these packages read their own tables through this module.
    from thimble.clinical.fitness.vocabulary import vocabulary as of_fitness
    from thimble.clinical.immunity.vocabulary import vocabulary as of_immunity
    from thimble.clinical.prophylaxis.vocabulary import vocabulary as of_a_course
    from thimble.clinical.screening.vocabulary import vocabulary as of_screening
    from thimble.clinical.series.vocabulary import vocabulary as of_clearance
    from thimble.clinical.serology.vocabulary import vocabulary as of_results
    from thimble.clinical.source_law import vocabulary as of_the_source

    try:
        manifest = tomllib.loads((folder / "protocol.toml").read_text(encoding="utf-8"))
    except (OSError, ValueError):
        return VOCABULARY  # the reader tells what is wrong with it
    own = {
        "serology": of_results,
        "prophylaxis": of_a_course,
        "fitness": of_fitness,
        "clearance_us": of_clearance,
        "clearance_uk": of_clearance,
        "immunity_us": of_immunity,
        "immunity_uk": of_immunity,
        "screening": of_screening,
        "source_law": of_the_source,
    }.get(str(manifest.get("id")))
    return own() if own else VOCABULARY
