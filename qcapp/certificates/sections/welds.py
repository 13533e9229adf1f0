"""The weld map: which joint was welded under which stamp and procedure."""

from __future__ import annotations

from dataclasses import dataclass

from qcapp.production.queries import welds_of

from .record import Record


@dataclass(frozen=True)
class Weld:
    """One joint. Welders stand by their stamp number, as it is struck beside the weld."""

    joint: str
    stamp: str
    procedure: str
    day: str


@dataclass(frozen=True)
class Welds:
    """The joints in the order they were written down; `shown` is the family's choice."""

    shown: bool
    joints: tuple[Weld, ...]


def build(record: Record) -> Welds:
    """Who welded what, by stamp unless names were chosen."""
    found = welds_of(record.standing.inspection.unit.item_id) if record.choice.welds else []
    return Welds(
        shown=record.choice.welds,
        joints=tuple(
            Weld(
                joint=one.joint,
                stamp=one.welder_name if record.choice.names else one.welder_stamp or record.mark(one.welder_id, ""),
                procedure=one.procedure,
                day=record.day(one.at),
            )
            for one in found
        ),
    )
