"""The settings of a site: who it is, where people go, when that is open, which protocol it follows.

Read from a TOML file, as strictly as a protocol: an unknown key is refused, and every fault is told at
once, in a sentence.
"""

from thimble.clinical.site.model import (
    DAYS,
    ClosedDay,
    Expert,
    Hours,
    Messages,
    Place,
    Session,
    Site,
)
from thimble.clinical.site.reading import SiteError, load_site, parse_site

__all__ = [
    "DAYS",
    "ClosedDay",
    "Expert",
    "Hours",
    "Messages",
    "Place",
    "Session",
    "Site",
    "SiteError",
    "load_site",
    "parse_site",
]
