"""What readers of plans get from a draft: the same cards and the same content as from a released revision."""

from __future__ import annotations

from collections.abc import Mapping

from qcapp.core.checkpoints.kinds import KINDS

from .cards import CheckpointCard, DocumentCard, StageCard
from .draft_rows import Paper, ReadPaper
from .plan_rows import SPECIFICATION, PlanCheckpoint
from .plan_rules import ReadPlan


def stage_cards(paper: Paper) -> tuple[StageCard, ...]:
    """The stages of a draft. They have no key before the release."""
    firsts = sorted(paper.stages(), key=lambda row: int(row.stage))
    return tuple(
        StageCard(
            0, int(row.stage), row.cells["stage_name"], bool(row.cells["hold_point"]), bool(row.cells["witness_point"])
        )
        for row in firsts
    )


def document_cards(paper: Paper) -> tuple[DocumentCard, ...]:
    """The drawings and specifications that the draft's rows cite."""
    cited = {(row.cells["drawing"], row.cells["drawing_revision"]) for row in paper.rows if row.cells["drawing"]}
    cards = (
        DocumentCard(
            "specification" if number.startswith(SPECIFICATION) else "drawing",
            number.removeprefix(SPECIFICATION).strip(),
            revision,
        )
        for number, revision in cited
    )
    return tuple(sorted(cards, key=lambda card: (card.kind, card.number)))


def checkpoint_cards(read: ReadPaper, characteristics: Mapping[str, int]) -> list[CheckpointCard]:
    """The rows that can be read, in order; `characteristics` are those that earlier revisions gave."""
    positions = {row.id: position for position, row in enumerate(read.paper.rows, start=1)}
    return [card_of(one, positions[one.row.line], characteristics.get(one.key, 0)) for one in read.plan.checkpoints]


def card_of(row: PlanCheckpoint, position: int, characteristic_id: int = 0) -> CheckpointCard:
    """One row of a draft as a checkpoint. Its keys in the database are 0 until the release."""
    document = row.document
    return CheckpointCard(
        id=0,
        number=row.number,
        key=row.key,
        title=row.title,
        kind=row.kind,
        spec=row.spec,
        spec_json=dict(row.spec.to_json()),
        limits_text=KINDS[row.kind].describe_limits(row.spec),
        criticality=row.criticality,
        method=row.method,
        setup=row.setup,
        setup_label=row.setup.replace("_", " ") or "as it stands",
        gauge_kinds=row.gauge_kinds,
        frequency=row.frequency,
        second_inspection=row.second_inspection,
        photo=row.photo,
        joint=row.joint,
        document_number=document.number if document else "",
        document_revision=document.revision if document else "",
        document_kind=document.kind if document else "",
        instruction=row.instruction,
        caution=row.caution,
        paired_with=row.paired_with,
        stage_number=row.stage_number,
        stage_id=0,
        position=position,
        characteristic_id=characteristic_id,
        variants=row.variants,
        after_weld_hours=row.after_weld_hours,
    )


def content_of(plan: ReadPlan) -> dict[str, object]:
    """The canonical content that the released tables will hold: what signatures in review cover."""
    stages = sorted(plan.stages, key=lambda stage: stage.number)
    documents = sorted(plan.documents, key=lambda document: (document.kind, document.number))
    return {
        "stages": [[s.number, s.name, s.hold_point, s.witness_point] for s in stages],
        "documents": [[d.kind, d.number, d.revision] for d in documents],
        "checkpoints": [_checkpoint_content(row) for row in plan.checkpoints],
    }


def _checkpoint_content(row: PlanCheckpoint) -> dict[str, object]:
    plain = (
        "title", "kind", "specified", "criticality", "method", "setup", "frequency", "second_inspection",
        "joint", "instruction", "caution", "paired_with", "number", "key",
    )  # fmt: skip
    return {name: getattr(row, name) for name in plain} | {
        "stage": row.stage_number,
        "gauge_kinds": list(row.gauge_kinds),
        "document": row.document.number if row.document else "",
        **later_columns(row.variants, row.after_weld_hours, row.photo),
    }


def later_columns(variants: str, after_weld_hours: int | None, photo: bool) -> dict[str, object]:
    """What later versions of the plan file added, where it is said: older revisions keep their digest."""
    said = {"variants": variants, "after_weld_hours": after_weld_hours, "photo": photo or None}
    return {name: value for name, value in said.items() if value not in ("", None)}
