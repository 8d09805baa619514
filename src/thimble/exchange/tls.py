"""The listener's end of TLS: its certificate, and whose certificates it asks senders for."""

from __future__ import annotations

import ssl
from pathlib import Path


class TlsFault(ValueError):
    """A certificate, key or list of authorities that cannot be used, in a sentence."""


def server_context(
    certificate: Path, key: Path | None = None, senders: Path | None = None
) -> ssl.SSLContext:
    """TLS 1.2 or later with this certificate.

    Args:
        certificate: the chain in PEM form, the listener's own first.
        key: its private key in PEM form, without a passphrase; None: it stands in the same file.
        senders: the authorities, in PEM form, one of which must have issued the certificate of every
            sender; None: a sender needs none.

    Raises:
        TlsFault: a file cannot be read or does not hold what it should.
    """
    context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    context.minimum_version = ssl.TLSVersion.TLSv1_2
    for path in filter(None, (certificate, key, senders)):
        if not path.is_file():
            raise TlsFault(f"{path}: there is no such file.")
    try:
        # A key with a passphrase would be asked for on the terminal of a service that has none.
        context.load_cert_chain(certificate, key, password=_no_passphrase)
    except (OSError, ValueError) as error:
        found = f"{certificate}" + (f" and {key}" if key else "")
        raise TlsFault(
            f"{found}: not a certificate in PEM form with its own private key without a passphrase "
            f"({_said(error)})."
        ) from error
    if senders is not None:
        try:
            context.load_verify_locations(cafile=senders)
        except (OSError, ValueError) as error:
            raise TlsFault(
                f"{senders}: holds no certificate in PEM form ({_said(error)})."
            ) from error
        context.verify_mode = ssl.CERT_REQUIRED
    return context


def _no_passphrase() -> str:
    raise ValueError("the key has a passphrase")


def _said(error: Exception) -> str:
    return getattr(error, "reason", None) or str(error)
