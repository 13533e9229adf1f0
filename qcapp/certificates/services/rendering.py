"""The PDF of a certificate: rendered once from the frozen content, kept by digest, and the same bytes ever after."""

from __future__ import annotations

import json
from datetime import datetime
from typing import Any

import segno
from django.db import IntegrityError, transaction
from django.template.loader import render_to_string
from django.utils.safestring import mark_safe

from qcapp.lib.kept_files import keep_bytes, kept_bytes
from qcapp.lib.pdf import html_to_pdf
from qcapp.lib.printing import printable

from ..models import CertificateFile
from ..queries import CertificateCard, content_of

TEMPLATE = "certificates/certificate.html"


def html_of(card: CertificateCard) -> str:
    """The page that the certificate's PDF is laid out from."""
    return page_of(content_of(card.id), card.digest)


def page_of(says: dict[str, Any], digest: str) -> str:
    """The page of some frozen content, made of that and its digest alone."""
    address = says["identity"]["check_address"]
    code = segno.make(address, error="m", micro=False)
    drawn = code.svg_inline(border=2, scale=3, omitsize=True, svgclass="qr", lineclass=None)
    context = {"says": says, "address": address, "digest": digest, "qr": mark_safe(drawn)}  # noqa: S308 - our own drawing
    return printable(render_to_string(TEMPLATE, context))


def render(card: CertificateCard) -> bytes:
    """The certificate laid out anew. Equal bytes for one version of the layout library and fonts."""
    return html_to_pdf(
        html_of(card),
        identifier=card.uuid.hex,
        created=card.issued_at,
        title=f"Certificate of conformity {card.number} issue {card.issue}",
        variant="pdf/ua-1",
    )


def pdf_bytes(card: CertificateCard, *, at: datetime) -> bytes:
    """The certificate's PDF: rendered at the first asking, afterwards the kept file, checked against its digest.

    Raises Refused `file_missing` or `file_altered` when the kept file is not what was kept, `content_altered` of
    `content_of`, and what `html_to_pdf` raises.
    """
    kept = CertificateFile.objects.filter(certificate=card.id).first()
    if kept is None:
        kept = _keep(card, render(card), at)
    return kept_bytes(kept.path, kept.digest, f"The kept file of {card.number}")


def _keep(card: CertificateCard, data: bytes, at: datetime) -> CertificateFile:
    """File first, row second: a row never names a file that is not there. Two at once: the first row counts."""
    sealed, relative = keep_bytes(data, "pdf")
    try:
        with transaction.atomic():
            return CertificateFile.objects.create(
                certificate_id=card.id, digest=sealed, path=relative, size=len(data), rendered_at=at
            )
    except IntegrityError:
        return CertificateFile.objects.get(certificate=card.id)


def frozen_json(card: CertificateCard) -> str:
    """The content as readable JSON, for machines and for people who look."""
    return json.dumps(content_of(card.id), ensure_ascii=False, indent=2)
