"""Messages over a real TLS socket, with certificates made for the test."""

from __future__ import annotations

import ssl
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from cryptography import x509
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.x509.oid import NameOID

from thimble.exchange.listener import Limits
from thimble.exchange.tls import TlsFault, server_context

from .serving import Client, Remembering, serving

MESSAGE = b"MSH|^~\\&|LAB|A|B|C|20260302||ORU^R01|1|P|2.5\r"


@dataclass(frozen=True)
class Issuer:
    """An authority that signs certificates into a folder."""

    name: str
    folder: Path
    key: ec.EllipticCurvePrivateKey

    @classmethod
    def made(cls, name: str, folder: Path) -> Issuer:
        issuer = cls(name, folder, ec.generate_private_key(ec.SECP256R1()))
        issuer._write(name, issuer.key, authority=True)
        return issuer

    @property
    def path(self) -> Path:
        return self.folder / f"{self.name}.pem"

    def issue(self, name: str) -> tuple[Path, Path]:
        """The files of a certificate for `localhost` and of its key."""
        return self._write(name, ec.generate_private_key(ec.SECP256R1()), authority=False)

    def _write(
        self, name: str, key: ec.EllipticCurvePrivateKey, *, authority: bool
    ) -> tuple[Path, Path]:
        now = datetime.now(UTC)
        built = (
            x509.CertificateBuilder()
            .subject_name(x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, name)]))
            .issuer_name(x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, self.name)]))
            .public_key(key.public_key())
            .serial_number(x509.random_serial_number())
            .not_valid_before(now - timedelta(hours=1))
            .not_valid_after(now + timedelta(hours=1))
            .add_extension(x509.BasicConstraints(ca=authority, path_length=None), critical=True)
            .add_extension(x509.SubjectAlternativeName([x509.DNSName("localhost")]), critical=False)
            .add_extension(x509.SubjectKeyIdentifier.from_public_key(key.public_key()), False)
            .add_extension(
                x509.AuthorityKeyIdentifier.from_issuer_public_key(self.key.public_key()), False
            )
            .add_extension(_usage(authority), critical=True)
            .sign(self.key, hashes.SHA256())
        )
        certificate, private = self.folder / f"{name}.pem", self.folder / f"{name}-key.pem"
        certificate.write_bytes(built.public_bytes(serialization.Encoding.PEM))
        private.write_bytes(_pem(key, serialization.NoEncryption()))
        return certificate, private


def _usage(authority: bool) -> x509.KeyUsage:
    """Python 3.13 takes no authority that does not say what its key is for (RFC 5280, 4.2.1.3)."""
    return x509.KeyUsage(
        digital_signature=not authority, key_cert_sign=authority, crl_sign=authority,
        content_commitment=False, key_encipherment=False, data_encipherment=False,
        key_agreement=False, encipher_only=False, decipher_only=False,
    )  # fmt: skip


def _pem(key: ec.EllipticCurvePrivateKey, how: serialization.KeySerializationEncryption) -> bytes:
    return key.private_bytes(serialization.Encoding.PEM, serialization.PrivateFormat.PKCS8, how)


@pytest.fixture
def hospital(tmp_path: Path) -> Issuer:
    return Issuer.made("hospital", tmp_path)


def sender(trusts: Issuer, own: tuple[Path, Path] | None = None) -> ssl.SSLContext:
    context = ssl.create_default_context(cafile=trusts.path)
    if own is not None:
        context.load_cert_chain(*own)
    return context


def test_a_message_over_tls_is_taken_and_answered(hospital: Issuer) -> None:
    sink = Remembering()
    context = server_context(*hospital.issue("listener"))
    with serving(sink, tls=context) as served, Client(served.port, sender(hospital)) as client:
        assert client.send(MESSAGE) is not None
        assert client.send(MESSAGE) is not None

    assert sink.taken == [MESSAGE, MESSAGE]


def test_a_sender_in_clear_is_not_taken_and_hurts_nobody(hospital: Issuer) -> None:
    sink = Remembering()
    with serving(sink, tls=server_context(*hospital.issue("listener"))) as served:
        with Client(served.port) as plain:
            assert plain.send(MESSAGE) is None
        with Client(served.port, sender(hospital)) as client:
            assert client.send(MESSAGE) is not None

    assert sink.taken == [MESSAGE]


def test_a_handshake_that_is_never_finished_is_given_up(hospital: Issuer) -> None:
    limits = Limits(read_seconds=0.2)
    context = server_context(*hospital.issue("listener"))
    with serving(Remembering(), limits, context) as served, Client(served.port) as silent:
        assert silent.answer() is None


def test_a_sender_needs_a_certificate_of_the_hospitals_own_authority(
    hospital: Issuer, tmp_path: Path
) -> None:
    (tmp_path / "other").mkdir()
    stranger = Issuer.made("stranger", tmp_path / "other")
    sink = Remembering()
    context = server_context(*hospital.issue("listener"), senders=hospital.path)
    with serving(sink, tls=context) as served:
        for own in (None, stranger.issue("laboratory")):
            assert _refused(served.port, sender(hospital, own))
        with Client(served.port, sender(hospital, hospital.issue("laboratory"))) as client:
            assert client.send(MESSAGE) is not None

    assert sink.taken == [MESSAGE]


def _refused(port: int, tls: ssl.SSLContext) -> bool:
    """TLS 1.3 tells a sender only when it reads that its certificate was not taken."""
    try:
        with Client(port, tls) as client:
            return client.send(MESSAGE) is None
    except (ConnectionError, ssl.SSLError):
        return True


def test_files_that_cannot_be_used_are_told_in_a_sentence(hospital: Issuer, tmp_path: Path) -> None:
    certificate, key = hospital.issue("listener")
    _, other = hospital.issue("other")
    locked, text = tmp_path / "locked.pem", tmp_path / "text.pem"
    secret = serialization.BestAvailableEncryption(b"secret")
    locked.write_bytes(_pem(ec.generate_private_key(ec.SECP256R1()), secret))
    text.write_text("nothing", encoding="ascii")

    with pytest.raises(TlsFault, match="there is no such file"):
        server_context(tmp_path / "none.pem")
    for wrong in (other, locked, text, None):
        with pytest.raises(TlsFault, match="private key without a passphrase"):
            server_context(certificate, wrong)
    with pytest.raises(TlsFault, match="holds no certificate"):
        server_context(certificate, key, text)

    both = tmp_path / "both.pem"
    both.write_bytes(certificate.read_bytes() + key.read_bytes())
    assert server_context(both).minimum_version is ssl.TLSVersion.TLSv1_2
