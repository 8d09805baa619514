"""Case references: short, said over a telephone, copied by hand, and told from a typo.

Eight characters, `K7QM-2F4T`: seven drawn at random and one that checks them. They are not in
sequence: one tells nothing of another, nor how many there are.

The 23 characters leave out what is misread for another (0 and O, 1 and I and L, 5 and S, B, G, U,
Z) and every vowel, so that no reference spells a word. The check is a weighted sum modulo 23 that
must come to 0. 23 is prime and the weights 8 to 1 differ, so any one wrong character and any two
characters exchanged are always found (the principle of ISO/IEC 7064 and of ISBN-10).
"""

from __future__ import annotations

import hashlib
import secrets
from collections.abc import Iterator

ALPHABET = "2346789CDFHJKMNPQRTVWXY"
LENGTH = 8
CODE_LENGTH = 12
"""Characters of a code that proves something: eleven drawn, so that nobody finds it by trying."""

READ_AS = {"B": "8", "G": "6", "Z": "2"}
"""Characters no reference holds, that stand for the one they look like."""

_VALUES = {character: value for value, character in enumerate(ALPHABET)}


def _sum(characters: str) -> int:
    return sum(
        weight * _VALUES[character]
        for weight, character in zip(range(len(characters), 0, -1), characters, strict=True)
    )


def _with_check(drawn: str) -> str:
    """What was drawn and the character that checks it, which weighs 1."""
    return _written(drawn + ALPHABET[-_sum(drawn + ALPHABET[0]) % len(ALPHABET)])


def _written(characters: str) -> str:
    return "-".join(characters[start : start + 4] for start in range(0, len(characters), 4))


def _drawn(number: int, count: int) -> str:
    drawn = ""
    for _ in range(count):
        number, value = divmod(number, len(ALPHABET))
        drawn += ALPHABET[value]
    return drawn


def new_references(token: str = "") -> Iterator[str]:
    """References to try in turn until one is free; without end.

    With a token the same references come each time, so that a report sent twice finds itself.
    Without one they come from the system's random source.
    """
    attempt = 0
    while True:
        if token:
            digest = hashlib.sha256(f"{attempt}:{token}".encode()).digest()
            number = int.from_bytes(digest, "big")
        else:
            number = secrets.randbits(256)
        yield _with_check(_drawn(number, LENGTH - 1))
        attempt += 1


def new_code() -> str:
    """A code of `CODE_LENGTH` characters that nobody guesses, from the system's random source."""
    return _with_check(_drawn(secrets.randbits(256), CODE_LENGTH - 1))


def read_reference(typed: str, length: int = LENGTH) -> str:
    """A reference, or a code of another `length`, as typed or read aloud, in its written form.

    Small letters, spaces and hyphens do not matter.

    Raises:
        ValueError: a sentence that says what to look at again.

    >>> read_reference("k7qm 2f49")
    'K7QM-2F49'
    """
    characters = "".join(
        READ_AS.get(c, c) for c in typed.upper() if not c.isspace() and c not in "-‐‑–—"
    )
    for character in characters:
        if character not in _VALUES:
            raise ValueError(
                f"{character} is not used in a case reference; look at it again. "
                f"Used are {' '.join(ALPHABET)}"
            )
    if len(characters) != length:
        noun = "case reference" if length == LENGTH else "code"
        example = _with_check("K7QM2F49R3X"[: length - 1])
        raise ValueError(
            f"a {noun} has {length} characters, for example {example}; this has {len(characters)}"
        )
    if _sum(characters) % len(ALPHABET):
        raise ValueError(
            f"{_written(characters)} is no case reference: a character is mistyped "
            "or two are exchanged"
        )
    return _written(characters)
