"""Text that can be printed: every character has a shape in the vendored fonts, or shows its code point.

PDF/A forbids a character without a shape, and what people type holds anything. Nothing is dropped in
silence: a character that cannot be drawn is written as its code point, ‹U+4E2D›.
"""

from __future__ import annotations

import unicodedata
from collections.abc import Mapping, Sequence
from functools import cache
from pathlib import Path
from typing import Any

FONTS = Path(__file__).parent / "fonts"

LONGEST_RUN = 28
"""Characters without a space after which a line may break anywhere."""

_JOINERS = frozenset("\u200d\ufe0f")  # hold emoji together; invisible by themselves


@cache
def drawable(*families: str) -> frozenset[int]:
    """Code points that at least one of the families in `fonts/coverage.txt` can draw."""
    points: set[int] = set()
    for line in (FONTS / "coverage.txt").read_text(encoding="utf-8").splitlines():
        family, _, ranges = line.partition(": ")
        if line.startswith("#") or family not in families:
            continue
        for piece in ranges.split():
            first, _, last = piece.partition("-")
            points.update(range(int(first, 16), int(last or first, 16) + 1))
    return frozenset(points)


def legible(text: str, *, plain: bool = False) -> str:
    """`text` with every undrawable or invisible character shown as ‹U+….›.

    Line ends are kept, tabs become spaces, and a long run without a space gets places to break. With
    `plain`, only what the text font itself can draw is kept: the way out for sequences whose parts
    can be drawn only apart.

    >>> legible("*bold* #panic() 中 O'Brien")
    "*bold* #panic() ‹U+4E2D› O'Brien"
    """
    families = ("text",) if plain else ("text", "fallback", "emoji")
    shapes = drawable(*families)
    text = text.replace("\r\n", "\n").replace("\r", "\n").replace("\t", " ")
    shown = []
    for character in unicodedata.normalize("NFC", text):
        if character == "\n" or _is_shown(character, shapes, joiners=not plain):
            shown.append(character)
        else:
            shown.append(f"‹U+{ord(character):04X}›")
    return "\n".join(
        " ".join(_breakable(word) for word in line.split(" "))
        for line in "".join(shown).split("\n")
    )


def legible_data(value: Any, *, plain: bool = False) -> Any:
    """`legible` over everything inside mappings and sequences; numbers, booleans and None stay."""
    if isinstance(value, str):
        return legible(value, plain=plain)
    if isinstance(value, Mapping):
        return {key: legible_data(item, plain=plain) for key, item in value.items()}
    if isinstance(value, Sequence):
        return [legible_data(item, plain=plain) for item in value]
    if value is None or isinstance(value, bool | int | float):
        return value
    raise TypeError(
        f"a document holds text, numbers, lists and mappings; found {type(value).__name__}"
    )


def _is_shown(character: str, shapes: frozenset[int], *, joiners: bool) -> bool:
    if character in _JOINERS:
        return joiners
    # Format controls reorder or hide what stands beside them: never as themselves.
    return ord(character) in shapes and unicodedata.category(character) not in {
        "Cc", "Cf", "Cn", "Co", "Cs", "Zl", "Zp",
    }  # fmt: skip


def _breakable(word: str) -> str:
    if len(word) <= LONGEST_RUN:
        return word
    pieces: list[str] = []
    run = 0
    for character in word:
        # Never between a letter and its mark, nor inside an emoji.
        joined = bool(unicodedata.combining(character)) or character in _JOINERS
        if run >= LONGEST_RUN and not joined and not (pieces and pieces[-1] in _JOINERS):
            pieces.append("\u200b")
            run = 0
        pieces.append(character)
        run += 1
    return "".join(pieces)
