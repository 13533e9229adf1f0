"""Where checkpoints and stages stand: plain functions over cards and answers that are loaded already."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping, Sequence
from functools import lru_cache
from typing import TYPE_CHECKING
from uuid import UUID

from qcapp.core.formulas import references
from qcapp.core.sealing import digest
from qcapp.core.statistics.frequency import due, parse_frequency
from qcapp.core.variants import asked_on

from ..states import CheckpointState, StageState
from .loading import Light, SignOffRow, Slot
from .shapes import AnswerView, CheckpointView, NotApplicable, SignOffView, StageView
from .slots import base_of, disagree

if TYPE_CHECKING:
    from qcapp.plans.queries import CheckpointCard, StageCard
    from qcapp.production.queries import HoldCard

    from .witnesses import WitnessCard

Answers = Mapping[Slot, Sequence[AnswerView]]


def due_checkpoints(
    cards: Iterable[CheckpointCard],
    number: int,
    reopened: Iterable[int] = (),
    *,
    variant: str = "",
    excluded: Collection[int] = (),
    drawn: bool = False,
) -> frozenset[int]:
    """Ids of the checkpoints that are due on the unit with this running number, reopened ones always.

    On a piece that was `drawn` from a lot the sampled ones are due: the draw is the sampling.

    A checkpoint of another variant is not, nor one whose characteristic is among the `excluded`: it was decided that
    it does not apply. A derived checkpoint is due when everything it reads is.
    """
    cards = list(cards)
    keys = {card.key: card for card in cards}
    chosen = {c.id for c in cards if _falls_on(c, number, drawn) and asked_on(c.variants, variant)} | set(reopened)
    chosen -= {card.id for card in cards if card.characteristic_id in excluded}
    # A formula may read another derived checkpoint, so go on until nothing more falls away.
    while fallen := {c.id for c in cards if c.id in chosen and not _inputs_due(c, keys, chosen)}:
        chosen -= fallen
    return frozenset(chosen)


def _falls_on(card: CheckpointCard, number: int, drawn: bool) -> bool:
    return (drawn and parse_frequency(card.frequency).sample is not None) or due(card.frequency, number)


def _inputs_due(card: CheckpointCard, keys: Mapping[str, CheckpointCard], chosen: set[int]) -> bool:
    return all(keys[key].id in chosen for key in inputs_of(card) if key in keys)


def inputs_of(card: CheckpointCard) -> list[str]:
    """Keys of the checkpoints that a derived one reads; empty for the other kinds."""
    return _references(card.spec.formula) if card.kind == "derived" else []


@lru_cache(maxsize=512)  # a formula is parsed once, not for every unit that it is computed on
def _references(formula: str) -> list[str]:
    return references(formula)


def checkpoint_view(
    card: CheckpointCard,
    *,
    is_due: bool,
    opened: Sequence[tuple[int, str]],
    answers: Answers,
    excluded: NotApplicable | None = None,
) -> CheckpointView:
    """The checkpoint in its current round; nothing is hidden yet."""
    turn, reopened_by = opened[-1] if opened else (1, "")
    first, second, third = (answers.get((card.id, turn, inspection), ()) for inspection in (1, 2, 3))
    conflicting = next((tuple(rows) for rows in (first, second, third) if len(rows) > 1), ())
    split = bool(first and second) and disagree(first[-1], second[-1])
    owes = _owed(card, first, second, third, split) if is_due else ()
    following = next((rows for rows in (third, second, first) if rows), ())
    return CheckpointView(
        card=card,
        state=_state(is_due, conflicting, owes),
        round=turn,
        reopened_by=reopened_by,
        reopenings=tuple(opened),
        owes=owes,
        first=first[-1] if first else None,
        second=second[-1] if second else None,
        third=third[-1] if third else None,
        first_given=bool(first),
        hidden=False,
        disagree=split,
        base=base_of(conflicting or following),
        conflicting=conflicting,
        earlier=tuple(_earlier(card.id, turn, answers)),
        may_repeat=_may_repeat(following, conflicting),
        excluded=excluded,
        standing=tuple((n, rows[-1].operation) for n, rows in enumerate((first, second, third), 1) if rows),
    )


def _owed(card: CheckpointCard, first: object, second: object, third: object, split: bool) -> tuple[int, ...]:
    """The inspections still to be given, when each of the others is there and the first two split or agree."""
    owed = [] if first else [1]
    if card.second_inspection:
        owed += [] if second else [2]
        owed += [3] if split and not third else []
    return tuple(owed)


def is_answered(card: CheckpointCard, turn: int, answers: Mapping[Slot, Light], conflicts: Collection[Slot]) -> bool:
    """Whether every inspection that the checkpoint asks is given in its round, without a conflict."""
    slots = [(card.id, turn, inspection) for inspection in (1, 2, 3)]
    first, second, third = (answers.get(slot) for slot in slots)
    split = bool(first and second) and disagree(first, second)  # type: ignore[arg-type]  # both are there
    return not _owed(card, first, second, third, split) and not any(slot in conflicts for slot in slots)


def _state(is_due: bool, conflicting: Sequence[AnswerView], owes: Sequence[int]) -> CheckpointState:
    if not is_due:
        return CheckpointState.NOT_DUE
    if conflicting:
        return CheckpointState.IN_CONFLICT
    return CheckpointState.OPEN if owes else CheckpointState.ANSWERED


def _earlier(checkpoint_id: int, turn: int, answers: Answers) -> Iterable[AnswerView]:
    for before in range(1, turn):
        rows = answers.get((checkpoint_id, before, 3)) or answers.get((checkpoint_id, before, 1)) or ()
        yield from rows[-1:]


def _may_repeat(following: Sequence[AnswerView], conflicting: Sequence[AnswerView]) -> bool:
    """Once, after an answer that does not pass; what followed a repeat may not be repeated again."""
    if conflicting or not following:
        return False
    return not following[-1].passes and following[-1].purpose == "reading"


def owes_second(view: CheckpointView) -> bool:
    """Whether the first answer has to stay hidden: the second inspection is still to be given."""
    return view.first_given and 2 in view.owes


# --------------------------------------------------------------------------------------------------- stages


def covers(operations: Iterable[UUID]) -> str:
    """What a stage's signature covers: SHA-256 over the sorted operation identifiers, one a line."""
    return digest("\n".join(sorted(map(str, operations))))


