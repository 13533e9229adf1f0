"""What a plan for checking a lot by attributes says, and what a count found in its sample means."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal

from qcapp.core.errors import Invalid


@dataclass(frozen=True)
class SamplingPlan:
    """Check `sample_size` pieces; accept the lot up to `accept` found, do not accept it from `reject` on.

    `code_letter` belongs to the plan in use, `lot_letter` to the lot size; they differ where the table's
    arrow leads to another plan. `whole_lot` says that the plan asked for at least as many pieces as there
    are, so all are checked. `source` is the standard and table, or how the plan was computed.
    """

    code_letter: str | None
    sample_size: int
    accept: int
    reject: int
    lot_letter: str | None = None
    aql: Decimal | None = None
    severity: str = "normal"
    whole_lot: bool = False
    source: str = ""

    @property
    def counts_imperfections(self) -> bool:
        """Whether the AQL can only mean imperfections per 100 units (above 10), not percent nonconforming."""
        return self.aql is not None and self.aql > 10


@dataclass(frozen=True)
class LotDecision:
    """Whether the lot is accepted, and whether the count brings reduced inspection to an end."""

    accepted: bool
    back_to_normal: bool = False


def decide_lot(plan: SamplingPlan, found: int) -> LotDecision:
    """What `found` nonconforming pieces in the sample mean for the lot.

    Between the two numbers of a reduced plan the lot is accepted and the next one inspected normally
    (MIL-STD-105E 4.8.4). Raises Invalid `count_not_possible` for a count below zero or above the sample.
    """
    if found < 0 or (found > plan.sample_size and not plan.counts_imperfections):
        raise Invalid(
            "count_not_possible",
            f"{found} nonconforming in a sample of {plan.sample_size} is not possible; correct the count.",
            found=found,
        )
    reduced_ends = plan.severity == "reduced" and found > plan.accept
    return LotDecision(accepted=found < plan.reject, back_to_normal=reduced_ends)
