"""What a tablet proves with its keys: ECDSA on P-256 with SHA-256 (FIPS 186-5), as browsers make it.

WebCrypto gives r and s one after the other, 32 bytes each; the library reads DER (RFC 3279, 2.2.3).
"""

from __future__ import annotations

import base64
import binascii

from cryptography.exceptions import InvalidSignature
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.hazmat.primitives.asymmetric.utils import encode_dss_signature
from cryptography.hazmat.primitives.hashes import SHA256

from qcapp.core.errors import Invalid

# What each signed text begins with.
ENTRY, BESIDE, SWITCH, SIGN = "qcapp entry 1", "qcapp beside 1", "qcapp switch 1", "qcapp sign 1"
HALF = 32  # bytes of r, and of s


def check_key(text: str) -> str:
    """The public key, if it is a point on P-256 in base64. Raises Invalid (`key_unreadable`)."""
    try:
        _key(text)
    except (ValueError, binascii.Error):
        raise Invalid("key_unreadable", "The key of the tablet cannot be read; load the page again.") from None
    return text


def is_signed(key: str, purpose: str, text: str, signature: object) -> bool:
    """Whether the signature is the key's over the text under this purpose; False for anything unreadable."""
    try:
        raw = base64.b64decode(str(signature), validate=True)
        if len(raw) != 2 * HALF:
            return False
        r, s = int.from_bytes(raw[:HALF]), int.from_bytes(raw[HALF:])
        _key(key).verify(encode_dss_signature(r, s), f"{purpose}\n{text}".encode(), ec.ECDSA(SHA256()))
    except (InvalidSignature, ValueError, binascii.Error):
        return False
    return True


def _key(text: str) -> ec.EllipticCurvePublicKey:
    return ec.EllipticCurvePublicKey.from_encoded_point(ec.SECP256R1(), base64.b64decode(text, validate=True))
