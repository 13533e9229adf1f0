"""The documents of a unit: what its plan cites, certificates of its heats and of processes outside, keyed sheets."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING

from django.urls import reverse

from qcapp.audit.verbs import Verb
from qcapp.goods.queries import mill_certificates_of
from qcapp.goods.queries.outside import sent_out
from qcapp.inspections.queries.paper import papers_of

if TYPE_CHECKING:
    from qcapp.inspections.queries import InspectionView
    from qcapp.production.queries.as_built import Node


PLURAL_WORDS = {
    "drawing": "drawings",
    "specification": "specifications",
    "mill certificate": "mill certificates",
    "process certificate": "process certificates",
    "keyed sheet": "keyed sheets",
}


@dataclass(frozen=True)
class UnitDocument:
    """One document: what it is, its name, and where it is opened."""

    kind: str
    name: str
    url: str

    @property
    def plural(self) -> str:
        """What several of its kind are called."""
        return PLURAL_WORDS.get(self.kind, f"{self.kind}s")


def documents_of(inspection: InspectionView, tree: Node, acts: set[str]) -> list[UnitDocument]:
    """Drawings and specifications of the plan, then papers; one query for heats, processes and keyed sheets each."""
    plan = reverse("plans:revision", args=[inspection.revision.uuid])
    cited = [UnitDocument(one.kind, f"{one.number} rev {one.revision}", plan) for one in inspection.revision.documents]
    heats = {node.heat_id for node in _nodes(tree) if node.heat_id}
    mill = [
        UnitDocument("mill certificate", f"{number}, {supplier}", reverse("evidence:file", args=[paper]))
        for number, supplier, paper in (mill_certificates_of(heats) if heats else [])
    ]
    processed = _processes(inspection) if Verb.UNIT_RECEIVED_BACK in acts else ()
    return [*cited, *mill, *processed, *(_keyed(inspection) if Verb.PAPER_KEYED in acts else ())]


def _keyed(inspection: InspectionView) -> Iterator[UnitDocument]:
    """The scans of keyed sheets, but for stages in which an answer is still kept from who looks."""
    secret = {one.card.stage_number for one in inspection.checkpoints if one.hidden}
    for one in papers_of(inspection.unit.item_id):
        if one.stage_number not in secret:
            name = f"stage {one.stage_number} {one.stage_name}"
            yield UnitDocument("keyed sheet", name, reverse("evidence:file", args=[one.scan_uuid]))


def _processes(inspection: InspectionView) -> Iterator[UnitDocument]:
    """The certificates with which the unit came back from plating, coating or heat treatment."""
    for one in sent_out(inspection.unit.item_id):
        if one.paper_uuid is not None:
            url = reverse("evidence:file", args=[one.paper_uuid])
            yield UnitDocument("process certificate", f"{one.kind_label}, {one.supplier}", url)


def _nodes(tree: Node) -> Iterator[Node]:
    for node in tree.below:
        yield node
        yield from _nodes(node)
