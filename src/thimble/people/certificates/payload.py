"""What is signed of a certificate, and what its square code holds (docs/certificates.md).

The name and birth date are not in it, only a keyed digest of them: whoever holds the paper can show that
they are those that were signed, and whoever sees the payload alone learns neither.
"""

from __future__ import annotations

import hashlib
import hmac
import json
import secrets
import unicodedata
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from typing import Any

import rfc8785

from thimble.people.certificates.signing import Forged, from_text, to_text, verified
from thimble.people.certificates.stating import NUMBER, Statement

VERSION = 1
SALT_BYTES = 16
_KEYS = ("by", "exposure_prone", "issued", "number", "person", "restriction", "until", "v")


@dataclass(frozen=True, slots=True)
class Payload:
    """What the issuer vouches for. `person` is the keyed digest, `until` the last day on which it holds."""

    number: str
    by: str
    person: str
    statement: Statement
    issued: date
    until: date

    def to_bytes(self) -> bytes:
        """Canonical JSON (RFC 8785)."""
        return rfc8785.dumps(
            {
                "v": VERSION,
                "number": self.number,
                "by": self.by,
                "person": self.person,
                "restriction": self.statement.restriction,
                "exposure_prone": self.statement.exposure_prone,
                "issued": self.issued.isoformat(),
                "until": self.until.isoformat(),
            }
        )

    @property
    def digest(self) -> str:
        """SHA-256 of the payload, in hexadecimal digits: what the ledger keeps."""
        return hashlib.sha256(self.to_bytes()).hexdigest()

    def is_about(self, name: str, born: date, salt: bytes) -> bool:
        """Whether it was signed for somebody of this name and birth date."""
        return hmac.compare_digest(self.person, person_digest(name, born, salt))


def read_payload(data: bytes) -> Payload:
    """The payload in canonical bytes.

    Raises:
        Forged: it has another form, or another version.
    """
    try:
        told: Any = json.loads(data)
        if not isinstance(told, dict) or tuple(sorted(told)) != _KEYS or told["v"] != VERSION:
            raise Forged("It is no certificate of a version that is known.")
        words = [value for key, value in told.items() if key != "v"]
        if not all(isinstance(value, str) for value in words):
            raise Forged("It is no certificate of a version that is known.")
        if not NUMBER.fullmatch(told["number"]):
            raise Forged("Its number is none that is given to certificates.")
        payload = Payload(
            number=told["number"],
            by=told["by"],
            person=told["person"],
            statement=Statement(told["restriction"], told["exposure_prone"]),
            issued=date.fromisoformat(told["issued"]),
            until=date.fromisoformat(told["until"]),
        )
        same = payload.to_bytes() == data
    except Forged:
        raise
    except (ValueError, TypeError, rfc8785.CanonicalizationError) as error:
        raise Forged("It is no certificate of a version that is known.") from error
    if not same:
        raise Forged("It is not written as certificates are.")
    return payload


def name_as_signed(name: str) -> str:
    """A name in Unicode's composed form (NFC) with single spaces.

    >>> name_as_signed("Brindle,  Ine\\u0301s ") == "Brindle, In\\u00e9s"
    True
    """
    return " ".join(unicodedata.normalize("NFC", name).split())


def new_salt() -> bytes:
    """A salt that nobody guesses."""
    return secrets.token_bytes(SALT_BYTES)


def person_digest(name: str, born: date, salt: bytes) -> str:
    """HMAC-SHA256 under the salt of the name, a line feed and the birth date, in base64url."""
    said = f"{name_as_signed(name)}\n{born.isoformat()}".encode()
    return to_text(hmac.new(salt, said, hashlib.sha256).digest())


@dataclass(frozen=True, slots=True)
class Presented:
    """What a paper showed and a key bears out: the payload, and the salt that ties it to a person."""

    payload: Payload
    salt: bytes


def square_text(address: str, proof: str, salt: bytes) -> str:
    """What the square code holds. The part after `#` reaches no server unless the browser sends it."""
    return f"{address}#{proof}.{to_text(salt)}"


def presented(text: str, keys: Mapping[str, bytes]) -> Presented:
    """What a square code holds (all of it, or what stands after `#`), if a key bears it out.

    The salt is not signed: it is borne out where the name and birth date fit.

    Raises:
        Forged: anything was changed, or another key signed it.
    """
    proof, _, salt = text.strip().rpartition("#")[2].rpartition(".")
    payload = read_payload(verified(proof, keys))
    found = from_text(salt)
    if len(found) != SALT_BYTES:
        raise Forged("The last part is not as it was written.")
    return Presented(payload, found)
