"""A plan as a file that `plan_rules.read_plan` reads back to the same content."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Mapping

from .cards import CheckpointCard, StageCard
from .plan_file import COLUMNS
from .plan_rows import FOR_REFERENCE, SPECIFICATION


def write_cells(rows: Iterable[Mapping[str, object]]) -> str:
    """CSV with a header line, lines ended by CR LF as RFC 4180 has them.

    Limits stand as numbers beside the notation, so that reading it back refuses to go on if a table says
    otherwise.
    """
    target = io.StringIO(newline="")
    writer = csv.DictWriter(target, COLUMNS, lineterminator="\r\n")
    writer.writeheader()
    writer.writerows(rows)
    return target.getvalue()


def cells_of(stage: StageCard, card: CheckpointCard) -> dict[str, object]:
    """The cells of a checkpoint's row; columns that mean nothing for its kind are left out."""
    drawing = (SPECIFICATION if card.document_kind == "specification" else "") + card.document_number
    return {
        "stage_number": stage.number,
        "stage_name": stage.name,
        "hold_point": _yes(stage.hold_point),
        "witness_point": _yes(stage.witness_point),
        "number": card.number,
        "key": card.key,
        "title": card.title,
        "kind": card.kind,
        "criticality": card.criticality,
        "method": card.method,
        "setup": card.setup,
        "gauge_kinds": ";".join(card.gauge_kinds),
        "frequency": card.frequency,
        "second_inspection": _yes(card.second_inspection),
        "photo": _yes(card.photo),
        "joint": card.joint,
        "drawing": drawing,
        "drawing_revision": card.document_revision,
        "instruction": card.instruction,
        "caution": card.caution,
        "paired_with": card.paired_with,
        "variants": card.variants,
        "after_weld_hours": _cell(card.after_weld_hours),
    } | _specified(card)


def _specified(card: CheckpointCard) -> dict[str, object]:
    spec = card.spec_json
    if card.kind == "count":
        return {
            "lower": _cell(spec["at_least"]),
            "upper": _cell(spec["accept"]),
            "unit_of_measure": _cell(spec["counted"]),
        }
    if card.kind == "record":
        return {"form": f"{spec['form']} {spec['pattern'] or ''}".rstrip()}
    names = ("nominal", "lower", "upper", "unit_of_measure", "decimals", "readings", "temperature", "formula")
    cells: dict[str, object] = {name: _cell(spec.get(name)) for name in names if name in spec}
    if cells:
        cells["limits"] = FOR_REFERENCE if spec["reference"] else _cell(spec["notation"])
        cells["guard"] = "" if spec["guard"] in (None, "0") else spec["guard"]
        cells["mean"] = _yes(bool(spec.get("mean")))
    return cells


def _yes(answer: bool) -> str:
    return "yes" if answer else ""


def _cell(value: object) -> str:
    return "" if value is None else str(value)
