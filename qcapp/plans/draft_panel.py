"""The panel beside the table: the band of one row, where its limits come from, and its formula tried on samples."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

from qcapp.core import formulas
from qcapp.core.checkpoints.derived import Derived, DerivedSpec
from qcapp.core.errors import Invalid
from qcapp.core.metrology.quantities import parse_value

from .cards import CheckpointCard
from .draft_rows import DraftRow
from .draft_table import Cell, DraftTable
from .gauge_fit import Fit


@dataclass(frozen=True)
class Input:
    """One value that a formula reads; `text` is the sample."""

    key: str
    number: str
    title: str
    text: str
    unit_of_measure: str


@dataclass(frozen=True)
class Panel:
    """One row in full. `card` is None while the row cannot be read; `problems` says why."""

    row: DraftRow
    card: CheckpointCard | None
    details: tuple[Cell, ...]
    problems: tuple[str, ...]
    advice: tuple[str, ...]
    fit: Fit | None
    inputs: tuple[Input, ...] = ()
    value: Decimal | None = None
    outcome: str = ""
    trouble: str = ""

    @property
    def spec(self) -> Any:
        return self.card.spec if self.card else None


def panel_of(table: DraftTable, row_id: int, samples: Mapping[str, str] | None = None) -> Panel | None:
    """The panel of a row; None when it is gone. Samples that are not given are nominals, or the middle of bands."""
    row = table.read.paper.row(row_id)
    if row is None:
        return None
    card = table.card(row)
    inputs, value, outcome, trouble = _tried(table, card, samples or {})
    return Panel(
        row=row,
        card=card,
        details=tuple(table.details(row)),
        problems=tuple(finding.message for finding in table.read.findings.get(row.id, ())),
        advice=tuple(found.message for found in table.advice.get(row.key, ())),
        fit=table.fits.get(row.key) if card else None,
        inputs=inputs,
        value=value,
        outcome=outcome,
        trouble=trouble,
    )


def _tried(
    table: DraftTable, card: CheckpointCard | None, samples: Mapping[str, str]
) -> tuple[tuple[Input, ...], Decimal | None, str, str]:
    spec = card.spec if card else None
    if not isinstance(spec, DerivedSpec):
        return (), None, "", ""
    inputs = tuple(_input(table, key, samples.get(key)) for key in formulas.references(spec.formula))
    try:
        values = {one.key: parse_value(one.text) for one in inputs}
        answer = Derived.compute(spec, values)
        assessed = Derived.assess(answer, spec)
    except Invalid as refusal:
        return inputs, None, "", refusal.message
    return inputs, answer.number(), str(assessed.outcome), ""


def _input(table: DraftTable, key: str, sample: str | None) -> Input:
    card = table.cards.get(key)
    band = getattr(card.spec, "band", None) if card else None
    text = sample if sample is not None else _middle(band)
    return Input(
        key, table.numbers.get(key, ""), card.title if card else key, text, card.unit_of_measure if card else ""
    )


def _middle(band: Any) -> str:
    if band is None:
        return "0"
    if band.nominal is not None:
        return str(band.nominal)
    if band.lower is not None and band.upper is not None:
        return str((band.lower + band.upper) / 2)
    return str(band.lower if band.upper is None else band.upper)
