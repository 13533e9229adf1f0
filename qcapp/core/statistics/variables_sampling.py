"""Checking a lot by variables: mean and standard deviation of a sample against the limits, after MIL-STD-414.

For one limit the quality index Q = (limit - mean)/s must reach k. For two limits the estimated percentages
beyond each are added and must not exceed M. Both presume a normal distribution; a sample that is plainly
not normal must be checked by attributes.
"""

from __future__ import annotations

import math
from bisect import bisect_right
from dataclasses import dataclass
from decimal import Decimal, InvalidOperation
from typing import TYPE_CHECKING

from qcapp.core.errors import Invalid
from qcapp.core.statistics.distributions import beta_below, noncentral_student_below, normal_quantile
from qcapp.core.statistics.variables_tables import (
    ARROW,
    UNKNOWN,
    VARIABLES_LEVELS,
    VARIABLES_STANDARD,
    K,
    M,
    variables_cells,
    variables_letter_rows,
    variables_sample_sizes,
)

if TYPE_CHECKING:
    from qcapp.core.statistics.readings import Limits, Values


@dataclass(frozen=True)
class VariablesPlan:
    """Measure `sample_size` pieces; `k` is the least quality index for one limit, `max_percent` (M) the
    largest estimated percentage nonconforming. `lot_letter` is the letter of the lot size, `code_letter`
    that of the plan in use after the table's arrows. `whole_lot` says that every piece is to be
    measured."""

    code_letter: str
    sample_size: int
    k: float
    max_percent: float
    lot_letter: str
    aql: Decimal
    whole_lot: bool
    source: str


@dataclass(frozen=True)
class VariablesDecision:
    """Quality indices and estimated percentages nonconforming beyond each limit (None for an open side)."""

    accepted: bool
    quality_lower: float | None
    quality_upper: float | None
    percent_lower: float
    percent_upper: float
    mean: float
    standard_deviation: float

    @property
    def percent(self) -> float:
        return self.percent_lower + self.percent_upper


def variables_plan_k(lot_size: int, *, level: str = "IV", aql: Decimal | str | int | float) -> VariablesPlan:
    """The plan of MIL-STD-414 (normal inspection, standard deviation unknown) for a lot.

    Raises Invalid `unknown_inspection_level`, `lot_too_small` (under 3), `unknown_aql`,
    `code_letter_not_covered` (lots so large that they need letters M to Q).
    """
    letter = _letter(lot_size, level)
    column = _column(aql)
    table, sizes = variables_cells(K), variables_sample_sizes()
    letters = list(sizes)
    if letter not in sizes:
        raise Invalid(
            "code_letter_not_covered",
            f"A lot of {lot_size} at level {level} needs code letter {letter} and the table here ends at "
            f"{letters[-1]}; split the lot or choose a lower level.",
        )
    place = letters.index(letter)
    while table[(letters[place], column)] == ARROW:
        place += 1
    found = letters[place]
    k = float(table[(found, column)])
    return VariablesPlan(
        found,
        min(sizes[found], lot_size),
        k,
        _max_percent(found, column, k, sizes[found]),
        letter,
        column,
        sizes[found] >= lot_size,
        f"{VARIABLES_STANDARD} Tables A-2, B-1 and B-3",
    )


def _letter(lot_size: int, level: str) -> str:
    if level not in VARIABLES_LEVELS:
        raise Invalid(
            "unknown_inspection_level",
            f"There is no inspection level {level}; choose among {', '.join(VARIABLES_LEVELS)}.",
            possible=list(VARIABLES_LEVELS),
        )
    rows = variables_letter_rows()
    if lot_size < rows[0][0]:
        raise Invalid(
            "lot_too_small",
            f"A lot of {lot_size} is outside the table, which starts at {rows[0][0]}; check each piece.",
            lot_size=lot_size,
        )
    return rows[bisect_right([start for start, _ in rows], lot_size) - 1][1][level]


def _column(aql: Decimal | str | int | float) -> Decimal:
    columns = sorted({column for _, column in variables_cells(K)})
    try:
        wanted = Decimal(str(aql))
    except InvalidOperation:
        wanted = Decimal("NaN")
    for column in columns:
        if column == wanted:
            return column
    known = ", ".join(str(column) for column in columns)
    raise Invalid("unknown_aql", f"There is no AQL of {aql} in the table; it has {known}.", aql=str(aql))


def _max_percent(letter: str, aql: Decimal, k: float, sample_size: int) -> float:
    cell = variables_cells(M)[(letter, aql)]
    return estimated_percent(k, sample_size) if cell == UNKNOWN else float(cell)


def estimated_percent(quality_index: float, sample_size: int) -> float:
    """Estimated percentage beyond a limit that lies `quality_index` standard deviations from the sample's
    mean.

    The minimum-variance unbiased estimate 100·I_x(n/2 - 1, n/2 - 1) with x = 1/2 - Q·√n / (2(n - 1)), kept
    between 0 and 1 (Lieberman and Resnikoff 1955). Raises Invalid `sample_too_small` under three.
    """
    if sample_size < 3:
        raise Invalid("sample_too_small", "The estimate needs a sample of three or more pieces.")
    x = 0.5 - quality_index * math.sqrt(sample_size) / (2.0 * (sample_size - 1))
    shape = sample_size / 2.0 - 1.0
    return 100.0 * beta_below(min(1.0, max(0.0, x)), shape, shape)


def decide_by_variables(values: Values, band: Limits, plan: VariablesPlan) -> VariablesDecision:
    """Whether the sample accepts the lot: by k for one limit, by M for two.

    Raises Invalid `sample_not_as_planned` when the number of values is not the plan's; Refused `no_spread`
    when all values are equal.
    """
    from qcapp.core.statistics.moments import moments, require_spread
    from qcapp.core.statistics.readings import working_limits

    if len(values) != plan.sample_size:
        raise Invalid(
            "sample_not_as_planned",
            f"The plan asks for {plan.sample_size} values and there are {len(values)}; measure as planned.",
        )
    lower, upper = working_limits(band)
    sample = moments(values)
    require_spread(sample.standard_deviation)
    q_lower = None if lower is None else (sample.mean - lower) / sample.standard_deviation
    q_upper = None if upper is None else (upper - sample.mean) / sample.standard_deviation
    percents = [0.0 if q is None else estimated_percent(q, sample.n) for q in (q_lower, q_upper)]
    indices = [q for q in (q_lower, q_upper) if q is not None]
    accepted = indices[0] >= plan.k if len(indices) == 1 else sum(percents) <= plan.max_percent
    return VariablesDecision(
        accepted, q_lower, q_upper, percents[0], percents[1], sample.mean, sample.standard_deviation
    )


def variables_acceptance_probability(sample_size: int, k: float, fraction: float) -> float:
    """Probability that a one-limit plan (n, k) accepts a normal lot with this share nonconforming.

    The quality index times √n has a noncentral t distribution with n - 1 degrees of freedom.
    Raises Invalid `fraction_out_of_range` unless 0 < fraction < 1.
    """
    if not 0.0 < fraction < 1.0:
        raise Invalid("fraction_out_of_range", f"A share of {fraction} is not possible; give one between 0 and 1.")
    root = math.sqrt(sample_size)
    away = -normal_quantile(fraction)
    return 1.0 - noncentral_student_below(k * root, sample_size - 1, away * root)
