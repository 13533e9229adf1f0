"""Signs a PDF (PAdES baseline, ETSI EN 319 142-1) and says whether a signed one is whole.

Whole means more than a valid signature: exactly one, over the entire file, with nothing changed or appended behind it,
made while its certificate was valid. The libraries' own verdict does not ask for all of that.
"""

from __future__ import annotations

import hashlib
import io
import logging
from dataclasses import dataclass, replace
from datetime import datetime
from functools import lru_cache
from pathlib import Path
from typing import TYPE_CHECKING, Any

from django.conf import settings

from qcapp.core.errors import Refused

from .signing_keys import TOKEN, SigningKey, passphrase

if TYPE_CHECKING:
    from pyhanko.sign.timestamps import TimeStamper

log = logging.getLogger("qcapp.signing")
FIELD = "Certificate"
WHOLE = "whole"
UNSIGNED = "unsigned"
ALTERED = "altered"
UNREADABLE = "unreadable"


@dataclass(frozen=True)
class Seal:
    """What a look at a file found. `reason` is a sentence; the fingerprint is the signer's, empty without one."""

    state: str
    reason: str
    fingerprint: str = ""
    signed_at: datetime | None = None
    identifier: str = ""  # what the file says it is; anybody can write that
    stamped_at: datetime | None = None  # by a time stamp inside the signature, if there is one

    @property
    def whole(self) -> bool:
        return self.state == WHOLE


def sign_pdf(pdf: bytes, key: SigningKey, *, at: datetime, name: str, stamper: TimeStamper | None = None) -> bytes:
    """The PDF with one invisible signature that permits no later change. Raises Refused `signing_key_expired`,
    `signing_key_not_yet_valid`, `time_stamp_failed`.
    """
    from pyhanko.pdf_utils.misc import PdfError
    from pyhanko.sign.fields import MDPPerm, SigSeedSubFilter
    from pyhanko.sign.general import SigningError
    from pyhanko.sign.signers import PdfSignatureMetadata
    from pyhanko.sign.timestamps import TimestampRequestError

    key.require_valid(at)
    meta = PdfSignatureMetadata(
        field_name=FIELD,
        subfilter=SigSeedSubFilter.PADES,
        md_algorithm="sha256",
        certify=True,
        docmdp_permissions=MDPPerm.NO_CHANGES,
        name=name,
    )
    output = io.BytesIO()
    try:
        _signer_at(at)(meta, signer=_signer_of(key), timestamper=stamper).sign_pdf(
            _writer()(io.BytesIO(pdf)), output=output
        )
    except (TimestampRequestError, OSError) as error:
        message = "The time stamp could not be had. Try again, or leave QCAPP_TIMESTAMP_URL empty."
        raise Refused("time_stamp_failed", message) from error
    except (PdfError, SigningError) as error:
        raise Refused("signing_failed", f"The document could not be signed: {error}. See the log.") from error
    return output.getvalue()


def _signer_of(key: SigningKey) -> Any:
    if key.path.suffix == TOKEN:
        from .signing_tokens import token_signer

        return token_signer(key.path)
    return _signer(key.path, key.path.stat().st_mtime_ns)


@lru_cache(maxsize=8)
def _signer(path: Path, _changed: int) -> Any:
    from pyhanko.sign.signers import SimpleSigner

    signer = SimpleSigner.load_pkcs12_data(path.read_bytes(), other_certs=[], passphrase=passphrase())
    if signer is None:
        raise Refused("signing_key_unreadable", "The signing key's file cannot be opened; see the log.")
    return signer


def _signer_at(at: datetime) -> Any:
    """The library's signer with the record's time in place of the clock's."""
    from pyhanko.sign.signers import PdfSigner

    class SignerAt(PdfSigner):
        def init_signing_session(self, *args: Any, **options: Any) -> Any:
            session = super().init_signing_session(*args, **options)
            session.system_time = at
            return session

    return SignerAt


def _writer() -> Any:
    """The library's writer, which leaves the file's version and its description alone: both belong to PDF/A."""
    from pyhanko.pdf_utils.incremental_writer import IncrementalPdfFileWriter

    class PlainWriter(IncrementalPdfFileWriter):
        def ensure_output_version(self, version: Any) -> None:
            """PDF/A-3 is PDF 1.7."""

        def register_extension(self, ext: Any) -> None:
            """An extension level is no part of PDF 1.7 either."""

        def _update_meta(self) -> None:
            """The dates and the producer stay those of the record."""

    return PlainWriter


def stamper() -> TimeStamper | None:
    """The time stamp service that the keeper named, or None."""
    if not settings.QCAPP_TIMESTAMP_URL:
        return None
    from pyhanko.sign.timestamps import HTTPTimeStamper

    return HTTPTimeStamper(settings.QCAPP_TIMESTAMP_URL, timeout=10)


# ----------------------------------------------------------------------------------------------------- checking


def examine(pdf: bytes) -> Seal:
    """What stands on the file's own evidence; whose key it is, the caller compares by the fingerprint."""
    from pyhanko.pdf_utils.misc import PdfError
    from pyhanko.pdf_utils.reader import PdfFileReader

    if not pdf.startswith(b"%PDF-"):
        return Seal(UNREADABLE, "This is not a PDF file.")
    try:
        reader = PdfFileReader(io.BytesIO(pdf), strict=False)
        signatures = reader.embedded_signatures
        if not signatures:
            return Seal(UNSIGNED, "The file carries no signature.", identifier=_identifier(reader))
        if len(signatures) > 1:
            return Seal(ALTERED, "The file carries more than one signature; ours carry one.")
        return _judged(signatures[0])
    except (PdfError, ValueError, TypeError, KeyError, IndexError, AttributeError, RecursionError) as error:
        log.info("a file sent for checking cannot be read: %r", error)
        return Seal(UNREADABLE, "The file cannot be read as a signed PDF.")


def _identifier(reader: Any) -> str:
    if "/ID" not in reader.trailer:
        return ""
    first = reader.trailer["/ID"][0]
    return bytes(getattr(first, "original_bytes", b"")).decode("latin-1")


def _judged(signature: Any) -> Seal:
    from pyhanko.sign.diff_analysis import ModificationLevel
    from pyhanko.sign.validation import validate_pdf_signature
    from pyhanko.sign.validation.status import SignatureCoverageLevel
    from pyhanko_certvalidator import ValidationContext

    certificate = signature.signer_cert
    signed_at = signature.self_reported_timestamp
    found = Seal(ALTERED, "", hashlib.sha256(certificate.dump()).hexdigest(), signed_at)
    context = ValidationContext(trust_roots=[certificate], allow_fetching=False, moment=signed_at)
    status = validate_pdf_signature(signature, signer_validation_context=context)
    if not (status.intact and status.valid):
        return replace(found, reason="The signature does not belong to this content: something in it was changed.")
    if status.coverage != SignatureCoverageLevel.ENTIRE_FILE:
        return replace(found, reason="Something was added to the file after it was signed.")
    if status.modification_level != ModificationLevel.NONE:
        return replace(found, reason="The file was changed after it was signed.")
    if signed_at is None or not certificate.not_valid_before <= signed_at <= certificate.not_valid_after:
        return replace(found, reason="It was signed at a time for which the signer's certificate was not made.")
    stamped = status.timestamp_validity
    return replace(found, state=WHOLE, reason="", stamped_at=stamped.timestamp if stamped else None)
