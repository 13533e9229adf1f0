"""One ZIP for a customer or an authority: the certificate, what stands behind it, and a signed list of digests."""

from __future__ import annotations

import csv
import hashlib
import io
import json
import zipfile
from collections.abc import Callable, Iterator
from dataclasses import asdict
from datetime import datetime
from typing import Any

from qcapp.core.sealing import canonical
from qcapp.lib.detached_signing import detached_signature
from qcapp.lib.signing_keys import current_key
from qcapp.lib.tables import harmless
from qcapp.nonconformance.queries import report, reports_of
from qcapp.nonconformance.services.papers import report_pdf

from ..models import Certificate
from ..queries import CertificateCard, content_of
from .evidence_files import component_files, drawing_files, items_of, kept, mill_files, photo_files
from .rendering import pdf_bytes, qif_bytes

File = tuple[str, bytes]
Says = dict[str, Any]  # what the certificate says, as frozen
MANIFEST, SIGNATURE, HOW = "manifest.json", "manifest.json.p7s", "READ-ME.txt"
EARLIEST = (1980, 1, 1, 0, 0, 0)  # the first date that a ZIP can write
COLUMNS = (
    "number", "title", "nominal", "lower", "upper", "value", "unit_of_measure", "verdict", "gauge", "person", "at",
)  # fmt: skip
WORDS = """\
{number} issue {issue}, {serial}

{pdf}             the certificate, signed
certificate.json  everything it says, for machines
results.qif       its results as QIF 3.0 (ISO 23952)
results.csv       its results as a table
reports/          every nonconformance report, as it stood when this file was made, with its photos
photos/           every photo that was taken at a checkpoint; of a lot those of its drawn pieces
drawings/         the sheets of the plan revision, plain and ballooned
mill-certificates/  of every heat, unaltered
components/       the certificates of the components
manifest.json     the SHA-256 of each file; manifest.json.p7s is its CMS signature by the maker's key

To check the signature of the list:
  openssl cms -verify -binary -inform DER -in manifest.json.p7s -content manifest.json -noverify -signer signer.pem -out checked.json
  openssl x509 -in signer.pem -noout -fingerprint -sha256
Compare the fingerprint with the one that the maker publishes: {fingerprint}
To ask whether the certificate still stands, type: {address}
"""  # noqa: E501 - a command to be copied stands in one line


def package_of(card: CertificateCard, *, at: datetime) -> bytes:
    """The package of one issue. Raises what `pdf_bytes` and the signing key raise."""
    key = current_key()
    says = content_of(card.id)
    files = [file for part in PARTS for file in part(card, says, at)]
    digests = {name: hashlib.sha256(data).hexdigest() for name, data in files}
    listed = {"certificate": card.number, "issue": card.issue, "serial": card.serial, "sha256": digests}
    manifest = canonical(listed).encode()
    how = WORDS.format(
        number=card.number,
        issue=card.issue,
        serial=card.serial,
        pdf=f"{card.number}-{card.issue}.pdf",
        fingerprint=key.fingerprint,
        address=says["identity"]["check_address"],
    )
    signed = [(MANIFEST, manifest), (SIGNATURE, detached_signature(manifest, key, at)), (HOW, how.encode())]
    return zipped([*files, *signed], card.issued_at)


def zipped(files: list[File], at: datetime) -> bytes:
    """The files in one ZIP, all of one date."""
    output = io.BytesIO()
    date = max(at.timetuple()[:6], EARLIEST)
    with zipfile.ZipFile(output, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, data in files:
            archive.writestr(zipfile.ZipInfo(name, date_time=date), data, zipfile.ZIP_DEFLATED)
    return output.getvalue()


def certificate_files(card: CertificateCard, says: Says, at: datetime) -> Iterator[File]:
    """The document itself, and what it says for machines."""
    yield f"{card.number}-{card.issue}.pdf", pdf_bytes(card, at=at)
    yield "certificate.json", canonical(says).encode()
    yield "results.qif", qif_bytes(card)
    yield "results.csv", table_of(says)


def report_files(card: CertificateCard, says: Says, at: datetime) -> Iterator[File]:
    """Each report of the unit, or of the lot and its drawn pieces: on paper, for machines, and its photos."""
    viewer = Certificate.objects.select_related("issued_by").get(pk=card.id).issued_by
    numbers = dict.fromkeys(one.number for item_id in items_of(card, says) for one in reports_of(item_id))
    for number in numbers:
        view = report(number)
        yield f"reports/{number}.pdf", report_pdf(number=number, viewer=viewer, at=at)
        yield f"reports/{number}.json", json.dumps(asdict(view), default=str, ensure_ascii=False, indent=1).encode()
        for place, picture in enumerate(view.pictures, start=1):
            yield kept(f"reports/{number}", f"photo-{place:02}", picture.evidence)


# What goes into a package, in order.
PARTS: list[Callable[[CertificateCard, Says, datetime], Iterator[File]]] = [
    certificate_files,
    report_files,
    photo_files,
    drawing_files,
    mill_files,
    component_files,
]


def table_of(says: dict[str, Any]) -> bytes:
    """The results as CSV in UTF-8; a cell that a spreadsheet would run begins with an apostrophe."""
    output = io.StringIO()
    writer = csv.writer(output)
    writer.writerow(COLUMNS)
    for stage in says["results"]["stages"]:
        writer.writerows([harmless(str(line.get(column, ""))) for column in COLUMNS] for line in stage["lines"])
    return output.getvalue().encode()
