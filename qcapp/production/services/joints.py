"""The joints of a family on its drawing. A moved joint is a new row; none is overwritten."""

from __future__ import annotations

from datetime import datetime
from typing import TYPE_CHECKING
from uuid import UUID

from django.db import transaction

from qcapp.audit import services as audit
from qcapp.audit.verbs import Verb
from qcapp.core.errors import Invalid
from qcapp.people.roles import Act
from qcapp.people.services import require

from ..models import JointPlace, PartFamily
from . import check_joints

if TYPE_CHECKING:
    from qcapp.people.models import Person

PARTS = 100_000  # a sheet's width and height are each divided into so many


def lock_weld_map(family_id: int) -> None:
    """Whoever places joints of one family waits for the other, until the end of the caller's transaction."""
    list(PartFamily.objects.select_for_update().filter(pk=family_id).values_list("pk"))


@transaction.atomic
def write_joint_place(
    *, by: Person, family_id: int, joint: str, sheet: UUID, place: tuple[int, int] | None, at: datetime
) -> None:
    """The joint's place on the sheet, or with None that it is there no more. The caller knows the sheet to be theirs.

    Raises NotAllowed `not_permitted`; Invalid `joint_unreadable`, `place_unreadable`.
    """
    require(by, Act.PLACE_JOINTS, at)
    check_joints([joint])
    if place is not None and not all(0 <= part <= PARTS for part in place):
        raise Invalid("place_unreadable", "The place lies outside the sheet; set it on the drawing.")
    across, down = place or (None, None)
    row = JointPlace.objects.create(
        family_id=family_id, joint=joint, sheet=sheet, across=across, down=down, by_id=by.pk, at=at
    )
    payload = {"joint": joint, "sheet": str(sheet), "across": across, "down": down}
    subject = f"family {row.family.code}"
    audit.record(verb=Verb.JOINT_PLACED, actor=by.uuid, subject=subject, at=at, payload=payload)
