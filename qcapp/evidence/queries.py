"""Reading evidence: what a file is, and its bytes compared with their digest."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime
from typing import Protocol, cast
from uuid import UUID

from qcapp.core.errors import NotFound
from qcapp.lib.kept_files import kept_bytes

from .models import EvidenceFile


@dataclass(frozen=True)
class EvidenceCard:
    """What a kept file is; `width` and `height` in pixels for pictures, `pages` for documents, `size` in bytes."""

    id: int
    uuid: UUID
    digest: str
    media_type: str
    size: int
    width: int | None
    height: int | None
    pages: int | None
    name: str
    kept_by_name: str
    kept_at: datetime

    @property
    def is_picture(self) -> bool:
        return self.media_type.startswith("image/")


class _Named(Protocol):
    name: str


def card_of(row: EvidenceFile) -> EvidenceCard:
    """The card of a row already read."""
    return EvidenceCard(
        id=row.pk,
        uuid=row.uuid,
        digest=row.digest,
        media_type=row.media_type,
        size=row.size,
        width=row.width,
        height=row.height,
        pages=row.pages,
        name=row.name,
        kept_by_name=cast(_Named, row.kept_by).name,
        kept_at=row.kept_at,
    )


def card(uuid: UUID) -> EvidenceCard:
    """The file of that uuid. Raises NotFound `evidence_unknown`."""
    row = EvidenceFile.objects.select_related("kept_by").filter(uuid=uuid).first()
    if row is None:
        raise NotFound("evidence_unknown", "There is no such file here. Open it from the page that shows it.")
    return card_of(row)


def cards(ids: Iterable[int]) -> dict[int, EvidenceCard]:
    """The files of these row ids, in one query."""
    rows = EvidenceFile.objects.select_related("kept_by").filter(pk__in=set(ids))
    return {row.pk: card_of(row) for row in rows}


def content(uuid: UUID) -> bytes:
    """The bytes as they were kept. Raises NotFound `evidence_unknown`, Refused `file_missing` or `file_altered`."""
    return typed_content(uuid)[1]


def typed_content(uuid: UUID) -> tuple[str, bytes]:
    """Media type and bytes, in one query. Raises as `content`."""
    row = EvidenceFile.objects.filter(uuid=uuid).first()
    if row is None:
        raise NotFound("evidence_unknown", "There is no such file here. Open it from the page that shows it.")
    return row.media_type, kept_bytes(row.path, row.digest, f"The file {row.name}")
