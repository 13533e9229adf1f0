"""What the maker declares, and by which decision rule the verdicts were made."""

from __future__ import annotations

from dataclasses import dataclass

from qcapp.certificates.release_checks import concession_for

from .record import Record

DECISION_RULE = (
    "Decision rule: simple acceptance. A value on a limit conforms, a value outside a limit does not. Where the gauge's "
    "expanded uncertainty U (k = 2) is known, a value inside the limits but within U of one is marked near limit "
    "(guard band w = U in the sense of ISO 14253-1); on critical checkpoints it was decided by a signed act before release."
)
LIMITS_OF_THE_STATEMENT = (
    "This is the maker's own declaration about the checkpoints listed. It is not a type approval. Local codes and the "
    "responsible licensed or qualified persons decide about use, changes and repairs."
)


@dataclass(frozen=True)
class Statement:
    """Counts, declaration, requirements, decision rule."""

    declaration: str
    due: int
    conforming: int
    conceded: int
    near_limit: int
    not_due: int
    decision_rule: str
    limits_of_the_statement: str
    released: str
    released_by: str


def build(record: Record) -> Statement:
    """The maker's statement, with numbers that are counted and not claimed."""
    standing = record.standing
    due = standing.due
    conforming = [one for one in due if one.counts is not None and one.counts.passes]
    conceded = [one for one in due if concession_for(one, standing.concessions) is not None]
    near = [one for one in conforming if one.counts is not None and one.counts.outcome == "near_limit"]
    return Statement(
        declaration=_declaration(record, len(due), len(conforming), len(conceded)),
        due=len(due),
        conforming=len(conforming),
        conceded=len(conceded),
        near_limit=len(near),
        not_due=len(standing.inspection.checkpoints) - len(due),
        decision_rule=DECISION_RULE,
        limits_of_the_statement=LIMITS_OF_THE_STATEMENT,
        released=record.moment(record.released_at),
        released_by=_signatory(record),
    )


def _declaration(record: Record, due: int, conforming: int, conceded: int) -> str:
    unit, plan = record.standing.inspection.unit, record.standing.inspection.revision
    requirements = f"inspection plan {plan.family_code} revision {plan.letter} and the drawings it cites"
    text = f"We declare that {unit.family_name} {unit.serial} conforms to {requirements}"
    if conceded:
        text += f", with the exception of {conceded} checkpoint{'s' if conceded > 1 else ''} covered by concession"
    return f"{text}. {due} checkpoints were due and answered; {conforming} conform."


def _signatory(record: Record) -> str:
    role = record.released_role.replace("_", " ")
    deputy = f", deputy for {record.released_deputy_for}" if record.released_deputy_for else ""
    return f"{record.released_by}, {role}{deputy}"
