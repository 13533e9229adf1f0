"""A gauge's uncertainty budget: components with their distribution and divisor, combined by the core (GUM)."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import asdict, dataclass
from decimal import Decimal

from qcapp.core.errors import Invalid
from qcapp.core.metrology.uncertainty import CombinedUncertainty, Component, combine, from_expanded, from_half_width

SHAPES = {"rectangular": 3, "triangular": 6, "u_shaped": 2}  # the divisor is the square root
NORMAL = "normal"
DISTRIBUTIONS = (NORMAL, *SHAPES)
MOST_LINES, LONGEST_NAME = 20, 80


@dataclass(frozen=True)
class Line:
    """One component as typed, in the gauge's unit of measure.

    `value` is the half-width of a limit, or with "normal" an expanded value that `divisor` belongs to. `divisor` of
    the other distributions is theirs. `sensitivity` turns it into the gauge's unit where it is in another.
    """

    name: str
    value: Decimal
    distribution: str = NORMAL
    divisor: Decimal = Decimal(1)
    sensitivity: Decimal = Decimal(1)

    @property
    def divisor_text(self) -> str:
        """As it is written in a budget: "2", "√3"."""
        return f"√{SHAPES[self.distribution]}" if self.distribution in SHAPES else format(self.divisor, "f")

    @property
    def standard(self) -> float:
        """Standard uncertainty of the component, before its sensitivity."""
        if self.distribution in SHAPES:
            return from_half_width(self.value, self.distribution)  # type: ignore[arg-type]  # one of SHAPES
        return from_expanded(self.value, self.divisor)

    def to_json(self) -> dict[str, str]:
        return {name: format(one, "f") if isinstance(one, Decimal) else one for name, one in asdict(self).items()}


def line_from(told: dict[str, str]) -> Line:
    """The line as kept."""
    numbers = {name: Decimal(told[name]) for name in ("value", "divisor", "sensitivity")}
    return Line(told["name"], distribution=told["distribution"], **numbers)


def combined(lines: Sequence[Line]) -> CombinedUncertainty:
    """The lines combined, expanded with k = 2 (95.45 %).

    Raises Invalid `budget_empty`, `budget_line`, and as the core.
    """
    if not 1 <= len(lines) <= MOST_LINES:
        raise Invalid("budget_empty", f"A budget has from 1 to {MOST_LINES} components.")
    for place, line in enumerate(lines, start=1):
        numbers = (line.value, line.divisor, line.sensitivity)
        plain = all(one.is_finite() and abs(one) < Decimal(10) ** 12 for one in numbers)
        if not line.name.strip() or line.distribution not in DISTRIBUTIONS or not plain:
            message = f"Component {place} needs a name, a plain number and one of {', '.join(DISTRIBUTIONS)}."
            raise Invalid("budget_line", message)
    return combine([Component(line.standard, math.inf, float(line.sensitivity), line.name) for line in lines])


def rounded_up(expanded: float) -> Decimal:
    """Two digits, never rounded down (GUM 7.2.6 permits rounding up)."""
    if expanded <= 0:
        return Decimal(0)
    step = Decimal(1).scaleb(math.floor(math.log10(expanded)) - 1)
    return Decimal(repr(expanded)).quantize(step, rounding="ROUND_UP").normalize()
