"""Whose entries and signatures a tablet sends, as its keys prove it: so nobody's wait for their owner to come back."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

from qcapp.core.errors import NotAllowed, QcError
from qcapp.core.sealing import canonical

from .. import queries, tablet_keys

if TYPE_CHECKING:
    from ..models import Person

REFUSED = (
    "The tablet's key does not prove whose entry this is: it was changed, or the tablet was revoked. "
    "Whoever entered it signs in on the tablet and sends it."
)


def owner_of_body(*, address: str, body: Mapping[str, Any], proof: object, judged: bool = False) -> Person:
    """The person whose key on a tablet signed this body for this address, whoever sends it.

    `proof` is the key's identifier and the signature: as a text with a space between, or under `key` and
    `signature`. A photo's bytes are not in `body`, their digest is. A revoked tablet's key proves only what a
    person has judged. Raises NotAllowed (`entry_proof_refused`).
    """
    named, signature = _parts(proof)
    key = queries.tablet_keys_by_uuid({named}).get(named)
    try:
        text = canonical({"address": address, "body": dict(body)})
    except QcError:
        key = None
    if key is None or (key.tablet.revoked_at and not judged):
        raise NotAllowed("entry_proof_refused", REFUSED)
    if not tablet_keys.is_signed(key.entry_key, tablet_keys.BESIDE, text, signature):
        raise NotAllowed("entry_proof_refused", REFUSED)
    return key.person


def _parts(proof: object) -> tuple[str, str]:
    if isinstance(proof, Mapping):
        return str(proof.get("key")), str(proof.get("signature"))
    key, _, signature = str(proof).partition(" ")
    return key, signature


def proven_operations(operations: object, proofs: object) -> frozenset[str]:
    """The identifiers of the operations that the key of the person they name as `recorded_by` signed.

    What cannot be read or does not fit is left out: it is then judged as sent by whoever is signed in.
    """
    if not isinstance(operations, list) or not isinstance(proofs, dict) or not proofs:
        return frozenset()
    pairs = [(one, proofs.get(str(one.get("id")))) for one in operations if isinstance(one, dict)]
    named = [(one, proof) for one, proof in pairs if isinstance(proof, dict)]
    keys = queries.tablet_keys_by_uuid({str(proof.get("key")) for _, proof in named})
    return frozenset(str(one["id"]) for one, proof in named if _proves(one, proof, keys.get(str(proof.get("key")))))


def _proves(operation: dict[str, Any], proof: dict[str, Any], key: Any) -> bool:
    if key is None or key.tablet.revoked_at or key.person.badge != operation.get("recorded_by"):
        return False
    try:
        text = canonical(operation)
    except QcError:
        return False
    if operation.get("kind") != "sign_off":
        return tablet_keys.is_signed(key.entry_key, tablet_keys.ENTRY, text, proof.get("signature"))
    # A signature needs the second key, which another PIN ends.
    fits = key.pin_print == queries.pin_print(key.person)
    return fits and tablet_keys.is_signed(key.sign_key, tablet_keys.SIGN, text, proof.get("signature"))
