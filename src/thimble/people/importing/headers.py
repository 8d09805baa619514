"""Headers as they are compared."""

from __future__ import annotations

import re
import unicodedata
from functools import lru_cache


@lru_cache(maxsize=8_192)
def header_key(text: str) -> str:
    """A header without accents, case and marks.

    >>> header_key("Date d’entrée")
    'date d entree'
    """
    plain = unicodedata.normalize("NFKD", text.casefold())
    plain = "".join(c for c in plain if not unicodedata.combining(c))
    return " ".join(re.findall(r"[a-z0-9]+", plain))
