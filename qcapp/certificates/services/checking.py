"""Is a PDF one of ours, unchanged, and does it still stand? By the database, or by the file and a fingerprint."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from enum import StrEnum

from qcapp.lib import pdf_signing
from qcapp.lib.pdf_signing import Seal, examine
from qcapp.lib.signing_keys import grouped

from ..models import CertificateFile
from ..queries import CertificateCard, card_of, issued_as, known_fingerprints

ELSEWHERE = "Compare the address with the printed one, and ask the maker."


class Answer(StrEnum):
    """What a holder is told."""

    CURRENT = "real and current"
    REAL = "real"  # without the database nobody knows whether it still stands
    REPLACED = "real, but replaced"
    WITHDRAWN = "real, but withdrawn"
    UNDER_REVIEW = "real, but under review"
    ALTERED = "altered"
    NOT_OURS = "not ours"


STANDINGS = {
    "current": Answer.CURRENT,
    "replaced": Answer.REPLACED,
    "withdrawn": Answer.WITHDRAWN,
    "under review": Answer.UNDER_REVIEW,
}


@dataclass(frozen=True)
class Checked:
    """The answer, why, and the certificate that the file is, where the database knows it."""

    answer: Answer
    why: str
    seal: Seal
    card: CertificateCard | None = None

    @property
    def fingerprint(self) -> str:
        return grouped(self.seal.fingerprint)


def check_pdf(pdf: bytes) -> Checked:
    """What the holder of this file has to know. Nothing is kept, and nothing refuses."""
    seal = examine(pdf)
    kept = CertificateFile.objects.filter(digest=hashlib.sha256(pdf).hexdigest()).first()
    card = None if kept is None else card_of(kept.certificate_id)
    if card is not None and (seal.whole or seal.state == pdf_signing.UNSIGNED):
        # Files kept before there were keys carry no signature; the digest alone proves them here.
        return Checked(STANDINGS[card.standing], _about(card), seal, card)
    if seal.state == pdf_signing.UNSIGNED and issued_as(seal.identifier):
        return Checked(Answer.ALTERED, "The signature was removed from it; what it says may be changed.", seal)
    return _stranger(seal, known_fingerprints())


def check_file_alone(pdf: bytes, fingerprint: str) -> Checked:
    """Real, altered or not ours by the file's own signature and the fingerprint that the maker published."""
    seal = examine(pdf)
    wanted = "".join(fingerprint.split()).replace(":", "").lower()
    if seal.whole and seal.fingerprint == wanted:
        return Checked(Answer.REAL, "The signature is the maker's and covers the whole file, unchanged.", seal)
    return _stranger(seal, {wanted})


def _stranger(seal: Seal, ours: set[str]) -> Checked:
    """A file that is not one of the kept ones."""
    if seal.state == pdf_signing.ALTERED and seal.fingerprint in ours:
        return Checked(Answer.ALTERED, seal.reason, seal)
    if seal.whole and seal.fingerprint in ours:
        why = f"It bears the maker's signature, but the records know no such file. {ELSEWHERE}"
        return Checked(Answer.NOT_OURS, why, seal)
    if seal.state == pdf_signing.ALTERED and not seal.fingerprint:
        return Checked(Answer.ALTERED, seal.reason, seal)
    why = "It is signed with a key that is not the maker's." if seal.fingerprint else seal.reason
    return Checked(Answer.NOT_OURS, f"{why} {ELSEWHERE}", seal)


def _about(card: CertificateCard) -> str:
    """Why, in a sentence."""
    match card.standing:
        case "replaced":
            return f"It was replaced by issue {card.replaced_by}. Ask us for that one."
        case "withdrawn":
            return f"It was withdrawn on {card.withdrawn_at:%Y-%m-%d}. It no longer stands."
        case "under review":
            return "The unit is being looked at again. Ask us before you rely on this certificate."
    return "The file is exactly the one that was issued, and no later issue replaces it."
