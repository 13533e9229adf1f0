"""The weld map of a plan: its joints, and where they are on its sheets."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from qcapp.production.queries.joints import in_order, joint_places, joints_elsewhere

from ..cards import Balloon, CheckpointCard, RevisionCard, SheetCard
from . import checkpoints_of_card
from .marks import sheets_of


@dataclass(frozen=True)
class WeldMap:
    """The joints that a plan names, each with what it joins; those that are placed with their sheet and place."""

    family_id: int
    sheets: tuple[SheetCard, ...]
    joints: Mapping[str, str]  # "W7": "pivot tube left"
    places: Mapping[str, Balloon]

    @property
    def missing(self) -> list[str]:
        """The joints without a place, in order."""
        return [joint for joint in self.joints if joint not in self.places]


def weld_map(card: RevisionCard, checkpoints: Iterable[CheckpointCard] | None = None) -> WeldMap:
    """The weld map of a revision; two queries, and those of its checkpoints where they are not given."""
    known = checkpoints_of_card(card) if checkpoints is None else checkpoints
    sheets = {one.uuid: one for one in sheets_of(card.id)}
    placed = joint_places(card.family_id, sheets) if sheets else {}
    places = {joint: Balloon(sheets[one.sheet], one.across, one.down) for joint, one in placed.items()}
    return WeldMap(card.family_id, tuple(sheets.values()), joints_named(known), places)


def joints_named(checkpoints: Iterable[CheckpointCard]) -> dict[str, str]:
    """The joints of these checkpoints in order, each with what it joins, as a checkpoint's title says it."""
    found: dict[str, str] = {}
    for card in checkpoints:
        if card.joint and not found.get(card.joint):
            found[card.joint] = _what(card)
    return {joint: found[joint] for joint in in_order(found)}


def _what(card: CheckpointCard) -> str:
    """ "W16 seat rail left, front, visual" says that W16 joins "seat rail left, front"; without the joint nothing."""
    said = re.search(rf"\b{re.escape(card.joint)}\s+(.+)", card.title)
    if said is None:
        return ""
    return said[1].rpartition(",")[0].strip() or said[1].strip()


def placed_on_older_sheets(found: WeldMap) -> list[str]:
    """Joints without a place here that have one on another sheet of the family, such as an older revision's."""
    elsewhere = set(joints_elsewhere(found.family_id, [one.uuid for one in found.sheets])) if found.missing else set()
    return [joint for joint in found.missing if joint in elsewhere]
