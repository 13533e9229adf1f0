"""Raising a report by hand: on a unit, on a lot or delivery, on many units at once for one cause."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime, timedelta
from typing import TYPE_CHECKING, Any, NamedTuple
from uuid import UUID

from django.db import transaction
from django.db.models import Q

from qcapp.audit.verbs import Verb
from qcapp.core.errors import Conflict, Invalid, NotFound, Refused
from qcapp.evidence.services.keeping import keep_picture
from qcapp.inspections.queries import adopted
from qcapp.lib.plain_text import plain_text, shown
from qcapp.lib.site_days import shift_at
from qcapp.people.roles import Act
from qcapp.people.services import require
from qcapp.production.queries import ItemCard, UnitCard, item_by_uuid, unit_by_serial, units_of_items
from qcapp.production.queries.as_built import lot_by_code
from qcapp.production.services import lock_item, lock_unit, place_hold

from ..models import DispositionProposal, Report, ReportItem, ReportPicture
from ..queries import ENDED_VALUES
from ..queries.details import item_ids_of
from ..states import ENDED
from .raising import LONGEST_TITLE, About, around, open_report
from .steps import enter, locked, remark

if TYPE_CHECKING:
    from qcapp.evidence.queries import EvidenceCard
    from qcapp.people.models import Person
    from qcapp.plans.queries import CheckpointCard
    from qcapp.production.queries.as_built import LotCard

ALIKE = 2  # so many open reports of one title inside a day: the next one is offered to join them
MOST_UNITS = 500


class Photo(NamedTuple):
    """A photo as it was sent."""

    content: bytes
    name: str


@transaction.atomic
def raise_by_hand(
    *,
    by: Person,
    serial: str,
    title: str,
    description: str,
    severity: str = "",
    checkpoint_key: str = "",
    cause: str = "unknown",
    joint: str = "",
    separately: bool = True,
    photo: Photo | None = None,
    at: datetime,
) -> str:
    """The number of a report from the floor about a unit, which goes on hold at once.

    `checkpoint_key` may be the checkpoint's number as well; its criticality is the severity where none is given. With
    `separately` off, a third open report in a day of the same title, or of one cause at one checkpoint, is refused in
    favour of one for all. Raises NotAllowed, NotFound `serial_unknown`, `checkpoint_unknown`, Invalid
    `severity_unknown`, `cause_unknown`, of `plain_text` or of `keep_picture`, Refused `unit_scrapped`, Conflict
    `group_instead`.
    """
    require(by, Act.RAISE_REPORT, at)
    told = _told(title, description)
    kept = _kept(photo, by, at)
    unit = lock_unit(unit_by_serial(serial).id)
    _refuse_scrapped(unit)
    card = _checkpoint(unit.item_id, checkpoint_key.strip()) if checkpoint_key.strip() else None
    told["severity"] = _severity(severity, card)
    if not separately:
        _offer_one_report(told["title"], card, cause, at)
    joint = plain_text("The joint", joint, longest=12, needed=False) or (card.joint if card else "")
    facts = {"serial": unit.serial, "person": by.name, "badge": by.badge} | _where(card)
    facts |= ({"joint": joint} if joint else {}) | around(unit.item_id, joint, at)
    about = About(unit.item_id, unit.family_id, *((card.id, card.characteristic_id) if card else ()))
    report = _raised(by, at, about, told | {"facts": facts}, cause)
    _add_photo(report, kept, by, at)
    from_stage = card.stage_number if card else None
    _hold(by, report, unit.item_id, from_stage, at)
    enter(report, Verb.REPORT_RAISED, by=by, at=at, title=report.title)
    return report.number


@transaction.atomic
def raise_on_item(
    *,
    by: Person,
    item_uuid: UUID,
    title: str,
    description: str,
    severity: str,
    quantity: int,
    named: str = "",
    cause: str = "unknown",
    supplier: str = "",
    delivery: str = "",
    photo: Photo | None = None,
    at: datetime,
) -> str:
    """The number of a report about `quantity` pieces of a lot or a delivery, which goes on hold at once.

    `named` is what the lot is called on its label; supplier and delivery where it came in. Raises NotAllowed, NotFound
    `item_unknown`, Invalid `not_a_lot`, `part_not_positive`, `severity_unknown`, `cause_unknown`, of `plain_text` or of
    `keep_picture`.
    """
    require(by, Act.RAISE_REPORT, at)
    kept = _kept(photo, by, at)
    told = _told(title, description) | {"severity": _severity(severity, None)}
    item = item_by_uuid(item_uuid)
    if item.kind == "unit":
        raise Invalid("not_a_lot", "That is a serialized unit; raise the report on its serial number.")
    if quantity < 1:
        raise Invalid("part_not_positive", "Say how many pieces it is about, one or more.")
    lock_item(item.id)
    facts: dict[str, Any] = {}
    facts["lot"] = plain_text("The lot", named, longest=60, needed=False) or _lot_words(item)
    facts["quantity"] = quantity
    facts |= {"supplier": plain_text("The supplier", supplier, longest=80)} if supplier.strip() else {}
    facts |= {"delivery": plain_text("The delivery", delivery, longest=24)} if delivery.strip() else {}
    facts |= {"person": by.name, "badge": by.badge, "shift": shift_at(at)}
    report = _raised(by, at, About(item.id, item.family_id), told | {"facts": facts}, cause)
    _add_photo(report, kept, by, at)
    _hold(by, report, item.id, None, at)
    enter(report, Verb.REPORT_RAISED, by=by, at=at, title=report.title, quantity=quantity)
    return report.number


@transaction.atomic
def raise_on_lot(*, by: Person, lot_code: str, quantity: int | None = None, at: datetime, **told: Any) -> str:
    """The same for a lot by the code on its label; without a quantity, about every piece it has.

    Raises NotFound `lot_unknown`, Invalid `more_than_the_lot`, what `raise_on_item` raises.
    """
    lot = lot_by_code(lot_code)
    count = lot.quantity if quantity is None else quantity
    if count > lot.quantity:
        message = f"{lot.code} has {lot.quantity} pieces; the report cannot be about {count}."
        raise Invalid("more_than_the_lot", message)
    return raise_on_item(by=by, item_uuid=lot.item_uuid, named=lot.code, quantity=count, at=at, **told)


@transaction.atomic
def raise_grouped(
    *,
    by: Person,
    serials: Sequence[str],
    title: str,
    description: str,
    severity: str,
    cause: str = "measurement",
    source: str = "",
    lots: Sequence[str] = (),
    at: datetime,
) -> str:
    """The number of one report over many units, in place of a flood: for a gauge out of tolerance, a change of plan.

    `source` says what brought it about: `gauge CA-03`, `plan FR-200 E`. Every unit goes on hold, and with the drawn
    pieces among them their `lots`, by their codes. Raises NotAllowed, NotFound `serial_unknown`, `lot_unknown`,
    Invalid `no_units`, `too_many_units`, `severity_unknown`, `cause_unknown` or of `plain_text`, Refused
    `unit_scrapped`.
    """
    require(by, Act.RAISE_REPORT, at)
    told = _told(title, description) | {"severity": _severity(severity, None)}
    units, whole = _locked_units(serials), _locked_lots(lots)
    facts: dict[str, Any] = {"serial": units[0].serial, "person": by.name, "badge": by.badge, "units": len(units)}
    facts |= {"source": plain_text("What brought it about", source, longest=80)} if source.strip() else {}
    facts |= {"lots": [lot.code for lot in whole]} if whole else {}
    facts |= around(units[0].item_id, "", at)
    report = _raised(by, at, About(units[0].item_id, units[0].family_id), told | {"facts": facts}, cause)
    _add(by, report, [unit.item_id for unit in units[1:]] + [lot.item_id for lot in whole], at)
    _hold(by, report, units[0].item_id, None, at)
    enter(report, Verb.REPORT_RAISED, by=by, at=at, title=report.title, serials=[unit.serial for unit in units])
    return report.number


@transaction.atomic
def add_units(*, by: Person, number: str, serials: Sequence[str], reason: str, at: datetime) -> int:
    """Take further units into a report that nobody has proposed anything for yet; gives how many are new.

    Raises NotAllowed, NotFound, Invalid `no_units`, `too_many_units` or of `plain_text`, Refused `proposed_already`,
    `report_ended`, `not_a_unit`, `unit_scrapped`.
    """
    require(by, Act.RAISE_REPORT, at)
    reason = plain_text("The reason", " ".join(reason.split()), longest=300)
    units = _locked_units(serials)
    report = locked(number)
    if report.status.state in ENDED:
        raise Refused("report_ended", f"{report.number} has ended; raise a new report for these units.")
    if not units_of_items([report.item_id]):
        raise Refused("not_a_unit", f"{report.number} is about a lot; raise a report on the units.")
    if DispositionProposal.objects.filter(report=report).exists():
        message = f"A disposition is proposed for {report.number} already; raise a new report for these units."
        raise Refused("proposed_already", message)
    known = set(item_ids_of(report))
    new = [unit for unit in units if unit.item_id not in known]
    _add(by, report, [unit.item_id for unit in new], at)
    added = [unit.serial for unit in new]
    remark(report, "units_added", by=by, at=at, note=f"{', '.join(added)}: {reason}", data={"serials": added})
    enter(report, Verb.REPORT_ITEMS_ADDED, by=by, at=at, serials=added, reason=reason)
    return len(new)


def _add(by: Person, report: Report, item_ids: Sequence[int], at: datetime) -> None:
    ReportItem.objects.bulk_create(ReportItem(report=report, item_id=item, by=by, at=at) for item in item_ids)
    for item in item_ids:
        _hold(by, report, item, None, at)


def _locked_lots(codes: Sequence[str]) -> list[LotCard]:
    """The lots, their rows locked in the order of their keys."""
    found = [lot_by_code(code) for code in dict.fromkeys(codes)]
    for item in sorted(lot.item_id for lot in found):
        lock_item(item)
    return found


def _locked_units(serials: Sequence[str]) -> list[UnitCard]:
    """The units in the order given, their rows locked in the order of their keys."""
    wanted = list(dict.fromkeys(serial.strip().upper() for serial in serials if serial.strip()))
    if not wanted:
        raise Invalid("no_units", "Name at least one serial number.")
    if len(wanted) > MOST_UNITS:
        raise Invalid("too_many_units", f"One report takes up to {MOST_UNITS} units; split them by what they share.")
    found = [unit_by_serial(serial) for serial in wanted]
    for unit_id in sorted(unit.id for unit in found):
        lock_unit(unit_id)
    for unit in found:
        _refuse_scrapped(unit)
    return found


def _refuse_scrapped(unit: UnitCard) -> None:
    if unit.state == "scrapped":
        raise Refused("unit_scrapped", f"{unit.serial} is scrapped; nothing more is decided about it.")


def _told(title: str, description: str) -> dict[str, str]:
    """Title and description as they are printed: in one piece."""
    return {
        "title": plain_text("What is wrong", title, longest=LONGEST_TITLE),
        "description": plain_text("The description", " ".join(description.split()), longest=600, needed=False),
    }


def _severity(severity: str, card: CheckpointCard | None) -> str:
    severity = severity or (card.criticality if card else "")
    if severity not in set(Report.Severity.values):
        raise Invalid("severity_unknown", "The severity is critical, major or minor; choose one.")
    return severity


def _raised(by: Person, at: datetime, about: About, told: dict[str, Any], cause: str) -> Report:
    if cause not in set(Report.Cause.values):
        raise Invalid("cause_unknown", "Choose one of the listed causes, or 'not known yet'.")
    return open_report(about=about, raised_by=by, at=at, cause=cause, **told)


def _kept(photo: Photo | None, by: Person, at: datetime) -> EvidenceCard | None:
    """The photo as kept, before anything is locked. Raises what `keep_picture` raises for a file that is no photo."""
    return None if photo is None else keep_picture(by=by, content=photo.content, name=photo.name, at=at)


def _add_photo(report: Report, kept: EvidenceCard | None, by: Person, at: datetime) -> None:
    if kept is None:
        return
    ReportPicture.objects.create(report=report, evidence=kept.uuid, by=by, at=at)
    told = {"picture": str(kept.uuid), "digest": kept.digest}
    remark(report, "picture_added", by=by, at=at, data=told)


def _hold(by: Person, report: Report, item_id: int, from_stage: int | None, at: datetime) -> None:
    source, reason = report.number, report.title
    place_hold(by=by, item_id=item_id, from_stage=from_stage, source=source, reason=reason, at=at)


def _offer_one_report(title: str, card: CheckpointCard | None, cause: str, at: datetime) -> None:
    """Raises Conflict `group_instead` when the same was raised several times within a day and is not ended.

    The same: one title, or one cause at one checkpoint, however it was worded.
    """
    same = Q(title__iexact=title)
    if card is not None and cause != Report.Cause.UNKNOWN:
        same |= Q(checkpoint__characteristic=card.characteristic_id, status__cause=cause)
    rows = Report.objects.filter(same, raised_at__gt=at - timedelta(days=1))
    alike = list(rows.exclude(status__state__in=ENDED_VALUES).order_by("id").values_list("number", flat=True))
    if len(alike) >= ALIKE:
        message = (
            f"{len(alike)} reports of today say the same: {', '.join(alike[:3])}. Add this unit to {alike[0]} instead, "
            "or say that it stands for itself."
        )
        raise Conflict("group_instead", message, reports=alike)


def _checkpoint(item_id: int, named: str) -> CheckpointCard:
    """The checkpoint of the unit's plan with this key or number. Raises NotFound `checkpoint_unknown`."""
    for card in adopted(item_id).checkpoints:
        if named in (card.key, str(card.number)):
            return card
    name = shown(named)
    raise NotFound("checkpoint_unknown", f"The plan of this unit has no checkpoint {name}.", checkpoint=name)


def _where(card: CheckpointCard | None) -> dict[str, Any]:
    if card is None:
        return {}
    return {"checkpoint": card.key, "number": card.number, "title": card.title, "stage": card.stage_number}


def _lot_words(item: ItemCard) -> str:
    return f"{item.family_code} lot {str(item.uuid)[:8]}"
