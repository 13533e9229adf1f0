"""Pieces drawn from a lot: inspected to the family's released plan, as a unit is."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime
from typing import TYPE_CHECKING

from qcapp.plans.queries import released_revision
from qcapp.production.queries import UnitCard
from qcapp.production.services.lots import create_piece

from ..models import Adoption

if TYPE_CHECKING:
    from qcapp.people.models import Person
    from qcapp.production.queries.as_built import LotCard


def open_pieces(*, by: Person, lot: LotCard, numbers: Iterable[int], at: datetime) -> list[UnitCard]:
    """The numbered pieces of the lot, ready for their results. Inside the caller's transaction, which audits it.

    Operations name a piece by the lot's code and its number, "TK-200-L0007.012". Raises NotFound
    `no_released_plan`, Invalid `piece_unknown`.
    """
    revision = released_revision(lot.family_code)
    pieces = [create_piece(by=by, lot=lot, number=number, at=at) for number in numbers]
    Adoption.objects.bulk_create(
        Adoption(item_id=piece.item_id, revision_id=revision.id, by=by, at=at) for piece in pieces
    )
    return pieces
