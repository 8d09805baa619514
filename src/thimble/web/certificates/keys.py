"""The key that certificates are signed with: a file, made once and never replaced in silence.

The public halves of every key that was ever used lie in the database, beside the certificates, so that what
was signed with an earlier one can be verified for as long as there is a copy of either.
"""

from __future__ import annotations

import secrets
from collections.abc import Mapping
from datetime import datetime
from pathlib import Path

from django.db import transaction

from thimble.people.certificates.signing import (
    KEY_BYTES,
    from_text,
    key_id,
    public_of,
    sign,
    to_text,
)
from thimble.web.key_files import make_once, sync, write_new
from thimble.web.models import CertificateKey

FILE = "certificate_key"


class NotSigned(ValueError):
    """Nothing can be signed. The message is a sentence that says what to do."""


class CertificateKeys:
    """The keys of a data folder and its database."""

    def __init__(self, data: Path) -> None:
        self._file = data / FILE

    def sign(self, payload: bytes, now: datetime) -> str:
        """Sign with the key in use; the first time it is made.

        Raises:
            NotSigned: the key is missing, damaged, or another than the one in use.
        """
        if not CertificateKey.objects.exists():
            make_once(self._file, secrets.token_bytes(KEY_BYTES).hex())
        private = self._private()
        public = public_of(private)
        kid = key_id(public)
        held = {key.id: key for key in CertificateKey.objects.all()}
        used = [key.id for key in held.values() if key.ended_at is None]
        if kid in held and held[kid].ended_at is not None:
            raise NotSigned(_say("was put out of use"))
        if used and kid not in used:
            raise NotSigned(_say("is not the one in use"))
        if kid not in held:
            told = {"public": to_text(public), "made_at": now}
            CertificateKey.objects.get_or_create(id=kid, defaults=told)
        return sign(payload, private)

    def renew(self, now: datetime, *, stolen: bool = False) -> str:
        """Make a new key and put every earlier one out of use; returns the id of the new one.

        What was signed before can be verified as before. A key that was stolen is published no more: what
        it signed is told genuine by the ledger alone.
        """
        private = secrets.token_bytes(KEY_BYTES)
        public = public_of(private)
        with transaction.atomic():
            standing = CertificateKey.objects.filter(ended_at__isnull=True)
            if stolen:
                standing.update(stolen=True)
            standing.update(ended_at=now)
            CertificateKey.objects.create(id=key_id(public), public=to_text(public), made_at=now)
            new = write_new(self._file, private.hex())
            new.replace(self._file)
            sync(self._file.parent)
        return key_id(public)

    def all(self) -> Mapping[str, bytes]:
        """Every public key by its id."""
        return {key.id: from_text(key.public) for key in CertificateKey.objects.all()}

    def published(self) -> Mapping[str, bytes]:
        """The public keys by which anybody may verify, without those that were stolen."""
        keys = CertificateKey.objects.filter(stolen=False)
        return {key.id: from_text(key.public) for key in keys}

    def _private(self) -> bytes:
        try:
            private = bytes.fromhex(self._file.read_text(encoding="ascii").strip())
        except (OSError, ValueError) as error:
            raise NotSigned(_say("is missing or damaged")) from error
        if len(private) != KEY_BYTES:
            raise NotSigned(_say("is missing or damaged"))
        return private


def _say(what: str) -> str:
    return (
        f"Nothing was issued: the key of the certificates ({FILE}) {what}. Put it back from a copy, or "
        "have a new one made by “thimble certificate new-key”; tell whoever runs the server."
    )
