"""Tablets as tests make them: enrolled by the keeper's code, with key pairs as a browser would make them."""

from __future__ import annotations

import base64
import json
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.hazmat.primitives.asymmetric.utils import decode_dss_signature
from cryptography.hazmat.primitives.hashes import SHA256
from cryptography.hazmat.primitives.serialization import Encoding, PublicFormat

from qcapp.people import services
from qcapp.people.models import Person, Tablet


@dataclass(frozen=True)
class Pair:
    """An ECDSA pair on P-256; signatures are r and s side by side, as WebCrypto gives them."""

    private: ec.EllipticCurvePrivateKey

    @staticmethod
    def made() -> Pair:
        return Pair(ec.generate_private_key(ec.SECP256R1()))

    @property
    def public(self) -> str:
        point = self.private.public_key().public_bytes(Encoding.X962, PublicFormat.UncompressedPoint)
        return base64.b64encode(point).decode()

    def sign(self, purpose: str, text: str) -> str:
        r, s = decode_dss_signature(self.private.sign(f"{purpose}\n{text}".encode(), ec.ECDSA(SHA256())))
        return base64.b64encode(r.to_bytes(32) + s.to_bytes(32)).decode()


@dataclass(frozen=True)
class OnTablet:
    """A person on a tablet, with both pairs."""

    key: str
    entry: Pair
    signing: Pair

    def proof(self, operation: dict[str, Any]) -> dict[str, str]:
        return {"key": self.key, "signature": self.entry.sign("qcapp entry 1", _text(operation))}

    def beside(self, address: str, body: dict[str, Any]) -> dict[str, str]:
        """The proof of what is kept beside the results."""
        return {
            "key": self.key,
            "signature": self.entry.sign("qcapp beside 1", _text({"address": address, "body": body})),
        }

    def sign(self, record: dict[str, Any]) -> dict[str, str]:
        """The proof of a stage's signature, by the second key."""
        return {"key": self.key, "signature": self.signing.sign("qcapp sign 1", _text(record))}


def _text(operation: dict[str, Any]) -> str:
    return json.dumps(operation, ensure_ascii=False, sort_keys=True, separators=(",", ":"))


def enrolled(keeper: Person, at: datetime, name: str = "Bench 3") -> tuple[Tablet, str]:
    """A tablet and the token of its cookie."""
    _, code = services.add_tablet(by=keeper, name=name, place="Hall 2", at=at)
    return services.enrol(code=code, at=at, address="127.0.0.1")


def put_on(tablet: Tablet, person: Person, at: datetime) -> OnTablet:
    entry, signing = Pair.made(), Pair.made()
    key = services.add_person_to_tablet(
        proof=services.demonstration_proof(person, at),
        tablet=tablet,
        entry_key=entry.public,
        sign_key=signing.public,
        at=at,
    )
    return OnTablet(str(key.uuid), entry, signing)
