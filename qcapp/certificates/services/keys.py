"""The site's signing keys: making one, taking over the keeper's own, and what the database keeps of them."""

from __future__ import annotations

from datetime import datetime

from django.conf import settings
from django.db import transaction

from qcapp.audit import services as audit
from qcapp.audit.verbs import Verb
from qcapp.lib.signing_keys import SigningKey, bundle_of, described, folder, keep, new_bundle, passphrase
from qcapp.lib.signing_tokens import Token, keep_token

from ..models import SigningCertificate


def make_key(*, at: datetime, years: int) -> SigningKey:
    """A new key of the site's own, self-signed, current from now on. Raises Refused `signing_passphrase_missing`,
    Invalid `years_out_of_range`.
    """
    return take_key(data=new_bundle(settings.QCAPP_SITE_NAME, at, years), at=at)


def take_key(*, data: bytes, at: datetime) -> SigningKey:
    """A PKCS #12 file as the current key; the database gets its certificate and never the key.

    What older keys signed stays checkable. Raises Refused `signing_key_unreadable`, `signing_key_expired`,
    `signing_key_not_yet_valid`, `signing_passphrase_missing`.
    """
    described(bundle_of(data, passphrase()), folder()).require_valid(at)
    key = keep(data)
    note_key(key=key, at=at)
    return key


def take_token(*, found: Token, at: datetime) -> SigningKey:
    """A key on a hardware token as the current key. Raises Refused `signing_token_missing`,
    `signing_token_unreadable`, `signing_key_expired`, `signing_key_not_yet_valid`.
    """
    key = keep_token(found)
    key.require_valid(at)
    note_key(key=key, at=at)
    return key


@transaction.atomic
def note_key(*, key: SigningKey, at: datetime) -> None:
    """Keep the public side of a key, once."""
    if SigningCertificate.objects.filter(fingerprint=key.fingerprint).exists():
        return
    SigningCertificate.objects.create(
        fingerprint=key.fingerprint,
        pem=key.pem,
        subject=key.subject[:300],
        valid_from=key.valid_from,
        valid_until=key.valid_until,
        at=at,
    )
    payload = {"subject": key.subject[:300], "valid_until": key.valid_until.isoformat()}
    subject = f"signing key {key.fingerprint}"
    audit.record(verb=Verb.SIGNING_KEY_ADDED, actor=None, subject=subject, at=at, payload=payload)
