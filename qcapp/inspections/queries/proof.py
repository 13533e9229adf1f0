"""What of an inspection at hand does not count as proof: no query, for pages that have read the whole inspection."""

from __future__ import annotations

from collections.abc import Iterator

from ..states import NEAR_LIMIT, CheckpointState, Flag
from .shapes import AnswerView, CheckpointView, InspectionView, Unproven


def unproven_in(view: InspectionView) -> list[Unproven]:
    """As `unproven`, of the answers that the view shows: flagged, without a signed decision that accepts them."""
    return [
        _open(one, answer, flag, Flag(flag).sentence)
        for one in _due(view)
        for answer in one.given
        for flag in answer.flags
        if not _accepted(answer, flag)
    ]


def near_limit_in(view: InspectionView) -> list[Unproven]:
    """As `open_near_limit_critical`, of the answers that the view shows."""
    return [
        _open(one, one.counts, NEAR_LIMIT, f"{one.counts.described} is near its limit ({one.card.limits_text}).")
        for one in _due(view)
        if one.counts and one.counts.outcome == NEAR_LIMIT and one.card.criticality == "critical"
        if not _accepted(one.counts, NEAR_LIMIT)
    ]


def _due(view: InspectionView) -> Iterator[CheckpointView]:
    return (one for one in view.checkpoints if one.state is not CheckpointState.NOT_DUE)


def _accepted(answer: AnswerView, about: str) -> bool:
    decision = answer.decision_about(about)
    return decision is not None and decision.accepted


def _open(one: CheckpointView, answer: AnswerView, about: str, sentence: str) -> Unproven:
    return Unproven(
        operation=answer.operation,
        checkpoint_number=one.card.number,
        checkpoint_title=one.card.title,
        stage_number=one.card.stage_number,
        about=about,
        sentence=sentence,
        decided=answer.decision_about(about) is not None,
    )
