"""Measurement uncertainty and what it does to a verdict.

Sources: JCGM 100:2008 (GUM) clauses 4.2, 4.3, 5.1, 5.2, E.4.3, F.2.2.1, G.3, G.4; JCGM 106:2012 clauses 7, 8
and 9. These are statistics, so floats. A probability of conformity is no verdict: `decision.judge` gives
that.
"""

from __future__ import annotations

import itertools
import math
import statistics
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final, Literal

from qcapp.core.errors import Invalid
from qcapp.core.metrology.inputs import Number, real

if TYPE_CHECKING:
    from qcapp.core.metrology.bands import Band

Shape = Literal["rectangular", "triangular", "u_shaped"]

TWO_SIGMA: Final = math.erf(math.sqrt(2))
"""0.9545: the level of confidence at which an infinite number of degrees of freedom has the factor k = 2."""

_SHAPES: Final = {"rectangular": 3.0, "triangular": 6.0, "u_shaped": 2.0}
_NORMAL: Final = statistics.NormalDist()


@dataclass(frozen=True, slots=True)
class Component:
    """One line of an uncertainty budget; the sensitivity turns it into the unit of the result.

    Raises `Invalid`: `uncertainty_negative`, `dof_not_positive`, `number_not_plain`.
    """

    standard_uncertainty: float
    degrees_of_freedom: float = math.inf
    sensitivity: float = 1.0
    name: str = ""

    def __post_init__(self) -> None:
        _standard_uncertainty(self.standard_uncertainty, zero_allowed=True)
        if not math.isfinite(real(self.sensitivity, "sensitivity")):
            raise Invalid("number_not_plain", "The sensitivity must be a finite number.")
        if real(self.degrees_of_freedom, "number of degrees of freedom") <= 0:
            raise Invalid("dof_not_positive", "Degrees of freedom must be above zero; leave them out if they are many.")

    @property
    def contribution(self) -> float:
        """Standard uncertainty of the result from this component alone."""
        return abs(float(self.sensitivity)) * float(self.standard_uncertainty)


@dataclass(frozen=True, slots=True)
class CombinedUncertainty:
    """`effective_dof` is unrounded, k was read at its whole part; `shares` are parts of the variance."""

    standard: float
    effective_dof: float
    expanded: float
    coverage_factor: float
    confidence: float
    shares: tuple[float, ...]


@dataclass(frozen=True, slots=True)
class TypeA:
    """Repeated readings: mean, standard deviation of one reading, standard uncertainty of the mean."""

    mean: float
    standard_deviation: float
    standard_uncertainty: float
    degrees_of_freedom: int


def combine(
    components: Sequence[Component],
    *,
    confidence: float = TWO_SIGMA,
    correlations: Sequence[tuple[int, int, float]] = (),
) -> CombinedUncertainty:
    """Combined and expanded uncertainty (GUM 5.1.2, 5.2.2; Welch-Satterthwaite G.4.1).

    `correlations` lists (position, other position, coefficient). Raises `Invalid`: `components_missing`,
    `correlation_invalid`, `dof_with_correlation` (the Welch-Satterthwaite formula holds for independent
    components only), `confidence_invalid`, `dof_below_one`.
    """
    if not components:
        raise Invalid("components_missing", "An uncertainty budget needs at least one component.")
    parts = [component.contribution for component in components]
    variance = math.fsum(part * part for part in parts) + _covariance(components, correlations)
    standard = math.sqrt(max(variance, 0.0))
    dof = _effective_dof(standard, components)
    factor = coverage_factor(dof, confidence)
    total = math.fsum(part * part for part in parts)
    shares = tuple(part * part / total if total else 0.0 for part in parts)
    return CombinedUncertainty(standard, dof, factor * standard, factor, confidence, shares)


def _covariance(components: Sequence[Component], correlations: Sequence[tuple[int, int, float]]) -> float:
    """Twice the sum of the mixed terms of GUM equation (16)."""
    if correlations and any(math.isfinite(component.degrees_of_freedom) for component in components):
        raise Invalid(
            "dof_with_correlation",
            "Effective degrees of freedom are defined for independent components only; leave out the "
            "correlations, or state the components without degrees of freedom.",
        )
    count = len(components)
    terms = []
    for first, second, coefficient in correlations:
        if not (0 <= first < count and 0 <= second < count and first != second and -1 <= coefficient <= 1):
            raise Invalid(
                "correlation_invalid",
                "A correlation names two different components and lies between -1 and +1.",
            )
        one, other = components[first], components[second]
        sensitivity = float(one.sensitivity) * float(other.sensitivity)
        terms.append(2 * coefficient * sensitivity * one.standard_uncertainty * other.standard_uncertainty)
    return math.fsum(terms)


