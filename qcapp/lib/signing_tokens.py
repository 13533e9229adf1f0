"""A signing key that never leaves its hardware token: reached by PKCS #11 (OASIS), described by a small file.

The file lies where the other keys lie, named by the certificate's fingerprint, and holds no secret: which library to
load, which token, which label. The token's user PIN is the site's signing passphrase. Needs `pip install qcapp[token]`.
"""

from __future__ import annotations

import json
import os
from dataclasses import asdict, dataclass
from functools import lru_cache
from pathlib import Path
from typing import Any

from qcapp.core.errors import QcError, Refused

from .signing_keys import TOKEN, SigningKey, keep_named, passphrase, public_side_of


@dataclass(frozen=True)
class Token:
    """Where a key is: the token maker's library, the token's name, the label of key and certificate."""

    module: str
    token: str
    label: str


def keep_token(found: Token) -> SigningKey:
    """Make the key on the token the current one. Raises Refused `signing_token_missing`, `signing_token_unreadable`."""
    from cryptography.hazmat.primitives.serialization import Encoding
    from cryptography.x509 import load_der_x509_certificate

    signer = _opened(found)
    certificate = load_der_x509_certificate(signer.signing_cert.dump())
    pem = certificate.public_bytes(Encoding.PEM).decode("ascii")
    key = public_side_of(certificate, Path(f"unnamed{TOKEN}"))
    text = json.dumps(asdict(found) | {"pem": pem}, indent=1)
    return keep_named(key.fingerprint, TOKEN, text.encode())


def token_signer(path: Path) -> Any:
    """The library's signer for the token that the file describes. Raises as `keep_token`."""
    return _signer(path, path.stat().st_mtime_ns, os.getpid())


@lru_cache(maxsize=4)
def _session(module: str, token: str, _process: int) -> Any:
    """One for each process: a token lets a program in once, and its library does not survive a fork."""
    from pyhanko.config.pkcs11 import TokenCriteria
    from pyhanko.sign.pkcs11 import open_pkcs11_session

    return open_pkcs11_session(module, token_criteria=TokenCriteria(label=token), user_pin=passphrase().decode())


@lru_cache(maxsize=4)
def _signer(path: Path, _changed: int, _process: int) -> Any:
    told = json.loads(path.read_text(encoding="utf-8"))
    return _opened(Token(told["module"], told["token"], told["label"]))


def _opened(found: Token) -> Any:
    try:
        from pyhanko.sign.pkcs11 import PKCS11Signer
    except ImportError as error:
        message = "Signing with a token needs the library python-pkcs11: install qcapp[token]."
        raise Refused("signing_token_missing", message) from error
    if not Path(found.module).is_file():
        message = f"There is no library {found.module}; name the one of the token's maker."
        raise Refused("signing_token_missing", message)
    try:
        session = _session(found.module, found.token, os.getpid())
        signer = PKCS11Signer(
            session, cert_label=found.label, key_label=found.label, use_raw_mechanism=True
        )  # digests are made here: not every token has a mechanism that makes them
        if signer.signing_cert is None:
            raise Refused("signing_token_unreadable", f"The token {found.token} holds no certificate {found.label}.")
    except QcError:
        raise
    except Exception as error:  # the library raises its own kinds, none of which is a refusal's sentence
        _session.cache_clear()
        why = type(error).__name__
        message = f"The token {found.token} cannot be used ({why}). Is it plugged in, and is its PIN the passphrase?"
        raise Refused("signing_token_unreadable", message) from error
    return signer
