"""A new plan revision reaches units in build: two hydraulic tanks adopt it, one stays, the first is first article."""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import TYPE_CHECKING

from qcapp.inspections.queries.adopting import preview_of
from qcapp.inspections.services.adopting import choose_plan
from qcapp.inspections.services.first_articles import mark_first_article
from qcapp.people.roles import Role
from qcapp.people.services import demonstration_proof
from qcapp.plans import services as plans
from qcapp.plans.queries import released_revision
from qcapp.plans.queries.drafts import draft_card
from qcapp.plans.services import editing
from qcapp.production.queries import unit_by_serial

from .player import UnitPlayer
from .stories import Story

if TYPE_CHECKING:
    from qcapp.plans.cards import RevisionCard

    from .cast import Cast

FAMILY = "HT-6"
TANKS = (
    Story(FAMILY, 121, 4, stages=2, released=False, order="AO-2231"),
    Story(FAMILY, 122, 3, stages=2, released=False, order="AO-2231"),
    Story(FAMILY, 123, 3, stages=1, partial=0.8, released=False, order="AO-2240"),
)
CHANGES = (("mount_distance", "limits", "≤ 120.3"), ("particles", "limits", "max 4"))
WHY = "Lugs were too far apart for the new pump bracket; filter limit of the pump maker."


def play_revision(cast: Cast, now: datetime) -> None:
    """Three tanks in build on revision A, then revision B with two limits changed, and what was decided for each."""
    for story in TANKS:
        UnitPlayer(story, cast, now, now).play()
    at = now - timedelta(hours=3)
    card = _release_b(cast, at)
    quality, engineer = cast.with_role(Role.QUALITY_MANAGER), cast.with_role(Role.ENGINEER)
    for choice, tanks, reason in (
        ("adopt", TANKS[:2], "The bracket of this order is the new one."),
        ("stay", TANKS[2:], "This order is built with the old bracket."),
    ):
        at += timedelta(minutes=10)
        shown = {one.serial: preview_of(unit_by_serial(one.serial), card).covers for one in tanks}
        proof = demonstration_proof(quality, at)
        choose_plan(proof=proof, revision_uuid=card.uuid, shown=shown, choice=choice, reason=reason, at=at)
    mark_first_article(
        by=engineer, serial=TANKS[0].serial, stage_number=2, cause="revision", about="revision B",
        at=at + timedelta(minutes=10),
    )  # fmt: skip


def _release_b(cast: Cast, at: datetime) -> RevisionCard:
    author, releaser = cast.with_role(Role.QUALITY_MANAGER, 1), cast.with_role(Role.QUALITY_MANAGER)
    draft = plans.revise(by=author, revision_uuid=released_revision(FAMILY).uuid, at=at, change_note=WHY)
    paper = draft_card(draft.id, draft.family_id)
    if paper is None:
        raise RuntimeError("The revision has no draft.")
    rows = {row.key: row for row in paper.paper.rows}
    for key, column, text in CHANGES:
        row = rows[key]
        editing.set_cell(
            by=author, revision_uuid=draft.uuid, row_id=row.id, column=column, text=text, was=row.cells[column], at=at
        )
    plans.send_for_review(by=author, revision_uuid=draft.uuid, at=at)
    return plans.release(proof=demonstration_proof(releaser, at), revision_uuid=draft.uuid, at=at)
