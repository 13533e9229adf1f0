"""A sampling plan for a lot, and what it is worth: how often it accepts lots of a given quality."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from qcapp.core.statistics.sampling import (
    SamplingPlan,
    acceptance_probability,
    operating_characteristic,
    quality_at,
    single_plan,
)
from qcapp.core.statistics.sampling_tables import LEVELS, TABLE_NAMES, acceptance_levels

SEVERITIES = tuple(TABLE_NAMES)
AQLS = tuple(str(aql) for aql in acceptance_levels())
CAUTION = "Critical checkpoints are never sampled: every piece is checked."
POINTS = 80
LARGEST_BINOMIAL_SAMPLE, LARGEST_BINOMIAL_AQL = 80, 10
"""Up to these MIL-STD-105E computed its tables with the binomial, beyond them with the Poisson."""

_PROBABILITIES = (0.99, 0.95, 0.90, 0.50, 0.10, 0.05)
_COUNTS = (0, 1, 2, 3, 5, 8, 12, 20, 30, 50)
Model = Literal["binomial", "poisson"]

__all__ = ["AQLS", "CAUTION", "LEVELS", "SEVERITIES", "Lot", "lot_plan"]


@dataclass(frozen=True)
class Quality:
    """A probability of acceptance, and the quality of a lot that has it, both in percent (or per 100 units)."""

    probability: float
    quality: float


@dataclass(frozen=True)
class Count:
    """How many of this very lot are nonconforming, and how often the plan accepts it, in percent."""

    nonconforming: int
    probability: float


@dataclass(frozen=True)
class Lot:
    """The plan for a lot. `curve` holds quality and probability of acceptance, both in percent."""

    lot_size: int
    level: str
    plan: SamplingPlan
    model: Model
    curve: tuple[tuple[float, float], ...]
    qualities: tuple[Quality, ...]
    counts: tuple[Count, ...]

    @property
    def headline(self) -> str:
        """`Check 13 of 100`."""
        return f"Check {self.plan.sample_size} of {self.lot_size}"

    @property
    def measure(self) -> str:
        """What the quality is counted in."""
        return "imperfections per 100 units" if self.plan.counts_imperfections else "% nonconforming"

    @property
    def sentence(self) -> str:
        """What to do with a count, in words."""
        plan = self.plan
        what = "imperfections" if plan.counts_imperfections else "nonconforming"
        if plan.reject == plan.accept + 1:
            return f"Accept the lot with {plan.accept} {what} in the sample, do not accept it from {plan.reject} on."
        return (
            f"Accept the lot with {plan.accept} {what} in the sample, do not accept it from {plan.reject} on; with a "
            "count between the two accept it and inspect the next lot normally."
        )

    @property
    def notes(self) -> tuple[str, ...]:
        """What to know about how the plan was found."""
        plan, notes = self.plan, []
        if plan.whole_lot:
            notes.append("The plan asks for at least as many pieces as there are, so every piece is checked.")
        elif plan.code_letter != plan.lot_letter:
            notes.append(
                f"The table's arrow leads from code letter {plan.lot_letter} to {plan.code_letter}, "
                f"with a sample of {plan.sample_size}."
            )
        if plan.severity == "reduced":
            notes.append("ISO 2859-1:1999 has another reduced table; this is the one of MIL-STD-105E.")
        return tuple(notes)

    @property
    def copy_text(self) -> str:
        return f"Lot of {self.lot_size}, level {self.level}, AQL {self.plan.aql}, {self.plan.severity}: " + (
            f"check {self.plan.sample_size}, accept {self.plan.accept}, reject {self.plan.reject} ({self.plan.source})"
        )


def lot_plan(lot_size: int, *, level: str = "II", aql: str, severity: str = "normal") -> Lot:
    """The plan of MIL-STD-105E with its operating characteristic. Raises Invalid as `single_plan` does."""
    plan = single_plan(lot_size, level=level, aql=aql, severity=severity)
    model = _model(plan)
    reach = quality_at(plan, 0.02, model=model)
    shares = [reach * step / POINTS for step in range(POINTS + 1)]
    curve = operating_characteristic(plan, shares, model=model)
    return Lot(
        lot_size=lot_size,
        level=level,
        plan=plan,
        model=model,
        curve=tuple((100 * share, 100 * probability) for share, probability in curve),
        qualities=tuple(Quality(100 * p, 100 * quality_at(plan, p, model=model)) for p in _PROBABILITIES),
        counts=tuple(_counts(plan, lot_size)),
    )


def _model(plan: SamplingPlan) -> Model:
    small = plan.sample_size <= LARGEST_BINOMIAL_SAMPLE and plan.aql is not None and plan.aql <= LARGEST_BINOMIAL_AQL
    return "binomial" if small else "poisson"


def _counts(plan: SamplingPlan, lot_size: int) -> list[Count]:
    """How often this plan accepts this very lot, up to the count at which it hardly ever does."""
    if plan.counts_imperfections:
        return []
    rows: list[Count] = []
    for count in _COUNTS:
        if count > lot_size or (rows and rows[-1].probability < 2):
            break
        rows.append(Count(count, 100 * acceptance_probability(plan, count / lot_size, lot_size)))
    return rows
