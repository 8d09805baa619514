"""Signatures as open standards have them: JWS compact (RFC 7515) with Ed25519 (RFC 8032, RFC 8037).

Reading is strict: of each part only the one spelling that writing gives is taken, so that no character of
what was signed can be changed unseen.
"""

from __future__ import annotations

import base64
import binascii
import hashlib
import json
from collections.abc import Mapping
from typing import Any

import rfc8785
from cryptography.exceptions import InvalidSignature
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey, Ed25519PublicKey

KEY_BYTES = 32
_ID_LENGTH = 16


class Forged(ValueError):
    """Something that was not signed as it stands by any of the keys. The message is a sentence."""


def to_text(data: bytes) -> str:
    """base64url without padding (RFC 7515, section 2)."""
    return base64.urlsafe_b64encode(data).rstrip(b"=").decode("ascii")


def from_text(text: str) -> bytes:
    """The bytes of a base64url text; only the spelling of `to_text` is taken.

    Raises:
        Forged: the text is no such spelling.
    """
    try:
        data = base64.b64decode(
            text.encode("ascii") + b"=" * (-len(text) % 4), altchars=b"-_", validate=True
        )
    except (UnicodeEncodeError, binascii.Error, ValueError) as error:
        raise Forged("A part is no base64url text.") from error
    if to_text(data) != text:
        raise Forged("A part is not spelt as it was written.")
    return data


def public_of(private: bytes) -> bytes:
    """The 32 bytes of the public key of a private key of 32 bytes."""
    return Ed25519PrivateKey.from_private_bytes(private).public_key().public_bytes_raw()


def key_id(public: bytes) -> str:
    """The first 16 characters of the key's JWK thumbprint (RFC 7638; RFC 8037, appendix A.3)."""
    return thumbprint(public)[:_ID_LENGTH]


def thumbprint(public: bytes) -> str:
    """The JWK thumbprint of a public key, SHA-256."""
    return to_text(hashlib.sha256(rfc8785.dumps(_jwk(public))).digest())


def key_set(keys: Mapping[str, bytes]) -> dict[str, Any]:
    """Public keys as a JWK Set (RFC 7517), by key id."""
    return {
        "keys": [
            {**_jwk(public), "kid": kid, "use": "sig", "alg": "EdDSA"}
            for kid, public in keys.items()
        ]
    }


def read_key_set(text: str) -> dict[str, bytes]:
    """Key id to public key, from a JWK Set; keys of other kinds are passed over.

    Raises:
        ValueError: the text is no JWK Set.
    """
    try:
        found = json.loads(text)["keys"]
        ours = [key for key in found if key.get("crv") == "Ed25519"]
        keys = {str(key["kid"]): from_text(key["x"]) for key in ours}
    except (ValueError, KeyError, TypeError, AttributeError) as error:
        raise ValueError("this is no set of public keys as Thimble publishes it") from error
    if any(len(public) != KEY_BYTES for public in keys.values()):
        raise ValueError("a public key has 32 bytes")
    return keys


def sign(payload: bytes, private: bytes) -> str:
    """`header.payload.signature` of a payload under a private key of 32 bytes."""
    key = Ed25519PrivateKey.from_private_bytes(private)
    signed = f"{_header(key_id(public_of(private)))}.{to_text(payload)}"
    return f"{signed}.{to_text(key.sign(signed.encode('ascii')))}"


def verified(proof: str, keys: Mapping[str, bytes]) -> bytes:
    """The payload of `header.payload.signature`, if one of the keys signed it.

    Raises:
        Forged: it is spelt in another way, names no key that is known, or the signature does not fit.
    """
    parts = proof.split(".")
    if len(parts) != 3:
        raise Forged("A signed text has three parts.")
    header, payload, signature = parts
    # The header is compared whole: it chooses among known keys, and nothing else.
    public = next((keys[kid] for kid in keys if header == _header(kid)), None)
    if public is None:
        raise Forged("It was signed with a key that is not known.")
    try:
        Ed25519PublicKey.from_public_bytes(public).verify(
            from_text(signature), f"{header}.{payload}".encode("ascii")
        )
    except (InvalidSignature, UnicodeEncodeError) as error:
        raise Forged("The signature does not fit: something was changed after signing.") from error
    return from_text(payload)


def key_of(proof: str) -> str:
    """The id of the key that a signed text names; "" where it names none."""
    try:
        named = json.loads(from_text(proof.partition(".")[0]))
    except ValueError:
        return ""
    return str(named.get("kid", "")) if isinstance(named, dict) else ""


def _jwk(public: bytes) -> dict[str, str]:
    return {"crv": "Ed25519", "kty": "OKP", "x": to_text(public)}


def _header(kid: str) -> str:
    return to_text(rfc8785.dumps({"alg": "EdDSA", "kid": kid}))
