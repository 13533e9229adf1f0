"""The PDF of a certificate: made and signed once from the frozen content, kept by digest, the same bytes ever after.

Laying out again gives equal bytes before the signature, which is new each time: the signed file is what counts.
"""

from __future__ import annotations

import json
from dataclasses import asdict, dataclass
from datetime import datetime
from typing import Any

from django.db import IntegrityError, transaction
from django.template.loader import render_to_string
from django.utils.translation import gettext, override

from qcapp.core.errors import Invalid
from qcapp.core.sealing import canonical
from qcapp.lib.kept_files import keep_bytes, kept_bytes
from qcapp.lib.pdf import Attached, html_to_pdf
from qcapp.lib.pdf_signing import sign_pdf, stamper
from qcapp.lib.printing import printable
from qcapp.lib.qr_codes import qr_svg
from qcapp.lib.signing_keys import SigningKey, current_key, grouped, key_of

from ..choices import LANGUAGES, PAPERS, TITLES
from ..models import CertificateFile
from ..qif import qif_of
from ..queries import CertificateCard, content_of
from .picturing import with_pictures

TEMPLATE = "certificates/certificate.html"


@dataclass(frozen=True)
class Look:
    """In which language and on which paper one issue is laid out."""

    language: str
    paper: str


def look_of(says: dict[str, Any], language: str = "", paper: str = "") -> Look:
    """The look asked for, else the one that the issue was made in. Raises Invalid `look_unknown`."""
    identity = says["identity"]
    look = Look(language or identity.get("language", "en"), paper or identity.get("paper", "A4"))
    if look.language not in LANGUAGES or look.paper not in PAPERS:
        known = f"{', '.join(LANGUAGES)} on {', '.join(PAPERS)}"
        raise Invalid("look_unknown", f"A certificate is laid out in {known}; choose among these.")
    return look


def html_of(card: CertificateCard) -> str:
    """The page that the certificate's PDF is laid out from."""
    return page_of(content_of(card.id), card.digest)


def page_of(says: dict[str, Any], digest: str, look: Look | None = None) -> str:
    """The page of some frozen content, made of that, its digest and the look alone."""
    look = look or look_of(says)
    address = says["identity"]["check_address"]
    context = {
        "says": with_pictures(_with_inches(says)),
        "address": address,
        "digest": digest,
        "fingerprint": grouped(says["identity"].get("signing_fingerprint", "")),
        "qr": qr_svg(address, css_class="qr"),
        "language": look.language,
        "paper": look.paper,
    }
    with override(look.language):
        return printable(render_to_string(TEMPLATE, context))


def _with_inches(says: dict[str, Any]) -> dict[str, Any]:
    """The content with a mark on each line whose millimetres are shown in inches."""
    if says["identity"].get("lengths") != "in":
        return says
    stages = [stage | {"lines": _marked(stage["lines"])} for stage in says["results"]["stages"]]
    marked = {"results": says["results"] | {"stages": stages}}
    for name in ("statistics", "sample"):
        if name in says:
            marked[name] = says[name] | {"lines": _marked(says[name]["lines"])}
    return says | marked


def _marked(lines: list[dict[str, Any]]) -> list[dict[str, Any]]:
    return [line | {"inches": line["unit_of_measure"] == "mm"} for line in lines]


def render(card: CertificateCard, *, at: datetime, look: Look | None = None) -> bytes:
    """The certificate laid out and signed. Raises what `html_to_pdf`, `sign_pdf` and `key_of` raise."""
    says = content_of(card.id)
    pdf = unsigned(card, says, look)
    return sign_pdf(pdf, _key_named(says), at=at, name=says["identity"]["maker"], stamper=stamper())


def unsigned(card: CertificateCard, says: dict[str, Any], look: Look | None = None) -> bytes:
    """The certificate laid out, not signed. Equal bytes for one version of the layout library and fonts."""
    look = look or look_of(says)
    with override(look.language):
        title = f"{gettext(TITLES[says['identity'].get('kind', 'conformity')])} {card.number} {gettext('issue')}"
    return html_to_pdf(
        page_of(says, card.digest, look),
        identifier=card.uuid.hex,
        created=card.issued_at,
        title=f"{title} {card.issue}",
        language=look.language,
        variant="pdf/a-3a",
        attached=attachments(says),
    )


def attachments(says: dict[str, Any]) -> list[Attached]:
    """The files inside the PDF: what it says, as canonical JSON, and its results as QIF."""
    return [
        Attached("certificate.json", "Everything the certificate says (JSON)", canonical(says).encode(), "Source"),
        Attached("results.qif", "The results (QIF 3.0, ISO 23952)", qif_of(says), "Data"),
    ]


def _key_named(says: dict[str, Any]) -> SigningKey:
    """The key whose fingerprint the paper prints; the current one for papers from before there were keys."""
    fingerprint = says["identity"].get("signing_fingerprint")
    return key_of(fingerprint) if fingerprint else current_key()


def pdf_bytes(card: CertificateCard, *, at: datetime, language: str = "", paper: str = "") -> bytes:
    """The certificate's PDF: made at the first asking, afterwards the kept file, checked against its digest.

    Each language and paper is a file of its own; without them it is the one that the issue was made in.

    Raises Refused `file_missing` or `file_altered` when the kept file is not what was kept, `content_altered` of
    `content_of`, and what `render` raises.
    """
    look = look_of(content_of(card.id), language, paper)
    kept = CertificateFile.objects.filter(certificate=card.id, **asdict(look)).first()
    if kept is None:
        kept = _keep(card, render(card, at=at, look=look), look, at)
    return kept_bytes(kept.path, kept.digest, f"The kept file of {card.number}")


def _keep(card: CertificateCard, data: bytes, look: Look, at: datetime) -> CertificateFile:
    """File first, row second: a row never names a file that is not there. Two at once: the first row counts."""
    sealed, relative = keep_bytes(data, "pdf")
    row = {"digest": sealed, "path": relative, "size": len(data), "rendered_at": at}
    try:
        with transaction.atomic():
            return CertificateFile.objects.create(certificate_id=card.id, **asdict(look), **row)
    except IntegrityError:
        return CertificateFile.objects.get(certificate=card.id, **asdict(look))


def frozen_json(card: CertificateCard) -> str:
    """The content as readable JSON, for machines and for people who look."""
    return json.dumps(content_of(card.id), ensure_ascii=False, indent=2)


def qif_bytes(card: CertificateCard) -> bytes:
    """The results as QIF 3.0, as they are inside the PDF."""
    return qif_of(content_of(card.id))
