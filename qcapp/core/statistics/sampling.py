"""Which of a lot or batch to check: how many pieces, how many of them may be nonconforming.

    >>> single_plan(100, aql="1.0").sample_size
    13

Single sampling by attributes after MIL-STD-105E. What a plan is worth stands in `operating`, how to move
between normal, tightened and reduced inspection in `switching`, checking by variables in
`variables_sampling`; the names that callers use are reached through here.
"""

from __future__ import annotations

import math
from bisect import bisect_right
from decimal import Decimal, InvalidOperation

from qcapp.core.errors import Invalid
from qcapp.core.statistics.operating import acceptance_probability, operating_characteristic, quality_at
from qcapp.core.statistics.sampling_plan import LotDecision, SamplingPlan, decide_lot
from qcapp.core.statistics.sampling_tables import (
    ATTRIBUTE_STANDARD,
    DOWN,
    LEVELS,
    TABLE_NAMES,
    acceptance_levels,
    cells,
    code_letter_rows,
    sample_sizes,
)
from qcapp.core.statistics.switching import LotResult, Severity, Switching, next_severity, switching
from qcapp.core.statistics.variables_sampling import VariablesPlan, decide_by_variables, variables_plan_k

__all__ = [
    "LotDecision",
    "LotResult",
    "SamplingPlan",
    "Severity",
    "Switching",
    "VariablesPlan",
    "acceptance_probability",
    "code_letter",
    "decide_by_variables",
    "decide_lot",
    "next_severity",
    "operating_characteristic",
    "plan_for_letter",
    "quality_at",
    "single_plan",
    "switching",
    "variables_plan_k",
    "zero_acceptance",
]

Aql = Decimal | str | int | float


def single_plan(lot_size: int, *, level: str = "II", aql: Aql, severity: str = "normal") -> SamplingPlan:
    """The plan of MIL-STD-105E for a lot; arrows are followed, and a sample as large as the lot checks all
    of it.

    Raises Invalid `lot_too_small` (under 2), `unknown_inspection_level`, `unknown_severity`, `unknown_aql`.
    """
    letter = code_letter(lot_size, level=level)
    plan = plan_for_letter(letter, aql=aql, severity=severity)
    if plan.sample_size < lot_size:
        return plan
    return SamplingPlan(
        plan.code_letter,
        lot_size,
        plan.accept,
        plan.reject,
        lot_letter=letter,
        aql=plan.aql,
        severity=plan.severity,
        whole_lot=True,
        source=f"{plan.source}; the sample is not smaller than the lot, so every piece is checked",
    )


def code_letter(lot_size: int, *, level: str = "II") -> str:
    """The sample size code letter of Table I. Raises Invalid `lot_too_small`, `unknown_inspection_level`."""
    if level not in LEVELS:
        raise Invalid(
            "unknown_inspection_level",
            f"There is no inspection level {level}; choose among {', '.join(LEVELS)}.",
            possible=list(LEVELS),
        )
    rows = code_letter_rows()
    if lot_size < rows[0][0]:
        raise Invalid(
            "lot_too_small",
            f"A lot of {lot_size} is outside the table, which starts at {rows[0][0]}; check each piece.",
            lot_size=lot_size,
        )
    return rows[bisect_right([start for start, _ in rows], lot_size) - 1][1][level]


def plan_for_letter(letter: str, *, aql: Aql, severity: str = "normal") -> SamplingPlan:
    """The plan that a code letter leads to in the master table, after its arrows.

    Raises Invalid `unknown_code_letter`, `unknown_severity`, `unknown_aql`.
    """
    if severity not in TABLE_NAMES:
        raise Invalid(
            "unknown_severity",
            f"There is no {severity} inspection; choose normal, tightened or reduced.",
            possible=list(TABLE_NAMES),
        )
    sizes = sample_sizes(severity)
    if letter not in sizes or letter == "S":  # S is only ever reached by an arrow
        raise Invalid("unknown_code_letter", f"There is no code letter {letter}; the table has A to R.")
    column = _column(aql)
    found = _follow_arrows(letter, column, severity)
    accept, reject = _numbers(cells(severity)[(found, column)])
    return SamplingPlan(
        found,
        sizes[found],
        accept,
        reject,
        lot_letter=letter,
        aql=column,
        severity=severity,
        source=f"{ATTRIBUTE_STANDARD} {TABLE_NAMES[severity]}",
    )


def _follow_arrows(letter: str, aql: Decimal, severity: str) -> str:
    table, letters = cells(severity), list(sample_sizes(severity))
    place = letters.index(letter)
    step = 1 if table[(letter, aql)] == DOWN else -1
    while not table.get((letters[place], aql), DOWN)[0].isdigit():
        place += step
    return letters[place]


def _numbers(cell: str) -> tuple[int, int]:
    accept, _, reject = cell.partition("/")
    return int(accept), int(reject) if reject else int(accept) + 1


def _column(aql: Aql) -> Decimal:
    try:
        wanted = Decimal(str(aql))
    except InvalidOperation:
        wanted = Decimal("NaN")
    for column in acceptance_levels():
        if column == wanted:
            return column
    known = ", ".join(str(column) for column in acceptance_levels())
    raise Invalid("unknown_aql", f"There is no AQL of {aql} in the table; it has {known}.", aql=str(aql))


def zero_acceptance(lot_size: int | None, limiting_quality: float, risk: float) -> SamplingPlan:
    """The smallest sample without a nonconforming piece that proves the lot better than `limiting_quality`.

    A lot of exactly that quality, or worse, passes with a probability of at most `risk`. With a lot size
    the count is hypergeometric and a lot at least that bad holds limiting_quality × lot_size nonconforming
    pieces, rounded up; without one it is binomial (success run: (1 - p)^n <= risk). Raises Invalid
    `limiting_quality_out_of_range`, `risk_out_of_range`, `lot_too_small`.
    """
    _require_open_fraction("limiting_quality", limiting_quality)
    _require_open_fraction("risk", risk)
    if lot_size is None:
        size = math.ceil(math.log(risk) / math.log1p(-limiting_quality) - 1e-9)
        how = "zero acceptance number, binomial"
    else:
        if lot_size < 1:
            raise Invalid("lot_too_small", f"A lot of {lot_size} has nothing to check.", lot_size=lot_size)
        size = _smallest_clean_sample(lot_size, math.ceil(limiting_quality * lot_size - 1e-9), risk)
        how = "zero acceptance number, hypergeometric"
    return SamplingPlan(None, size, 0, 1, whole_lot=size == lot_size, source=how)


def _smallest_clean_sample(lot_size: int, nonconforming: int, risk: float) -> int:
    """Draw piece by piece until a sample without a nonconforming one is unlikely enough."""
    clean, drawn = 1.0, 0
    while clean > risk * (1.0 + 1e-12):
        clean *= (lot_size - nonconforming - drawn) / (lot_size - drawn)
        drawn += 1
    return drawn


def _require_open_fraction(name: str, value: float) -> None:
    if not 0.0 < value < 1.0:
        raise Invalid(
            f"{name}_out_of_range",
            f"The {name.replace('_', ' ')} is {value}; give a fraction between 0 and 1 (5 percent is 0.05).",
            value=value,
        )