def _effective_dof(standard: float, components: Sequence[Component]) -> float:
    if not standard:
        return math.inf
    # Relative contributions keep the fourth powers of very small or large units of measure from underflowing.
    inverse = math.fsum(
        (component.contribution / standard) ** 4 / component.degrees_of_freedom for component in components
    )
    return 1 / inverse if inverse else math.inf


def coverage_factor(degrees_of_freedom: float, confidence: float = TWO_SIGMA) -> float:
    """Student's two-sided factor at the whole part of `degrees_of_freedom` (GUM G.4.1).

    Raises `Invalid`: `confidence_invalid` outside 0 to 1, `dof_below_one`.
    """
    if not 0 < confidence < 1:
        raise Invalid("confidence_invalid", "The level of confidence lies between 0 and 1, for example 0.95.")
    upper = (1 + confidence) / 2
    if math.isinf(degrees_of_freedom):
        return _NORMAL.inv_cdf(upper)
    if not degrees_of_freedom >= 1:
        raise Invalid("dof_below_one", "Less than one degree of freedom gives no factor; take more readings.")
    from scipy.special import stdtrit

    # A value that only rounding keeps from the next whole number counts as that number.
    return float(stdtrit(math.floor(degrees_of_freedom + 1e-9), upper))


def type_a(readings: Sequence[Number]) -> TypeA:
    """Evaluation of repeated readings (GUM 4.2), summed exactly.

    Raises `Invalid` (`readings_too_few`) below two.
    """
    values = [real(reading, "reading") for reading in readings]
    if len(values) < 2:
        raise Invalid("readings_too_few", "At least two readings are needed to see how much they scatter.")
    deviation = statistics.stdev(values)
    return TypeA(statistics.mean(values), deviation, deviation / math.sqrt(len(values)), len(values) - 1)


def from_half_width(half_width: Number, shape: Shape = "rectangular") -> float:
    """Standard uncertainty of limits ± half_width (GUM 4.3.7, 4.3.9; U-shaped: arcsine distribution).

    Raises `Invalid`: `shape_unknown`, `uncertainty_negative`.
    """
    if shape not in _SHAPES:
        raise Invalid("shape_unknown", f"The shape is one of {', '.join(_SHAPES)}.")
    return _standard_uncertainty(half_width, zero_allowed=True) / math.sqrt(_SHAPES[shape])


def from_resolution(resolution: Number) -> float:
    """Standard uncertainty of a display that steps by `resolution` (GUM F.2.2.1: half a step each way)."""
    return from_half_width(real(resolution, "resolution") / 2)


def from_expanded(expanded: Number, factor: Number) -> float:
    """Standard uncertainty from a calibration certificate's U and k (GUM 4.3.3).

    Raises `Invalid` (`factor_invalid`).
    """
    if not real(factor, "coverage factor") > 0:
        raise Invalid("factor_invalid", "The coverage factor must be above zero; certificates usually state k = 2.")
    return _standard_uncertainty(expanded, zero_allowed=True) / float(factor)


def dof_from_reliability(relative: Number) -> float:
    """Degrees of freedom of a standard uncertainty known to ± `relative` (GUM G.4.2, equation G.3)."""
    if not real(relative, "relative uncertainty") > 0:
        raise Invalid("number_not_positive", "The relative uncertainty must be above zero, for example 0.25.")
    return 1 / (2 * float(relative) ** 2)


def reliability_of_deviation(count: int) -> float:
    """Relative scatter of the standard deviation of `count` readings (GUM E.4.3, Table E.1).

    Exact: sqrt(1 - c4²) / c4. Raises `Invalid` (`readings_too_few`) below two.
    """
    if count < 2:
        raise Invalid("readings_too_few", "At least two readings are needed to see how much they scatter.")
    log_c4 = math.lgamma(count / 2) - math.lgamma((count - 1) / 2) + 0.5 * math.log(2 / (count - 1))
    return math.sqrt(math.expm1(-2 * log_c4))


def conformance_probability(value: Number, standard_uncertainty: Number, band: Band) -> float:
    """Probability that the true value is inside the limits, normal distribution (JCGM 106 7.3, 7.4).

    A natural boundary cannot be crossed by the true value and takes nothing away; the guard zone plays no
    part. Raises `Invalid` (`uncertainty_not_positive`).
    """
    u = _standard_uncertainty(standard_uncertainty)
    return _between(real(value, "value"), u, *_ends(band, 0.0))


