"""Where a value meets its band: the only place in the project that gives a verdict on a measured value.

Two decision rules. `simple`: the limits themselves decide, and a value on a limit is inside. `guarded`: the
default rule of ISO 14253-1 for proving conformity (1998 and 2013 editions: guard band w = U; the 2017
edition's default for a 95 % conformance probability is w = 1.65 u, which the caller passes in as
`expanded_uncertainty`); the acceptance zone is the band reduced by w at each side that is not a natural
boundary. Under both rules: outside a limit is always out of band; inside the limits but not in the acceptance
zone is near limit; the ends of the acceptance zone belong to it.
"""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Context, Decimal
from enum import StrEnum
from typing import TYPE_CHECKING, Final, Literal

from qcapp.core.errors import Invalid
from qcapp.core.metrology.bands import Band
from qcapp.core.metrology.notations import Side

if TYPE_CHECKING:
    import numpy
    from numpy.typing import NDArray

Rule = Literal["simple", "guarded"]


class Verdict(StrEnum):
    IN_BAND = "in_band"
    NEAR_LIMIT = "near_limit"
    OUT_OF_BAND = "out_of_band"


VERDICTS: Final = (Verdict.IN_BAND, Verdict.NEAR_LIMIT, Verdict.OUT_OF_BAND)
"""Order of the numbers that `judge_many` answers with: 0, 1, 2."""


@dataclass(frozen=True, slots=True)
class Judgement:
    """The verdict and what stands beside it on the screen.

    `deviation` is value minus nominal (None without nominal), `excess` how far outside the limits, else zero.
    `nearest_limit` is the limit broken, or else the one with less distance left ('upper' when both are as
    far); a natural boundary counts only when it is broken. None when no limit is left to name.
    """

    verdict: Verdict
    deviation: Decimal | None
    excess: Decimal
    nearest_limit: Side | None


_ZERO: Final = Decimal(0)
# Differences of the longest numbers are exact in here; the thread's own context has only 28 digits.
_EXACT: Final = Context(prec=250)


def judge(
    value: Decimal,
    band: Band,
    *,
    expanded_uncertainty: Decimal | None = None,
    rule: Rule = "simple",
) -> Judgement:
    """Verdict on one value. `guarded` needs `expanded_uncertainty` in the band's unit of measure.

    Raises `Invalid`: `value_not_decimal` (a float or NaN was passed), `rule_unknown`, `uncertainty_missing`,
    `uncertainty_negative`.
    """
    if not isinstance(value, Decimal) or not value.is_finite():
        raise Invalid("value_not_decimal", "A verdict needs a plain decimal number; read the text with parse_value.")
    guard = _guard(band, expanded_uncertainty, rule)
    subtract = _EXACT.subtract
    nominal = band.nominal
    deviation = None if nominal is None else subtract(value, nominal)
    lower, upper = band.lower, band.upper
    if lower is not None and value < lower:
        return Judgement(Verdict.OUT_OF_BAND, deviation, subtract(lower, value), "lower")
    if upper is not None and value > upper:
        return Judgement(Verdict.OUT_OF_BAND, deviation, subtract(value, upper), "upper")
    natural = band.natural
    below = None if lower is None or "lower" in natural else subtract(value, lower)
    above = None if upper is None or "upper" in natural else subtract(upper, value)
    near = (below is not None and below < guard) or (above is not None and above < guard)
    verdict = Verdict.NEAR_LIMIT if near else Verdict.IN_BAND
    return Judgement(verdict, deviation, _ZERO, _nearest(below, above))


def _guard(band: Band, expanded_uncertainty: Decimal | None, rule: Rule) -> Decimal:
    if rule == "simple":
        return band.guard
    if rule != "guarded":
        raise Invalid("rule_unknown", "The decision rule is 'simple' or 'guarded'.")
    if expanded_uncertainty is None:
        raise Invalid(
            "uncertainty_missing",
            "The guarded rule needs the expanded uncertainty of the measurement; record it with the gauge.",
        )
    if not isinstance(expanded_uncertainty, Decimal) or not expanded_uncertainty.is_finite():
        raise Invalid("value_not_decimal", "The expanded uncertainty must be a plain decimal number.")
    if expanded_uncertainty < 0:
        raise Invalid(
            "uncertainty_negative",
            "The expanded uncertainty cannot be below zero; correct the gauge's record.",
        )
    return expanded_uncertainty


def _nearest(below: Decimal | None, above: Decimal | None) -> Side | None:
    if below is None:
        return None if above is None else "upper"
    return "lower" if above is None or below < above else "upper"


def judge_many(
    values_scaled: NDArray[numpy.int64],
    band: Band,
    decimals: int,
    *,
    expanded_uncertainty: Decimal | None = None,
    rule: Rule = "simple",
) -> NDArray[numpy.int8]:
    """Verdicts on many values of one band, as positions in `VERDICTS`; same answers as `judge`, one by one.

    `values_scaled` holds value x 10**decimals as int64, any shape. Limits may have more decimals than that:
    they are taken to the next whole step inside, which no value can tell apart.
    """
    import numpy as np

    values = np.asarray(values_scaled)
    if values.dtype != np.int64:
        raise Invalid("values_not_scaled", "Values come as int64, scaled by the stated decimals.")
    guard = _guard(band, expanded_uncertainty, rule)
    # True is 1 in a byte of its own, so verdicts are made in place and no pass looks at the values again.
    verdicts = _outside(values, band, _ZERO, decimals, frozenset()).view(np.int8)
    verdicts *= np.int8(2)
    if guard:
        near = _outside(values, band, guard, decimals, band.natural).view(np.int8)
        np.maximum(verdicts, near, out=verdicts)
    return verdicts


def _outside(
    values: NDArray[numpy.int64], band: Band, guard: Decimal, decimals: int, skipped: frozenset[Side]
) -> NDArray[numpy.bool_]:
    """Which values lie outside the band reduced by `guard` at the sides not skipped."""
    import numpy as np

    outside = np.zeros(values.shape, dtype=np.bool_)
    if band.lower is not None and "lower" not in skipped:
        outside |= _below(values, _ceiling(_EXACT.add(band.lower, guard), decimals))
    if band.upper is not None and "upper" not in skipped:
        outside |= _above(values, _floor(_EXACT.subtract(band.upper, guard), decimals))
    return outside


def _below(values: NDArray[numpy.int64], limit: int) -> NDArray[numpy.bool_]:
    import numpy as np

    info = np.iinfo(np.int64)
    if info.min <= limit <= info.max:
        return values < limit
    return np.full(values.shape, limit > info.max, dtype=np.bool_)


def _above(values: NDArray[numpy.int64], limit: int) -> NDArray[numpy.bool_]:
    import numpy as np

    info = np.iinfo(np.int64)
    if info.min <= limit <= info.max:
        return values > limit
    return np.full(values.shape, limit < info.min, dtype=np.bool_)


def _floor(limit: Decimal, decimals: int) -> int:
    scaled = _EXACT.scaleb(limit, decimals)
    return int(scaled.to_integral_value("ROUND_FLOOR"))


def _ceiling(limit: Decimal, decimals: int) -> int:
    return -_floor(_EXACT.minus(limit), decimals)
