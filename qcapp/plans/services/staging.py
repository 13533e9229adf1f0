"""Edits of a draft's stages."""

from __future__ import annotations

from datetime import datetime
from typing import TYPE_CHECKING
from uuid import UUID

from qcapp.core.errors import Invalid

from .. import draft_edits
from ..plan_file import cell_problem
from .editing import Edited, opened

if TYPE_CHECKING:
    from qcapp.people.models import Person


def add_stage(*, by: Person, revision_uuid: UUID, number: str, name: str, at: datetime) -> Edited:
    """A new stage with one new checkpoint. Raises Invalid `stage_unreadable`, `stage_twice`, `cell_missing`."""
    with opened(by, revision_uuid, at) as draft:
        paper, new = draft_edits.add_stage(draft.paper, number.strip(), _stage_name(name), draft.given)
        return draft.store(paper, f"stage {number} added", focus=new)


def change_stage(
    *, by: Person, revision_uuid: UUID, number: str, name: str, hold_point: bool, witness_point: bool, at: datetime
) -> Edited:
    """The stage's name and points."""
    with opened(by, revision_uuid, at) as draft:
        points = {"hold_point": "yes" if hold_point else "", "witness_point": "yes" if witness_point else ""}
        paper = draft_edits.change_stage(draft.paper, number, points | {"stage_name": _stage_name(name)})
        return draft.store(paper, f"stage {number} changed")


def _stage_name(name: str) -> str:
    name = name.strip()
    if problem := cell_problem("stage_name", name):
        raise Invalid(problem[0], problem[1], field="stage_name")
    if not name or len(name) > 80:
        raise Invalid("stage_unreadable", "A stage has a name of at most 80 letters; write it.", field="stage_name")
    return name
