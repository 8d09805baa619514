"""Ed25519 verification in plain integers, from the equations of RFC 8032, sections 5.1.3 and 5.1.7.

Shares no code with the library that the product signs with. Slow, and for tests alone.
"""

from __future__ import annotations

import hashlib

P = 2**255 - 19
ORDER = 2**252 + 27742317777372353535851937790883648493
D = -121665 * pow(121666, P - 2, P) % P
Point = tuple[int, int]


def add(one: Point, other: Point) -> Point:
    """The sum of two points of the twisted Edwards curve (RFC 8032, 5.1), affine."""
    (x1, y1), (x2, y2) = one, other
    product = D * x1 * x2 * y1 * y2 % P
    x = (x1 * y2 + x2 * y1) * pow(1 + product, P - 2, P)
    y = (y1 * y2 + x1 * x2) * pow(1 - product, P - 2, P)
    return x % P, y % P


def times(scalar: int, point: Point) -> Point:
    found: Point = (0, 1)
    while scalar:
        if scalar & 1:
            found = add(found, point)
        point = add(point, point)
        scalar >>= 1
    return found


def decoded(data: bytes) -> Point | None:
    """A point from its 32 bytes; None where they are none."""
    y = int.from_bytes(data, "little")
    sign, y = y >> 255, y & (2**255 - 1)
    if y >= P:
        return None
    square = (y * y - 1) * pow(D * y * y + 1, P - 2, P) % P
    x = pow(square, (P + 3) // 8, P)
    if (x * x - square) % P:
        x = x * pow(2, (P - 1) // 4, P) % P
    if (x * x - square) % P or (x == 0 and sign):
        return None
    return (P - x if x & 1 != sign else x), y


BASE = decoded((4 * pow(5, P - 2, P) % P).to_bytes(32, "little"))


def holds(public: bytes, message: bytes, signature: bytes) -> bool:
    """Whether a signature of 64 bytes is that of a message under a public key of 32 bytes."""
    key, commitment = decoded(public), decoded(signature[:32])
    scalar = int.from_bytes(signature[32:], "little")
    if BASE is None or key is None or commitment is None or scalar >= ORDER:
        return False
    digest = hashlib.sha512(signature[:32] + public + message).digest()
    challenge = int.from_bytes(digest, "little") % ORDER
    return times(scalar, BASE) == add(commitment, times(challenge, key))
