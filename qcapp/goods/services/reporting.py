"""A nonconformance report about what a delivery brought."""

from __future__ import annotations

from datetime import datetime
from typing import TYPE_CHECKING

from django.db import transaction

from qcapp.nonconformance.services.by_hand import raise_on_item
from qcapp.people.roles import Act
from qcapp.people.services import require
from qcapp.production.services.lots import item_of_goods

from ..queries import delivery_by_number
from .holding import lock_delivery, place

if TYPE_CHECKING:
    from qcapp.nonconformance.services.by_hand import Photo
    from qcapp.people.models import Person


@transaction.atomic
def raise_on_delivery(
    *,
    by: Person,
    delivery_number: str,
    family_code: str,
    title: str,
    severity: str,
    quantity: int,
    description: str = "",
    cause: str = "material",
    photo: Photo | None = None,
    at: datetime,
) -> str:
    """The number of a report about `quantity` pieces of a delivery, meant for a family; supplier and note go with it.

    The delivery is on hold at once, with its heats and lots; that hold outlives the report and is lifted by its own
    signed act. Raises NotAllowed, NotFound `delivery_unknown`, `family_unknown`, and what `raise_on_item` raises.
    """
    require(by, Act.RAISE_REPORT, at)
    delivery = delivery_by_number(delivery_number)
    lock_delivery(delivery.id)
    told = {"title": title, "description": description, "severity": severity, "quantity": quantity, "cause": cause}
    named = f"{delivery.number}, note {delivery.note_number}"[:60]
    item = item_of_goods(family_code)
    where = {"named": named, "supplier": delivery.supplier, "delivery": delivery.number}
    number = raise_on_item(by=by, item_uuid=item, photo=photo, at=at, **where, **told)  # type: ignore[arg-type]
    place(by, delivery, number, " ".join(title.split()), at)
    return number
