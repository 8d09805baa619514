"""The facts that screening is decided by, read from `vocabulary.toml` beside this file."""

from __future__ import annotations

from functools import cache
from importlib.resources import files

from thimble.clinical.vocabulary import parse_vocabulary
from thimble.protocol import Vocabulary

FILE = "vocabulary.toml"


@cache
def vocabulary() -> Vocabulary:
    """The facts of screening, read once.

    Raises:
        ValueError: the shipped file has faults; each is listed.
    """
    text = (files("thimble.clinical.screening") / FILE).read_text(encoding="utf-8")
    return parse_vocabulary(text, f"screening/{FILE}")
