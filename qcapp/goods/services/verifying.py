"""Grade verification at issue: asked by grade, size or family; nothing of it is cut or used without a check of its own.

One check lets one issue go, so that a bar of another grade among good ones is found when it is taken.
"""

from __future__ import annotations

from collections.abc import Collection
from datetime import datetime
from typing import TYPE_CHECKING
from uuid import UUID

from django.db import transaction

from qcapp.audit import services as audit
from qcapp.audit.verbs import Verb
from qcapp.core.errors import Conflict, Invalid, Refused
from qcapp.lib.plain_text import plain_text
from qcapp.people.roles import Act
from qcapp.people.services import require
from qcapp.production.queries import family_by_code
from qcapp.production.queries.as_built import HeatCard, UsedCard, heat_by_number, lot_by_code, used_in
from qcapp.production.queries.places import unit_by_scan
from qcapp.production.services.components import use_material
from qcapp.production.services.lots import lock_heat

from ..models import GradeDemand, VerifiedIssue
from ..queries.verifying import DemandCard, demand_by_uuid, demand_on, demands, free_check, size_key, verified_for

if TYPE_CHECKING:
    from qcapp.people.models import Person


@transaction.atomic
def ask_verification(
    *, by: Person, reason: str, at: datetime, grade: str = "", size: str = "", family_code: str = ""
) -> DemandCard:
    """From now on the grade is verified at issue of what has this grade and size and goes into this family.

    Raises NotAllowed; Invalid `demand_empty`, of `plain_text`; NotFound `family_unknown`; Conflict `demand_exists`.
    """
    require(by, Act.ASK_VERIFICATION, at)
    grade = plain_text("The grade", grade, longest=20, needed=False)
    size = plain_text("The size", size, longest=40, needed=False)
    reason = plain_text("The reason", reason, longest=300)
    family = family_by_code(family_code) if family_code.strip() else None
    if not (grade or size or family):
        raise Invalid("demand_empty", "Name a grade, a size or a part family; else everything would be asked for.")
    family_id = family.id if family else None
    for one in demands():
        if (one.grade, size_key(one.size), one.family_id) == (grade, size_key(size), family_id):
            raise Conflict("demand_exists", f"Verification of {one.what} is asked already, by {one.by_name}.")
    row = GradeDemand.objects.create(
        grade=grade, size=size, family_id=family_id, asked=True, reason=reason, by=by, at=at
    )
    payload = {"grade": grade, "size": size, "family": family.code if family else "", "reason": reason}
    audit.record(verb=Verb.VERIFICATION_ASKED, actor=by.uuid, subject="goods", at=at, payload=payload)
    return demand_by_uuid(row.uuid)


@transaction.atomic
def end_verification(*, by: Person, uuid: UUID | str, reason: str, at: datetime) -> None:
    """What was asked is asked no longer. Raises NotAllowed, NotFound `demand_unknown`, Invalid of `plain_text`."""
    require(by, Act.ASK_VERIFICATION, at)
    reason = plain_text("The reason", reason, longest=300)
    card = demand_by_uuid(uuid)
    GradeDemand.objects.create(
        grade=card.grade, size=card.size, family_id=card.family_id, asked=False, reason=reason, by=by, at=at
    )
    payload = {"grade": card.grade, "size": card.size, "family": card.family_code, "reason": reason}
    audit.record(verb=Verb.VERIFICATION_ENDED, actor=by.uuid, subject="goods", at=at, payload=payload)


def let_go(heat: HeatCard, *, family_ids: Collection[int], item_id: int | None, at: datetime) -> None:
    """Takes the check that lets the heat be issued; nothing where none is asked. Inside the act's transaction.

    Raises Refused `grade_not_verified`.
    """
    demand = demand_on(heat, family_ids)
    if demand is None:
        return
    lock_heat(heat.id)
    check = free_check(heat.id)
    if check is None:
        day = f"{demand.at.day} {demand.at:%b %Y}"
        message = (
            f"The grade of heat {heat.number} is verified before it is issued: asked for {demand.what} by "
            f"{demand.by_name} on {day}. Verify it on the page of the heat, then go on; one check lets one issue go."
        )
        raise Refused("grade_not_verified", message)
    VerifiedIssue.objects.create(check_made=check, item_id=item_id, at=at)


@transaction.atomic
def issue_material(
    *, by: Person, serial: str, at: datetime, lot_code: str = "", heat_number: str = "", use: str = "",
    quantity: int | None = None,
) -> UsedCard:  # fmt: skip
    """A lot or a heat that went into the unit, verified first where that is asked: a lot once, a heat at each use.

    Raises as `use_material`, and Refused `grade_not_verified`.
    """
    require(by, Act.BUILD_IN, at)
    if lot_code.strip() and not heat_number.strip():
        unit, lot = unit_by_scan(serial), lot_by_code(lot_code)
        heats = [used.heat for used in used_in([lot.item_id]) if used.heat is not None]
        for heat in sorted(heats, key=lambda heat: heat.id):
            if not verified_for(heat.id, lot.item_id):
                let_go(heat, family_ids=[unit.family_id, lot.family_id], item_id=lot.item_id, at=at)
    elif heat_number.strip() and not lot_code.strip():
        unit = unit_by_scan(serial)
        let_go(heat_by_number(heat_number), family_ids=[unit.family_id], item_id=unit.item_id, at=at)
    return use_material(
        by=by, serial=serial, lot_code=lot_code, heat_number=heat_number, use=use, quantity=quantity, at=at
    )
