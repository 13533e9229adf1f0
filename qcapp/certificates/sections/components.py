"""The components in the unit, each with the certificate of its own."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from qcapp.certificates.queries import certificates_of
from qcapp.production.queries.inside import components_inside

from .record import Record

if TYPE_CHECKING:
    from qcapp.production.queries.as_built import InstalledCard


@dataclass(frozen=True)
class Component:
    """One component. `link` says whether it was trial-fitted or is delivered with the unit."""

    serial: str
    family: str
    link: str
    certificate: str  # "AX-2026-0003, issue 1"; empty without one
    digest: str
    standing: str


@dataclass(frozen=True)
class Components:
    """The components in the order fitted, those of components after them; `shown` is the family's choice."""

    shown: bool
    lines: tuple[Component, ...]


def build(record: Record) -> Components:
    """What is in the unit at issue."""
    item_id = record.standing.inspection.unit.item_id
    found = components_inside(item_id) if record.choice.components else []
    return Components(record.choice.components, tuple(_component(one) for one in found))


def _component(one: InstalledCard) -> Component:
    papers = certificates_of(one.component_item_id)
    latest = papers[0] if papers else None
    return Component(
        serial=one.serial,
        family=one.family_name,
        link=one.link_label,
        certificate=f"{latest.number}, issue {latest.issue}" if latest else "",
        digest=latest.digest if latest else "",
        standing=latest.standing if latest else "",
    )
