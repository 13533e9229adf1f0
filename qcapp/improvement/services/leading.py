"""Leading a corrective action: the causes, the steps, when it counts from, and its end."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, datetime
from typing import TYPE_CHECKING

from django.db import transaction
from django.urls import reverse

from qcapp.audit.verbs import Verb
from qcapp.core.errors import Invalid, NotAllowed, NotFound, Refused
from qcapp.core.sealing import canonical, digest
from qcapp.lib.plain_text import plain_text
from qcapp.lib.site_days import site_day
from qcapp.messages.kinds import Kind
from qcapp.messages.services import tell
from qcapp.people.queries import may, person_by_badge
from qcapp.people.roles import Act
from qcapp.people.services import require, write_signature

from ..models import CauseChain, CorrectiveAction, Step, StepEvent
from ..queries.actions import step_card, steps_of
from ..queries.effect import Effect, effect_of
from ..queries.settings import setting
from ..states import ENDED, STEP_STATES, ActionState, StepState
from .steps_of_life import enter, locked, move

if TYPE_CHECKING:
    from qcapp.people.models import Person
    from qcapp.people.services import Proof

CAUSES = ("material", "method", "machine", "measurement", "person", "environment")
MOST_WHYS = 8
MEANING = "I close {number}: the effect was computed and read."
# What a step's move is said as, and by whom it is made: its owner, or whoever leads corrective actions.
OWNERS_MOVES = frozenset({"do"})


@transaction.atomic
def accept(*, by: Person, number: str, owner_badge: str = "", at: datetime) -> None:
    """Take up a proposed action; it belongs to its owner, the one who accepts unless another is named."""
    require(by, Act.LEAD_ACTION, at)
    row = locked(number)
    owner = person_by_badge(owner_badge) if owner_badge.strip() else by
    _require_lead(owner, at)
    row.status.owner = owner
    move(row, "accept", by=by, at=at)
    _tell_owner(row, owner, by, at)
    enter(row, Verb.ACTION_MOVED, by=by, at=at, move="accept", owner=str(owner.uuid))


@transaction.atomic
def explain(*, by: Person, number: str, whys: Sequence[str], cause: str, at: datetime) -> None:
    """Why it happened, and why that, in plain sentences; takes the place of an earlier chain, which stays.

    Raises NotAllowed, NotFound, Invalid `cause_unknown`, `whys_missing`, Refused `action_ended`.
    """
    require(by, Act.LEAD_ACTION, at)
    row = _running(number)
    told = [plain_text("Each why", " ".join(one.split()), longest=300) for one in whys if one.strip()]
    if not 1 <= len(told) <= MOST_WHYS:
        raise Invalid("whys_missing", f"Write from one to {MOST_WHYS} sentences, each saying why the one above.")
    if cause not in CAUSES:
        raise Invalid("cause_unknown", f"The cause is one of {', '.join(CAUSES)}; choose one.")
    CauseChain.objects.create(action=row, whys=told, cause=cause, by=by, at=at)
    enter(row, Verb.ACTION_EXPLAINED, by=by, at=at, whys=told, cause=cause)


@transaction.atomic
def add_step(*, by: Person, number: str, text: str, owner_badge: str, due_on: date, at: datetime) -> int:
    """Something that is done about it, by whom and until when; its owner is told. Gives the step's key.

    Raises NotAllowed, NotFound, Invalid `due_in_the_past` or of `plain_text`, Refused `action_ended`.
    """
    require(by, Act.LEAD_ACTION, at)
    row = _running(number)
    text = plain_text("What is done", " ".join(text.split()), longest=300)
    owner = person_by_badge(owner_badge)
    if due_on < site_day(at):
        raise Invalid("due_in_the_past", "The day on which it is due has passed; choose a later one.")
    step = Step.objects.create(action=row, text=text, owner=owner, due_on=due_on, by=by, at=at)
    subject = f"{row.number}: a step for you, due {due_on.day} {due_on:%b %Y}"
    tell(
        to=owner, kind=Kind.ACTION_PROPOSED, subject=subject, text=text,
        link=_link(row), about=f"action {row.number}", key=f"{row.number} step {step.pk}", at=at, leave_out=by,
    )  # fmt: skip
    told = {"step": step.pk, "text": text, "owner": str(owner.uuid), "due_on": due_on.isoformat()}
    enter(row, Verb.ACTION_STEP_AGREED, by=by, at=at, **told)
    return step.pk


@transaction.atomic
def move_step(*, by: Person, number: str, step_id: int, name: str, note: str = "", at: datetime) -> None:
    """Say that a step is done, verify it, send it back or cancel it.

    The owner says that it is done; another person verifies. Raises NotAllowed `own_step` and others, NotFound
    `step_unknown`, Refused `action_ended`, TransitionNotAllowed, Invalid of `plain_text`.
    """
    require(by, Act.DO_ACTION, at)
    row = _running(number)
    step = Step.objects.filter(action=row, pk=step_id).select_related("owner").first()
    if step is None:
        raise NotFound("step_unknown", f"{row.number} has no such step; look at its page again.")
    card = step_card(step)
    after = STEP_STATES.next(card.state, name)
    _require_step_right(by, step, name, at)
    if name == "verify" and any(one.what == "done" and one.by_id == by.pk for one in card.events):
        raise NotAllowed("own_step", "Nobody verifies what they did themselves; ask another person.")
    note = plain_text("The note", " ".join(note.split()), longest=300, needed=name != "verify")
    StepEvent.objects.create(step=step, move=name, state=after, note=note, by=by, at=at)
    enter(row, Verb.ACTION_STEP_MOVED, by=by, at=at, step=step.pk, move=name, note=note)


def _require_step_right(by: Person, step: Step, name: str, at: datetime) -> None:
    """The owner says it is done, whatever their role; everything else is for who leads actions."""
    if not (name in OWNERS_MOVES and step.owner_id == by.pk):
        _require_lead(by, at)


def _require_lead(person: Person, at: datetime) -> None:
    if not may(person, Act.LEAD_ACTION, at):
        require(person, Act.LEAD_ACTION, at)


@transaction.atomic
def agree(*, by: Person, number: str, at: datetime) -> None:
    """Cause and steps stand, and are being done. Raises NotAllowed, Refused `causes_missing`, `steps_missing`."""
    require(by, Act.LEAD_ACTION, at)
    row = locked(number)
    if not row.chains.exists():
        raise Refused("causes_missing", f"Write the causes of {row.number} first: why, and why that.")
    if all(step.state == StepState.CANCELLED for step in steps_of(row.pk)):
        raise Refused("steps_missing", f"{row.number} has no step that stands; agree at least one.")
    move(row, "agree", by=by, at=at)
    enter(row, Verb.ACTION_MOVED, by=by, at=at, move="agree")


@transaction.atomic
def watch(*, by: Person, number: str, effective_on: date, units_wanted: int | None = None, at: datetime) -> None:
    """All steps are verified: from that day units count as made after it, and its effect is watched.

    Raises NotAllowed, Invalid `day_out_of_range`, `number_out_of_range`, Refused `steps_not_verified`.
    """
    require(by, Act.LEAD_ACTION, at)
    row = locked(number)
    states = {step.state for step in steps_of(row.pk)}
    if StepState.VERIFIED not in states or states - {StepState.VERIFIED, StepState.CANCELLED}:
        raise Refused("steps_not_verified", f"Not every step of {row.number} is verified yet; see its page.")
    if not site_day(row.opened_at) <= effective_on <= site_day(at):
        raise Invalid("day_out_of_range", "The day lies between the opening of the action and today; correct it.")
    wanted = setting().units_wanted if units_wanted is None else units_wanted
    if not 2 <= wanted <= 2000:
        raise Invalid("number_out_of_range", "The number of units lies between 2 and 2000; correct it.")
    row.status.effective_on, row.status.units_wanted = effective_on, wanted
    data = {"effective_on": effective_on.isoformat(), "units_wanted": wanted}
    move(row, "watch", by=by, at=at, data=data)
    enter(row, Verb.ACTION_MOVED, by=by, at=at, move="watch", **data)


@transaction.atomic
def look_again(*, by: Person, number: str, note: str, at: datetime) -> None:
    """It did not do: back to the causes. What was done stays written."""
    _plain_move(by, number, "look_again", note, at)


@transaction.atomic
def drop(*, by: Person, number: str, note: str, at: datetime) -> None:
    """Not pursued, with a reason; its reports do not propose another action of this kind."""
    _plain_move(by, number, "drop", note, at)


def _plain_move(by: Person, number: str, name: str, note: str, at: datetime) -> None:
    require(by, Act.LEAD_ACTION, at)
    row = locked(number)
    note = plain_text("The reason", " ".join(note.split()), longest=600)
    move(row, name, by=by, at=at, note=note)
    enter(row, Verb.ACTION_MOVED, by=by, at=at, move=name, note=note)


@transaction.atomic
def close(*, proof: Proof, number: str, note: str, at: datetime) -> None:
    """Close it on its effect, signed; the effect as computed now is kept with the signature.

    Raises NotAllowed, Refused `effect_not_enough` while units are missing, `effect_worse` where the rate rose beyond
    chance, TransitionNotAllowed.
    """
    require(proof.person, Act.CLOSE_ACTION, at)
    row = locked(number)
    note = plain_text("What the effect shows", " ".join(note.split()), longest=600)
    effect = effect_of(row.number) if row.status.state == ActionState.WATCHED else None
    data = _effect_to_keep(row, effect)
    signature = write_signature(
        proof=proof, act=Act.CLOSE_ACTION, meaning=MEANING.format(number=row.number), subject=f"action {row.number}",
        covers=digest(canonical(data | {"number": row.number, "note": note})), at=at,
    )  # fmt: skip
    move(row, "close", by=proof.person, at=at, note=note, data=data, signature=signature)
    enter(row, Verb.ACTION_CLOSED, by=proof.person, at=at, note=note, signature=str(signature.uuid), **data)


def _effect_to_keep(row: CorrectiveAction, effect: Effect | None) -> dict[str, object]:
    if effect is None:
        return {}
    if effect.code == "not_enough":
        raise Refused("effect_not_enough", f"{row.number} cannot be closed on its effect yet. {effect.sentence}")
    if effect.code == "worse":
        raise Refused("effect_worse", f"{row.number} did not help. {effect.sentence} Look for the cause again.")
    return {"effect": effect.code, "sentence": effect.sentence}


def _running(number: str) -> CorrectiveAction:
    row = locked(number)
    if row.status.state in ENDED:
        raise Refused("action_ended", f"{row.number} has ended; open another corrective action.")
    return row


def _tell_owner(row: CorrectiveAction, owner: Person, by: Person, at: datetime) -> None:
    tell(
        to=owner, kind=Kind.ACTION_PROPOSED, subject=f"{row.number} is yours to lead", text=row.title, link=_link(row),
        about=f"action {row.number}", key=f"{row.number} owner {owner.pk}", at=at, leave_out=by,
    )  # fmt: skip


def _link(row: CorrectiveAction) -> str:
    return reverse("improvement:action", kwargs={"number": row.number})
