"""Signs a file beside it: what a package's list of digests carries."""

from __future__ import annotations

import asyncio
from datetime import datetime

from qcapp.core.errors import Refused

from .signing_keys import TOKEN, SigningKey, bundle_of, passphrase
from .signing_tokens import token_signer


def detached_signature(content: bytes, key: SigningKey, at: datetime) -> bytes:
    """A CMS signature (RFC 5652) over the content, which is not inside it. Raises Refused `signing_key_…`.

    To be checked with any CMS tool: `openssl cms -verify -binary -inform DER -in FILE.p7s -content FILE -noverify`.
    """
    from cryptography.hazmat.primitives.asymmetric.ec import EllipticCurvePrivateKey
    from cryptography.hazmat.primitives.asymmetric.rsa import RSAPrivateKey
    from cryptography.hazmat.primitives.hashes import SHA256
    from cryptography.hazmat.primitives.serialization import Encoding
    from cryptography.hazmat.primitives.serialization.pkcs7 import PKCS7Options, PKCS7SignatureBuilder

    key.require_valid(at)
    if key.path.suffix == TOKEN:
        signing = token_signer(key.path).async_sign_general_data(content, "sha256", detached=True)
        signed: bytes = asyncio.run(signing).dump()
        return signed
    bundle = bundle_of(key.path.read_bytes(), passphrase())
    if bundle.cert is None or not isinstance(bundle.key, EllipticCurvePrivateKey | RSAPrivateKey):
        raise Refused("signing_key_unreadable", "The signing key is of a kind that cannot sign a package.")
    builder = PKCS7SignatureBuilder().set_data(content).add_signer(bundle.cert.certificate, bundle.key, SHA256())
    return builder.sign(Encoding.DER, [PKCS7Options.DetachedSignature, PKCS7Options.Binary])
