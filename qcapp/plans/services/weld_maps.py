"""Joints placed on the sheets that a plan is ballooned on."""

from __future__ import annotations

from datetime import datetime
from typing import TYPE_CHECKING
from uuid import UUID

from django.db import transaction

from qcapp.core.errors import Conflict, NotFound
from qcapp.people.roles import Act
from qcapp.people.services import require
from qcapp.production.services.joints import lock_weld_map, write_joint_place

from ..cards import Balloon
from ..queries import revision_card
from ..queries.weld_maps import WeldMap, weld_map

if TYPE_CHECKING:
    from qcapp.people.models import Person


@transaction.atomic
def place_joint(
    *, by: Person, revision_uuid: UUID, joint: str, sheet_uuid: UUID, across: int, down: int, at: datetime,
    was: str | None = None,
) -> Balloon:  # fmt: skip
    """The joint, set or moved on a sheet of the plan; `across` and `down` in hundred-thousandths of the sheet.

    `was` is the place that was seen, "" for none; None sets it whatever it was. Raises NotAllowed `not_permitted`;
    NotFound `revision_unknown`, `joint_unknown`, `sheet_unknown`; Conflict `changed_meanwhile`; Invalid
    `place_unreadable`.
    """
    require(by, Act.PLACE_JOINTS, at)
    found = _seen(revision_uuid, joint, was)
    sheet = next((one for one in found.sheets if one.uuid == sheet_uuid), None)
    if sheet is None:
        raise NotFound("sheet_unknown", "That sheet does not belong to this plan; reload the page.")
    write_joint_place(by=by, family_id=found.family_id, joint=joint, sheet=sheet.uuid, place=(across, down), at=at)
    return Balloon(sheet, across, down)


@transaction.atomic
def take_joint_away(*, by: Person, revision_uuid: UUID, joint: str, at: datetime, was: str | None = None) -> None:
    """The joint without a place on the plan's sheets. Raises as `place_joint`."""
    require(by, Act.PLACE_JOINTS, at)
    found = _seen(revision_uuid, joint, was)
    place = found.places.get(joint)
    if place is not None:
        sheet = place.sheet.uuid
        write_joint_place(by=by, family_id=found.family_id, joint=joint, sheet=sheet, place=None, at=at)


def _seen(revision_uuid: UUID, joint: str, was: str | None) -> WeldMap:
    """The weld map as it stands, locked; refused when the joint is none of it or not where it was seen."""
    card = revision_card(revision_uuid)
    lock_weld_map(card.family_id)
    found = weld_map(card)
    if joint not in found.joints:
        raise NotFound("joint_unknown", "The plan names no such joint; reload the page.")
    now = found.places.get(joint)
    if was is not None and (now.seen if now else "") != was:
        message = "Somebody else moved this joint meanwhile; nothing was overwritten. Look again, then set it."
        raise Conflict("changed_meanwhile", message, now=now.seen if now else "")
    return found