def stage_operations(
    stage_id: int,
    cards: Iterable[CheckpointCard],
    rounds: Mapping[int, tuple[int, str]],
    operations: Mapping[Slot, UUID],
) -> list[UUID]:
    """The operations that stand in a stage's slots of the current rounds."""
    found = []
    for card in cards:
        if card.stage_id == stage_id:
            turn = rounds.get(card.id, (1, ""))[0]
            found += [operations[slot] for n in (1, 2, 3) if (slot := (card.id, turn, n)) in operations]
    return found


def stage_view(
    card: StageCard,
    checkpoints: Sequence[CheckpointView],
    *,
    operations: Sequence[UUID],
    holds: Sequence[HoldCard],
    signed: SignOffRow | None,
    witness: WitnessCard | None = None,
) -> StageView:
    """The stage with its counts, its state and its latest signature."""
    wanted = [view for view in checkpoints if view.state is not CheckpointState.NOT_DUE]
    answered = [view for view in wanted if view.state is CheckpointState.ANSWERED]
    now = covers(operations)
    sign_off = sign_off_view(signed, now) if signed else None
    held = is_held(card.number, holds)
    deciding = [view.counts for view in wanted if view.counts]
    return StageView(
        card=card,
        state=stage_state_of(sign_off, held=held, complete=len(answered) == len(wanted)),
        held=held,
        due=len(wanted),
        answered=len(answered),
        failing=sum(not answer.passes for answer in deciding),
        near_limit=sum(answer.outcome == "near_limit" for answer in deciding),
        in_conflict=sum(view.state is CheckpointState.IN_CONFLICT for view in wanted),
        covers=now,
        sign_off=sign_off,
        checkpoints=tuple(checkpoints),
        witness=witness,
    )


def stage_state_of(sign_off: SignOffView | None, *, held: bool, complete: bool) -> StageState:
    """Signed as long as the signature covers what counts; otherwise a hold is named before completeness."""
    if sign_off and sign_off.valid:
        return StageState.SIGNED
    if sign_off:
        return StageState.CHANGED_SINCE_SIGNED
    if held:
        return StageState.HELD
    return StageState.COMPLETE if complete else StageState.OPEN


def is_held(stage_number: int, holds: Iterable[HoldCard]) -> bool:
    """Whether an open hold stands against signing the stage: the stages after the one that placed it wait."""
    return any(hold.from_stage is None or hold.from_stage < stage_number for hold in holds)


def sign_off_view(row: SignOffRow, covers_now: str) -> SignOffView:
    """The stored signature, valid while it covers the answers that count now."""
    return SignOffView(
        uuid=row.uuid,
        person_id=row.person_id,
        person_name=row.person_name,
        role=row.role,
        deputy_for_name=row.deputy_for_name,
        meaning=row.meaning,
        method=row.method,
        covers=row.covers,
        answers=row.answers,
        at=row.at,
        valid=row.covers == covers_now,
    )
