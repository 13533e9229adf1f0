"""The weld map of a unit: each joint of its plan on the drawing, with who welded it, by what and with what."""

from __future__ import annotations

from dataclasses import dataclass

from qcapp.plans.cards import Balloon, RevisionCard, SheetCard
from qcapp.plans.queries.weld_maps import weld_map
from qcapp.production.queries import UnitCard, unit_by_serial
from qcapp.production.queries.joints import JointWeld, in_order, joint_welds

from . import adopted


@dataclass(frozen=True)
class MappedJoint:
    """A joint of a unit; `weld` is None while it is open, `place` where it has no mark on the drawing."""

    joint: str
    what: str
    weld: JointWeld | None
    place: Balloon | None
    planned: bool  # whether the unit's plan names it


@dataclass(frozen=True)
class UnitWeldMap:
    """Every joint of a unit in order, and the sheets that show any of them."""

    unit: UnitCard
    revision: RevisionCard
    sheets: tuple[SheetCard, ...]
    joints: tuple[MappedJoint, ...]

    @property
    def open(self) -> list[str]:
        """The joints that nobody has said to have welded."""
        return [one.joint for one in self.joints if one.weld is None]

    @property
    def unplaced(self) -> list[str]:
        """The joints that no sheet shows."""
        return [one.joint for one in self.joints if one.place is None]


def unit_weld_map(serial: str) -> UnitWeldMap:
    """The weld map by the plan that the unit is inspected to. Raises NotFound `serial_unknown`, `no_plan_adopted`."""
    unit = unit_by_serial(serial)
    plan = adopted(unit.item_id)
    found, welds = weld_map(plan.revision, plan.checkpoints), joint_welds(unit.item_id)
    every = in_order(found.joints.keys() | welds.keys())
    joints = tuple(
        MappedJoint(one, found.joints.get(one, ""), welds.get(one), found.places.get(one), one in found.joints)
        for one in every
    )
    used = {one.place.sheet.id for one in joints if one.place}
    return UnitWeldMap(unit, plan.revision, tuple(one for one in found.sheets if one.id in used), joints)
