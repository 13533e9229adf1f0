"""A first article is marked and decided; until it is accepted the following units wait at its stage."""

from __future__ import annotations

from datetime import datetime
from typing import TYPE_CHECKING
from uuid import UUID

from django.db import transaction

from qcapp.audit import services as audit
from qcapp.audit.verbs import Verb
from qcapp.core.errors import Conflict, Invalid, NotFound, Refused
from qcapp.core.sealing import canonical, digest
from qcapp.lib.plain_text import plain_text
from qcapp.people.roles import Act
from qcapp.people.services import require, write_signature
from qcapp.production.queries import unit_by_serial, unit_of_item
from qcapp.production.services import lock_unit

from ..models import FirstArticle, FirstArticleDecision
from ..queries import stage_state
from ..states import StageState

if TYPE_CHECKING:
    from qcapp.people.models import Person
    from qcapp.people.services import Proof


def mark_first_article(*, by: Person, serial: str, stage_number: int, cause: str, about: str, at: datetime) -> UUID:
    """The identifier of the mark on a unit in build.

    Raises NotFound `serial_unknown`, `stage_unknown`; Invalid `cause_unknown` or of `plain_text`; Refused
    `unit_not_in_build`; Conflict `marked_already`.
    """
    require(by, Act.MARK_FIRST_ARTICLE, at)
    about = plain_text("What is new", about, longest=160)
    if cause not in FirstArticle.Cause.values:
        raise Invalid(
            "cause_unknown", "A first article follows a revision, fixture, machine or supplier.", field="cause"
        )
    with transaction.atomic():
        unit = lock_unit(unit_by_serial(serial).id)
        if unit.state != "in_build":
            raise Refused("unit_not_in_build", f"{unit.serial} is {unit.state_label}; mark one that is in build.")
        if stage_number not in {stage.number for stage in stage_state(unit.item_id)}:
            raise NotFound("stage_unknown", f"The plan of {unit.serial} has no stage {stage_number}.")
        marked = FirstArticle.objects.filter(item=unit.item_id, stage_number=stage_number, cause=cause, about=about)
        if marked.exists():
            raise Conflict("marked_already", f"{unit.serial} is the first article for that already.")
        row = FirstArticle.objects.create(
            item_id=unit.item_id, family_id=unit.family_id, unit_number=unit.number, stage_number=stage_number,
            cause=cause, about=about, by=by, at=at,
        )  # fmt: skip
        payload = {"article": str(row.uuid), "stage": stage_number, "cause": cause, "about": about}
        audit.record(
            verb=Verb.FIRST_ARTICLE_MARKED, actor=by.uuid, subject=f"unit {unit.serial}", at=at, payload=payload
        )
    return row.uuid


def decide_first_article(*, proof: Proof, article: UUID, accepted: bool, reason: str, at: datetime) -> None:
    """Accept the first article, so that the following units go on, or say why not; signed.

    Raises NotFound `article_unknown`; Conflict `already_decided`; Refused `stage_unsigned` for accepting what was not
    inspected; Invalid of `plain_text`.
    """
    person = proof.person
    require(person, Act.MARK_FIRST_ARTICLE, at)
    reason = plain_text("The reason", reason, longest=300)
    with transaction.atomic():
        row = FirstArticle.objects.filter(uuid=article).first()
        if row is None:
            raise NotFound("article_unknown", "There is no such first article; choose one from the list.")
        unit = lock_unit(unit_of_item(row.item_id).id)
        _check_open(row, accepted, unit.serial)
        words = "accept" if accepted else "do not accept"
        payload = {"article": str(article), "accepted": accepted, "reason": reason}
        signature = write_signature(
            proof=proof,
            act=Act.MARK_FIRST_ARTICLE,
            meaning=f"I {words} {unit.serial} as first article at stage {row.stage_number}: {reason}"[:300],
            subject=f"unit {unit.serial}",
            covers=digest(canonical(payload)),
            at=at,
        )
        FirstArticleDecision.objects.create(article=row, accepted=accepted, reason=reason, signature=signature, at=at)
        audit.record(
            verb=Verb.FIRST_ARTICLE_DECIDED, actor=person.uuid, subject=f"unit {unit.serial}", at=at, payload=payload
        )


def _check_open(row: FirstArticle, accepted: bool, serial: str) -> None:
    if FirstArticleDecision.objects.filter(article=row).exists():
        raise Conflict("already_decided", "This was decided before; a decision stands. Mark another unit.")
    stage = next((one for one in stage_state(row.item_id) if one.number == row.stage_number), None)
    if accepted and (stage is None or stage.state is not StageState.SIGNED):
        message = (
            f"Stage {row.stage_number} of {serial} is not signed; a first article is inspected before it is accepted."
        )
        raise Refused("stage_unsigned", message)
