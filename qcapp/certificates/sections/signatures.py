"""Who signed what, with the sentence each signature stands under."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from qcapp.people.roles import Role

from .record import Record

if TYPE_CHECKING:
    from qcapp.inspections.queries.shapes import SignOffView


@dataclass(frozen=True)
class SignatureLine:
    """One signature."""

    what: str
    name: str
    function: str
    at: str
    meaning: str


@dataclass(frozen=True)
class WitnessLine:
    """What is recorded at one witness point."""

    stage: str
    said: str
    by: str
    at: str


@dataclass(frozen=True)
class Signatures:
    """Stage sign-offs in order, then the release; and who witnessed which stage, or waived it."""

    lines: tuple[SignatureLine, ...]
    witnesses: tuple[WitnessLine, ...] = ()


def build(record: Record) -> Signatures:
    """All signatures that the statement rests on."""
    stages = [
        SignatureLine(
            what=f"Stage {stage.card.number} {stage.card.name}",
            name=record.mark(stage.sign_off.person_id, stage.sign_off.person_name),
            function=_function(stage.sign_off),
            at=record.moment(stage.sign_off.at),
            meaning=stage.sign_off.meaning,
        )
        for stage in record.standing.inspection.stages
        if stage.sign_off is not None
    ]
    release = SignatureLine(
        what="Release",
        name=record.released_by,
        function=record.released_function,
        at=record.moment(record.released_at),
        meaning=record.release_meaning,
    )
    return Signatures((*stages, release), _witnesses(record))


def _witnesses(record: Record) -> tuple[WitnessLine, ...]:
    return tuple(
        WitnessLine(
            stage=f"Stage {stage.card.number} {stage.card.name}",
            said=stage.witness.sentence,
            by=record.mark(stage.witness.by_id, stage.witness.by_name),
            at=record.moment(stage.witness.at),
        )
        for stage in record.standing.inspection.stages
        if stage.witness is not None
    )


def _function(sign_off: SignOffView) -> str:
    label = Role(sign_off.role).label
    return f"{label}, deputy for {sign_off.deputy_for_name}" if sign_off.deputy_for_name else label
