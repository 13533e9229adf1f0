"""The keys that documents are signed with: one passphrase-protected PKCS #12 file each, and which one is current.

A key is named by its certificate's fingerprint, the SHA-256 of the DER bytes in 64 hexadecimal digits. Files lie in
`QCAPP_SIGNING_FOLDER`, outside of the database and of every backup; older keys stay, so that what was issued with them
and not yet laid out still can be.
"""

from __future__ import annotations

import hashlib
import json
import os
import tempfile
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime, timedelta
from functools import lru_cache
from pathlib import Path
from typing import TYPE_CHECKING

from django.conf import settings

from qcapp.core.errors import Invalid, Refused

if TYPE_CHECKING:
    from cryptography.hazmat.primitives.serialization.pkcs12 import PKCS12KeyAndCertificates
    from cryptography.x509 import Certificate, KeyUsage

CURRENT = "current"
FILE, TOKEN = ".p12", ".token"  # a key in a file, or a file that says on which token it is
SHORTEST_PASSPHRASE = 12
MAKE_ONE = "Have the keeper run: manage.py make_signing_key."


@dataclass(frozen=True)
class SigningKey:
    """A key's public side, and where its file lies."""

    fingerprint: str
    pem: str
    subject: str
    valid_from: datetime
    valid_until: datetime
    path: Path

    def require_valid(self, at: datetime) -> None:
        """Raises Refused `signing_key_expired` or `signing_key_not_yet_valid` (a clock set back, for example)."""
        if at > self.valid_until:
            sentence = f"The signing key expired on {self.valid_until:%Y-%m-%d}; nothing is issued with it."
            raise Refused("signing_key_expired", f"{sentence} {MAKE_ONE}")
        if at < self.valid_from:
            sentence = f"The signing key is valid from {self.valid_from:%Y-%m-%d}, and the clock says {at:%Y-%m-%d}."
            raise Refused("signing_key_not_yet_valid", f"{sentence} Set the clock, then issue again.")


def folder() -> Path:
    """Where the key files lie."""
    return Path(settings.QCAPP_SIGNING_FOLDER)


def passphrase() -> bytes:
    """What the key files are encrypted with. Raises Refused `signing_passphrase_missing`."""
    given: str = settings.QCAPP_SIGNING_PASSPHRASE
    if len(given) < SHORTEST_PASSPHRASE:
        message = (
            "The passphrase of the signing key is not set or too short. Write QCAPP_SIGNING_PASSPHRASE= with at least "
            f"{SHORTEST_PASSPHRASE} characters, or put it into the file signing_passphrase of the data folder."
        )
        raise Refused("signing_passphrase_missing", message)
    return given.encode()


def current_key() -> SigningKey:
    """The key that is signed with now. Raises Refused `signing_key_missing`, `signing_key_unreadable`."""
    named = folder() / CURRENT
    if not named.is_file():
        raise Refused("signing_key_missing", f"There is no key to sign certificates with. {MAKE_ONE}")
    return key_of(named.read_text(encoding="ascii").strip())


def key_of(fingerprint: str) -> SigningKey:
    """The key with this fingerprint. Raises Refused `signing_key_gone`, `signing_key_unreadable`."""
    paths = [folder() / f"{fingerprint}{ending}" for ending in (FILE, TOKEN)]
    path = next((path for path in paths if path.is_file()), None)
    if len(fingerprint) != 64 or path is None:
        message = f"The key file {fingerprint[:16]}… is not in {folder()}. Put it back, or issue the certificate anew."
        raise Refused("signing_key_gone", message)
    return _public_side(path, path.stat().st_mtime_ns)


def keys_here() -> Iterator[str]:
    """The fingerprints of every key file of this machine."""
    return (path.stem for path in sorted(folder().glob("*")) if path.suffix in (FILE, TOKEN))


@lru_cache(maxsize=32)
def _public_side(path: Path, _changed: int) -> SigningKey:
    if path.suffix == TOKEN:
        from cryptography.x509 import load_pem_x509_certificate

        told = json.loads(path.read_text(encoding="utf-8"))
        return public_side_of(load_pem_x509_certificate(told["pem"].encode()), path)
    return described(bundle_of(path.read_bytes(), passphrase()), path)


