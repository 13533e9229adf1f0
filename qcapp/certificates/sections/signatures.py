"""Who signed what, with the sentence each signature stands under."""

from __future__ import annotations

from dataclasses import dataclass

from .record import Record


@dataclass(frozen=True)
class SignatureLine:
    """One signature."""

    what: str
    name: str
    role: str
    at: str
    meaning: str
    method: str


@dataclass(frozen=True)
class Signatures:
    """Stage sign-offs in order, then the release."""

    lines: tuple[SignatureLine, ...]


def build(record: Record) -> Signatures:
    """All signatures that the statement rests on."""
    stages = [
        SignatureLine(
            f"Stage {stage.card.number} {stage.card.name}",
            stage.sign_off.person_name,
            _role(stage.sign_off.role, stage.sign_off.deputy_for_name),
            record.moment(stage.sign_off.at),
            stage.sign_off.meaning,
            stage.sign_off.method,
        )
        for stage in record.standing.inspection.stages
        if stage.sign_off is not None
    ]
    release = SignatureLine(
        "Release",
        record.released_by,
        _role(record.released_role, record.released_deputy_for),
        record.moment(record.released_at),
        record.release_meaning,
        "",
    )
    return Signatures((*stages, release))


def _role(role: str, deputy_for: str) -> str:
    words = role.replace("_", " ")
    return f"{words}, deputy for {deputy_for}" if deputy_for else words
