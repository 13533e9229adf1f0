"""Which unit, which paper, which plan."""

from __future__ import annotations

from dataclasses import dataclass

from .record import Record


@dataclass(frozen=True)
class Document:
    """A drawing or specification with its revision."""

    kind: str
    number: str
    revision: str


@dataclass(frozen=True)
class Identity:
    """The head of the certificate (object, number and issuer: ISO/IEC 17050-1, clause 6, names these fields)."""

    number: str
    issue: int
    issued: str
    issued_by: str
    change_note: str
    check_address: str
    maker: str
    place: str
    zone: str
    demonstration: bool
    serial: str
    family_code: str
    family_name: str
    variant: str
    order_number: str
    plan_revision: str
    documents: tuple[Document, ...]
    chain_number: int
    chain_digest: str
    kind: str  # one of choices.KINDS
    language: str  # of the paper unless another one is asked for
    paper: str
    lengths: str
    issued_at: str  # RFC 3339, for machines
    signing_fingerprint: str  # SHA-256 of the certificate whose key signs the file
    logo: str  # the maker's, as kept; empty without one
    logo_digest: str
    logo_type: str


def build(record: Record) -> Identity:
    """The head of the certificate."""
    unit, plan = record.standing.inspection.unit, record.standing.inspection.revision
    return Identity(
        **record.fields(),
        serial=unit.serial,
        family_code=unit.family_code,
        family_name=unit.family_name,
        variant=unit.variant,
        order_number=unit.order_number,
        plan_revision=plan.letter,
        documents=tuple(Document(one.kind, one.number, one.revision) for one in plan.documents),
        kind=record.choice.kind,
        language=record.choice.language,
        paper=record.choice.paper,
        lengths=record.choice.lengths,
    )
