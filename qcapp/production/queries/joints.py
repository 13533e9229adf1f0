"""Readers of weld maps: where the joints of a family are, and what was said of each joint of a unit."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass
from datetime import datetime
from uuid import UUID

from ..models import JointPlace, WeldRecord, WeldStart


@dataclass(frozen=True)
class JointPlaceCard:
    """Where a joint is: `across` and `down` in hundred-thousandths of the sheet's width and height."""

    joint: str
    sheet: UUID
    across: int
    down: int
    by_name: str
    at: datetime


@dataclass(frozen=True)
class JointWeld:
    """Who welded a joint of a unit, by what and with what; what was not said is empty. `times` counts its records."""

    joint: str
    welder_name: str
    welder_stamp: str
    procedure: str
    filler_lot: str
    machine: str
    fixture: str
    preheat: int | None  # °C, as measured
    findings: tuple[str, ...]
    at: datetime
    times: int


def in_order(joints: Collection[str]) -> list[str]:
    """The joints by their numbers: W2 before W10."""
    return sorted(joints, key=lambda joint: (int(joint[1:]) if joint[1:].isdecimal() else 0, joint))


def joint_places(family_id: int, sheets: Collection[UUID]) -> dict[str, JointPlaceCard]:
    """The place of each joint on these sheets, by its latest row among them; none for one that was taken away."""
    rows = JointPlace.objects.filter(family=family_id, sheet__in=list(sheets)).select_related("by").order_by("id")
    latest = {row.joint: row for row in rows}
    return {
        joint: JointPlaceCard(joint, row.sheet, row.across, row.down, row.by.name, row.at)
        for joint, row in latest.items()
        if row.across is not None and row.down is not None
    }


def joints_elsewhere(family_id: int, sheets: Collection[UUID]) -> list[str]:
    """Joints of the family that have a place on other sheets than these, such as an older revision's; in order."""
    rows = JointPlace.objects.filter(family=family_id, across__isnull=False).exclude(sheet__in=list(sheets))
    return in_order(set(rows.values_list("joint", flat=True)))


def joint_welds(item_id: int) -> dict[str, JointWeld]:
    """By joint, what its latest weld record says, with what was said before that arc; two queries."""
    records = list(WeldRecord.objects.filter(item=item_id).select_related("welder").order_by("id"))
    starts = {
        (joint, start.welder_id, start.at): start
        for start in WeldStart.objects.filter(item=item_id).order_by("id")
        for joint in start.joints
    }
    found: dict[str, JointWeld] = {}
    for row in records:
        start = starts.get((row.joint, row.welder_id, row.at))
        times = found[row.joint].times + 1 if row.joint in found else 1
        found[row.joint] = _weld(row, start, times)
    return found


def _weld(row: WeldRecord, start: WeldStart | None, times: int) -> JointWeld:
    told = ("", "", "", None, ()) if start is None else (
        start.filler_lot, start.machine, start.fixture, start.preheat, tuple(start.findings),
    )  # fmt: skip
    return JointWeld(row.joint, row.welder.name, row.welder.stamp, row.procedure, *told, row.at, times)
