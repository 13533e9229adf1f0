"""What the maker declares, and by which decision rule the verdicts were made."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from qcapp.certificates.release_checks import concession_for

from .record import Record

if TYPE_CHECKING:
    from qcapp.inspections.queries import CheckpointView

DECISION_RULE = (
    "Decision rule: simple acceptance. A value on a limit conforms, a value outside a limit does not. A value inside "
    "the limits is marked near limit where it lies within the expanded uncertainty U of its gauge from a limit (guard "
    "band w = U in the sense of ISO 14253-1), or within the guard zone that the plan states; on critical checkpoints a "
    "signed act decided about it before release. The mark never turns conformity into nonconformity."
)
LIMITS_OF_THE_STATEMENT = (
    "This is the maker's own declaration about the checkpoints listed. It is not a type approval. Local codes and the "
    "responsible licensed or qualified persons decide about use, changes and repairs."
)


@dataclass(frozen=True)
class Statement:
    """Counts, declaration, requirements, decision rule."""

    declaration: str
    counts: str
    due: int
    conforming: int
    conceded: int
    near_limit: int
    not_due: int
    decision_rule: str
    limits_of_the_statement: str
    released: str
    released_by: str
    function: str
    concessions: tuple[str, ...]


def build(record: Record) -> Statement:
    """The maker's statement, with numbers that are counted and not claimed."""
    standing = record.standing
    due = standing.due
    conforming = [one for one in due if one.counts is not None and one.counts.passes]
    permits = [found.number for one in due if (found := concession_for(one, standing.concessions))]
    near = sum(one.counts is not None and one.counts.outcome == "near_limit" for one in conforming)
    left_out = [one for one in standing.inspection.checkpoints if one.state == "not_due"]
    return Statement(
        declaration=_declaration(record, permits),
        counts=_counts(len(due), len(conforming), near, permits) + _left_out(left_out),
        due=len(due),
        conforming=len(conforming),
        conceded=len(permits),
        near_limit=near,
        not_due=len(left_out),
        decision_rule=DECISION_RULE,
        limits_of_the_statement=LIMITS_OF_THE_STATEMENT,
        released=record.moment(record.released_at),
        released_by=record.released_by,
        function=record.released_function,
        concessions=tuple(sorted(set(permits))),
    )


def _declaration(record: Record, permits: list[str]) -> str:
    unit, plan = record.standing.inspection.unit, record.standing.inspection.revision
    text = (
        f"We declare that the {unit.family_name} {unit.serial} conforms to inspection plan {plan.family_code} revision "
        f"{plan.letter} and to the drawings and specifications that it cites"
    )
    if permits:
        text += f", except where {_list(sorted(set(permits)), 'concession')} permits otherwise"
    return f"{text}."


def _counts(due: int, conforming: int, near: int, permits: list[str]) -> str:
    parts = [f"{_checkpoints(due)} due and answered; {conforming} conform{'s' if conforming == 1 else ''}"]
    parts += [f"{near} of these near a limit"] if near else []
    parts += [f"{len(permits)} covered by {_list(sorted(set(permits)), 'concession')}"] if permits else []
    return f"{', '.join(parts)}."


def _left_out(left_out: list[CheckpointView]) -> str:
    """Why checkpoints of the plan were not asked, each counted once."""
    decided = sum(one.excluded is not None for one in left_out)
    other = sum(one.excluded is None and one.card.frequency == "every" for one in left_out)
    sampled = len(left_out) - decided - other
    text = f" {_checkpoints(sampled)} not due on this unit: checked on samples." if sampled else ""
    text += f" {_checkpoints(other)} not due on this unit: for another variant." if other else ""
    return text + (f" {_checkpoints(decided)} decided not to apply to this unit." if decided else "")


def _checkpoints(count: int) -> str:
    return "1 checkpoint was" if count == 1 else f"{count} checkpoints were"


def _list(numbers: list[str], word: str) -> str:
    return f"{word}{'s' if len(numbers) > 1 else ''} {', '.join(numbers)}"