def bundle_of(data: bytes, secret: bytes) -> PKCS12KeyAndCertificates:
    """A PKCS #12 file opened. Raises Refused `signing_key_unreadable`."""
    from cryptography.hazmat.primitives.serialization import pkcs12

    try:
        bundle = pkcs12.load_pkcs12(data, secret)
    except ValueError as error:
        message = "The signing key's file cannot be opened: it is no PKCS #12 file, or the passphrase is another one."
        raise Refused("signing_key_unreadable", message) from error
    if bundle.key is None or bundle.cert is None:
        raise Refused("signing_key_unreadable", "The file holds no private key with its certificate. Export both.")
    return bundle


def described(bundle: PKCS12KeyAndCertificates, path: Path) -> SigningKey:
    """The public side of an opened file."""
    if bundle.cert is None:
        raise Refused("signing_key_unreadable", "The file holds no certificate. Export the key with its certificate.")
    return public_side_of(bundle.cert.certificate, path)


def public_side_of(certificate: Certificate, path: Path) -> SigningKey:
    """What a certificate says of its key, which is at `path`."""
    from cryptography.hazmat.primitives.serialization import Encoding

    return SigningKey(
        fingerprint=hashlib.sha256(certificate.public_bytes(Encoding.DER)).hexdigest(),
        pem=certificate.public_bytes(Encoding.PEM).decode("ascii"),
        subject=certificate.subject.rfc4514_string(),
        valid_from=certificate.not_valid_before_utc,
        valid_until=certificate.not_valid_after_utc,
        path=path,
    )


def new_bundle(name: str, at: datetime, years: int) -> bytes:
    """A new EC P-256 key with a self-signed certificate of this name, as a protected PKCS #12 file (RFC 7292)."""
    from cryptography import x509
    from cryptography.hazmat.primitives import hashes
    from cryptography.hazmat.primitives.asymmetric import ec
    from cryptography.hazmat.primitives.serialization import BestAvailableEncryption, pkcs12
    from cryptography.x509.oid import NameOID

    if not 1 <= years <= 30:
        raise Invalid("years_out_of_range", "A key is made for 1 to 30 years; name a number between them.")
    key = ec.generate_private_key(ec.SECP256R1())
    subject = x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, name[:64])])
    whole = at.replace(microsecond=0)
    builder = (
        x509.CertificateBuilder()
        .subject_name(subject)
        .issuer_name(subject)
        .public_key(key.public_key())
        .serial_number(x509.random_serial_number())
        .not_valid_before(whole - timedelta(hours=1))
        .not_valid_after(whole + timedelta(days=365 * years + years // 4))
        .add_extension(x509.BasicConstraints(ca=False, path_length=None), critical=True)
        .add_extension(_signs_only(), critical=True)
    )
    certificate = builder.sign(key, hashes.SHA256())
    return pkcs12.serialize_key_and_certificates(
        name[:64].encode(), key, certificate, None, BestAvailableEncryption(passphrase())
    )


def _signs_only() -> KeyUsage:
    """Key usage (RFC 5280, 4.2.1.3): signatures and their non-repudiation, nothing else."""
    from cryptography.x509 import KeyUsage

    return KeyUsage(
        digital_signature=True, content_commitment=True, key_encipherment=False, data_encipherment=False,
        key_agreement=False, key_cert_sign=False, crl_sign=False, encipher_only=False, decipher_only=False,
    )  # fmt: skip


def keep(data: bytes) -> SigningKey:
    """Put a PKCS #12 file into the folder and make it the current key; its passphrase must be the site's.

    Raises Refused `signing_key_unreadable`.
    """
    key = described(bundle_of(data, passphrase()), folder())
    return keep_named(key.fingerprint, FILE, data)


def keep_named(fingerprint: str, ending: str, data: bytes) -> SigningKey:
    """The file under its fingerprint, and the key it stands for current from now on."""
    folder().mkdir(parents=True, exist_ok=True, mode=0o700)
    _write(folder() / f"{fingerprint}{ending}", data)
    _write(folder() / CURRENT, fingerprint.encode())
    return key_of(fingerprint)


def _write(path: Path, data: bytes) -> None:
    """Readable by the server's user alone, there whole or not at all."""
    with tempfile.NamedTemporaryFile(dir=path.parent, prefix=".new-", delete=False) as file:
        file.write(data)
        file.flush()
        os.fsync(file.fileno())
    Path(file.name).chmod(0o600)
    Path(file.name).replace(path)


def grouped(fingerprint: str) -> str:
    """A fingerprint in groups of four, as people compare it."""
    return " ".join(fingerprint[start : start + 4] for start in range(0, len(fingerprint), 4))
