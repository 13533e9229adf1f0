"""What the maker declares, and by which decision rule the verdicts were made."""

from __future__ import annotations

from dataclasses import dataclass

from qcapp.certificates.release_checks import concession_for

from .record import Record

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
    not_due = len(standing.inspection.checkpoints) - len(due)
    return Statement(
        declaration=_declaration(record, permits),
        counts=_counts(len(due), len(conforming), near, permits, not_due),
        due=len(due),
        conforming=len(conforming),
        conceded=len(permits),
        near_limit=near,
        not_due=not_due,
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


def _counts(due: int, conforming: int, near: int, permits: list[str], not_due: int) -> str:
    parts = [f"{_checkpoints(due)} due and answered; {conforming} conform{'s' if conforming == 1 else ''}"]
    parts += [f"{near} of these near a limit"] if near else []
    parts += [f"{len(permits)} covered by {_list(sorted(set(permits)), 'concession')}"] if permits else []
    sampled = f" {_checkpoints(not_due)} not due on this unit: checked on samples." if not_due else ""
    return f"{', '.join(parts)}.{sampled}"


def _checkpoints(count: int) -> str:
    return "1 checkpoint was" if count == 1 else f"{count} checkpoints were"


def _list(numbers: list[str], word: str) -> str:
    return f"{word}{'s' if len(numbers) > 1 else ''} {', '.join(numbers)}"
