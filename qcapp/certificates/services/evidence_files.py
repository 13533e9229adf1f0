"""What stands behind a certificate, as files: photos, drawings, mill certificates, components' papers."""

from __future__ import annotations

import re
from collections.abc import Iterator
from datetime import datetime
from typing import Any
from uuid import UUID

from qcapp.evidence.queries import typed_content
from qcapp.goods.queries import papers_of_heat
from qcapp.inspections.queries.beside import photos_of
from qcapp.plans.prints import ballooned
from qcapp.plans.queries import checkpoints_of_card, revision_of
from qcapp.plans.queries.marks import sheets_of
from qcapp.production.queries.as_built import lot_by_code, pieces_of
from qcapp.production.queries.inside import HeatInside, components_inside, heats_inside, heats_of_lot

from ..queries import CertificateCard, certificates_of
from .rendering import pdf_bytes

File = tuple[str, bytes]
Says = dict[str, Any]  # what the certificate says, as frozen
ENDINGS = {
    "image/jpeg": "jpg", "image/png": "png", "image/webp": "webp", "image/svg+xml": "svg", "application/pdf": "pdf",
}  # fmt: skip
UNSAFE = re.compile(r"[^A-Za-z0-9._-]+")


def safe(name: str) -> str:
    """A name as a file of any system can have it."""
    return UNSAFE.sub("-", name).strip("-.")[:80] or "file"


def kept(folder: str, name: str, uuid: UUID) -> File:
    """Kept evidence under a name, its bytes as they came."""
    media_type, data = typed_content(uuid)
    return f"{folder}/{safe(name)}.{ENDINGS.get(media_type, 'bin')}", data


def photo_files(card: CertificateCard, says: Says, at: datetime) -> Iterator[File]:
    """Every photo of the unit, or of a lot's drawn pieces, by checkpoint and place in the order taken."""
    photos = [one for item_id in items_of(card, says) for one in photos_of(item_id)]
    for place, one in enumerate(photos, start=1):
        yield kept("photos", f"{place:03}-checkpoint-{one.number}-round-{one.round}", one.file)


def items_of(card: CertificateCard, says: Says) -> list[int]:
    """What the certificate is about: its unit, or its lot and the pieces that were drawn from it."""
    if says["identity"].get("kind") != "inspection":
        return [card.item_id]
    return [card.item_id, *(unit.item_id for _, unit in pieces_of(lot_by_code(card.serial).id))]


def drawing_files(card: CertificateCard, says: Says, at: datetime) -> Iterator[File]:
    """The sheets of the plan revision that the certificate names: as they are kept, and with their balloons."""
    identity = says["identity"]
    revision = revision_of(identity["family_code"], identity["plan_revision"])
    checkpoints = checkpoints_of_card(revision)
    for one in sheets_of(revision.id):
        name = f"{one.number}-{one.document_revision}-sheet-{one.sheet}"
        yield kept("drawings", name, one.file_uuid)
        yield f"drawings/{safe(name)}-ballooned.svg", ballooned(one, checkpoints).svg.encode()


def mill_files(card: CertificateCard, says: Says, at: datetime) -> Iterator[File]:
    """The mill certificates of every heat, unaltered, once each."""
    given: set[str] = set()
    for heat in _heats(says, card.item_id):
        for paper in papers_of_heat(heat.heat.id):
            if paper.paper_digest not in given:
                given.add(paper.paper_digest)
                number = f"{paper.certificate_number}-{paper.paper_digest[:8]}"
                yield kept("mill-certificates", number, paper.paper_uuid)


def _heats(says: dict[str, Any], item_id: int) -> list[HeatInside]:
    lot = says["identity"].get("kind") == "inspection"
    return heats_of_lot(item_id) if lot else heats_inside(item_id)


def component_files(card: CertificateCard, says: Says, at: datetime) -> Iterator[File]:
    """The latest certificate of each component."""
    for one in components_inside(card.item_id):
        for paper in certificates_of(one.component_item_id)[:1]:
            yield f"components/{safe(paper.number)}-{paper.issue}.pdf", pdf_bytes(paper, at=at)