def _tail(z: float) -> float:
    """Normal distribution function at z, with full relative accuracy far below zero."""
    return 0.5 * math.erfc(-z / math.sqrt(2))


def guard_for(standard_uncertainty: Number, probability: float = 0.95) -> float:
    """Guard zone for a conformance probability (JCGM 106 8.3.2; ISO 14253-1:2017: 0.95).

    Raises `Invalid`: `confidence_invalid` outside 0.5 to 1, `uncertainty_not_positive`.
    """
    if not 0.5 <= probability < 1:
        raise Invalid("confidence_invalid", "The conformance probability lies between 0.5 and 1, for example 0.95.")
    return _NORMAL.inv_cdf(probability) * _standard_uncertainty(standard_uncertainty)


def capability_index(band: Band, standard_uncertainty: Number) -> float:
    """Measurement capability C_m = band width / (4 u) (JCGM 106 8.2.3). Raises `Invalid` (`band_open`)."""
    if band.width is None:
        raise Invalid("band_open", "The measurement capability needs both limits; this band is open on one side.")
    return float(band.width) / (4 * _standard_uncertainty(standard_uncertainty))


@dataclass(frozen=True, slots=True)
class DecisionRisks:
    """Parts of all units made: conforming, accepted, accepted though outside, rejected though inside."""

    conforming: float
    accepted: float
    consumer: float
    producer: float


def decision_risks(
    band: Band, *, process_mean: Number, process_deviation: Number, standard_uncertainty: Number
) -> DecisionRisks:
    """Global risks of accepting by `band` with its guard zone, for a normal process (JCGM 106 9.5).

    Raises `Invalid`: `number_not_positive` for the process, `uncertainty_not_positive`.
    """
    mean, u = real(process_mean, "process mean"), _standard_uncertainty(standard_uncertainty)
    sigma = real(process_deviation, "process deviation")
    if not 0 < sigma < math.inf:
        raise Invalid("number_not_positive", "The standard deviation of the process must be above zero.")
    lower, upper = _ends(band, 0.0)
    acceptance = _ends(band, float(band.guard))
    conforming = _between(mean, sigma, lower, upper)
    accepted = _between(mean, math.hypot(sigma, u), *acceptance)
    both = _accepted_between(lower, upper, acceptance, mean, sigma, u)
    return DecisionRisks(conforming, accepted, max(0.0, accepted - both), max(0.0, conforming - both))


def _ends(band: Band, guard: float) -> tuple[float, float]:
    """The limits taken in by the guard; a natural boundary counts as open, because no part lies beyond it."""
    lower = -math.inf if band.lower is None or "lower" in band.natural else float(band.lower) + guard
    upper = math.inf if band.upper is None or "upper" in band.natural else float(band.upper) - guard
    return lower, upper


def _between(mean: float, sigma: float, lower: float, upper: float) -> float:
    """Normal probability of the interval, from whichever tail keeps its digits."""
    start, end = (lower - mean) / sigma, (upper - mean) / sigma
    if start > 0:
        return _tail(-start) - _tail(-end)
    if end < 0:
        return _tail(end) - _tail(start)
    return 1.0 - _tail(start) - _tail(-end)


def _accepted_between(
    lower: float, upper: float, acceptance: tuple[float, float], mean: float, sigma: float, u: float
) -> float:
    """Probability that a unit is inside [lower, upper] and its reading inside the acceptance zone."""
    from scipy.integrate import quad

    start, end = max(lower, mean - 12 * sigma), min(upper, mean + 12 * sigma)
    if start >= end:
        return 0.0
    process = statistics.NormalDist(mean, sigma)
    # The integrand turns steeply near the acceptance limits; the integrator is told where.
    turns = sorted({edge + k * u for edge in acceptance for k in (-8, 0, 8) if start < edge + k * u < end})
    edges = [start, *turns, end]
    return math.fsum(
        quad(lambda true: process.pdf(true) * _between(true, u, *acceptance), a, b, epsabs=1e-13, epsrel=1e-11)[0]
        for a, b in itertools.pairwise(edges)
    )


def _standard_uncertainty(value: Number, *, zero_allowed: bool = False) -> float:
    u = real(value, "standard uncertainty")
    if u < 0:
        raise Invalid("uncertainty_negative", "An uncertainty cannot be below zero; correct the gauge's record.")
    if not math.isfinite(u) or (u == 0 and not zero_allowed):
        raise Invalid(
            "uncertainty_not_positive",
            "The standard uncertainty must be above zero; record it with the gauge.",
        )
    return u
