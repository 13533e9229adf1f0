"""How a series compares with its band, by a method that fits it, or the sentence that says why not.

Two-sided bands and one-sided ones without a natural boundary: core.statistics.capability (normal distribution). Where
one side is a natural boundary at zero (flatness, parallelism, run-out), values crowd towards it and are not normal: a
gamma distribution is fitted by its first two moments, and the index is that of ISO 22514-2, clause on quantiles:
(limit - median) / (99.865 % point - median). Its interval comes from resampling with a fixed seed (percentile method).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import TYPE_CHECKING

import numpy

from qcapp.core.errors import QcError
from qcapp.core.statistics.capability import FEWEST_READINGS, SETTLED_READINGS, Capability, capability
from qcapp.core.statistics.distributions import special, stats
from qcapp.core.statistics.intervals import Interval
from qcapp.core.statistics.readings import FloatArray

if TYPE_CHECKING:
    from qcapp.core.metrology.bands import Band

TARGET = 1.33  # common practice, no source
RESAMPLES = 1000
SEED = 22514
POORLY_FITTED = 0.01
NORMAL_METHOD = "normal distribution (ISO 22514-2, indices from standard deviations)"
GAMMA_METHOD = "gamma distribution fitted by mean and variance, index from its quantiles (ISO 22514-2)"


@dataclass(frozen=True)
class Index:
    """One index: its name in the trade, and what it counts."""

    name: str
    meaning: str
    interval: Interval


@dataclass(frozen=True)
class Fitness:
    """Indices with their intervals and doubts. `deciding` is the overall index that is held against the target."""

    method: str
    indices: tuple[Index, ...]
    deciding: Interval | None
    expected_out_of_band: float | None
    n: int
    warnings: tuple[str, ...]
    refusal: str = ""

    @property
    def surely_below(self) -> bool:
        """Whether the whole interval lies below the target."""
        return self.deciding is not None and self.deciding.upper < TARGET


def fitness(values: Sequence[float] | Sequence[Sequence[float]], band: Band | None) -> Fitness:
    """Capability of the values, in the order taken, against the band; never raises, but says what is missing."""
    flat = [v for row in values for v in (row if isinstance(row, Sequence) else (row,))]
    if band is None:
        return _refused(len(flat), "The plan gives no limits, so there is nothing to compare with.")
    if len(flat) < FEWEST_READINGS:
        have = "There is one reading" if len(flat) == 1 else f"There are {len(flat)} readings"
        return _refused(
            len(flat), f"{have}; fewer than {FEWEST_READINGS} give an interval so wide that it says nothing."
        )
    try:
        if _natural_zero(band) and min(flat) >= 0 and max(flat) > min(flat):
            return _by_quantiles(numpy.asarray(flat, dtype=numpy.float64), float(band.upper or 0))
        return _by_deviations(capability(values, band))
    except QcError as refusal:
        return _refused(len(flat), refusal.message)


def _refused(n: int, sentence: str) -> Fitness:
    return Fitness("", (), None, None, n, (), sentence)


def _natural_zero(band: Band) -> bool:
    return (
        "lower" in band.natural and band.lower == Decimal(0) and band.upper is not None and "upper" not in band.natural
    )


def _by_deviations(found: Capability) -> Fitness:
    meaning = {
        "cp": "band over short-term spread, as if centred",
        "cpk": "nearer limit over short-term spread",
        "pp": "band over overall spread, as if centred",
        "ppk": "nearer limit over overall spread",
    }
    indices = tuple(
        Index(name.capitalize(), words, found.intervals[name])
        for name, words in meaning.items()
        if name in found.intervals
    )
    return Fitness(NORMAL_METHOD, indices, found.intervals["ppk"], found.expected_out_of_band, found.n, found.warnings)


def _by_quantiles(x: FloatArray, upper: float) -> Fitness:
    index = float(_index(x.mean(), x.var(ddof=1), upper))
    interval = Interval(index, *_resampled(x, upper), 0.95)
    shape, scale = _gamma(x.mean(), x.var(ddof=1))
    expected = float(special().gammaincc(shape, upper / scale))
    return Fitness(
        GAMMA_METHOD,
        (Index("Ppk", "upper limit over the spread above the median", interval),),
        interval,
        expected,
        x.size,
        tuple(_doubts(x, float(shape), float(scale))),
    )


def _gamma(mean: FloatArray | float, variance: FloatArray | float) -> tuple[FloatArray, FloatArray]:
    """Shape and scale from mean and variance."""
    m, v = numpy.asarray(mean, dtype=numpy.float64), numpy.asarray(variance, dtype=numpy.float64)
    return m * m / v, v / m


def _index(mean: FloatArray | float, variance: FloatArray | float, upper: float) -> FloatArray:
    shape, scale = _gamma(mean, variance)
    quantile = special().gammaincinv
    median, far = quantile(shape, 0.5) * scale, quantile(shape, 0.99865) * scale
    return numpy.asarray((upper - median) / (far - median))


def _resampled(x: FloatArray, upper: float) -> tuple[float, float]:
    drawn = numpy.random.default_rng(SEED).choice(x, size=(RESAMPLES, x.size))
    spread = drawn.var(axis=1, ddof=1)
    usable = spread > 0
    found = _index(drawn.mean(axis=1)[usable], spread[usable], upper)
    low, high = numpy.quantile(found, [0.025, 0.975])
    return float(low), float(high)


def _doubts(x: FloatArray, shape: float, scale: float) -> list[str]:
    said = []
    if x.size < SETTLED_READINGS:
        said.append(f"From {x.size} readings the interval is wide; take {SETTLED_READINGS} or more.")
    fit = stats().kstest(x, "gamma", args=(shape, 0.0, scale))
    if fit.pvalue < POORLY_FITTED:
        said.append("The readings do not follow the fitted distribution well; the index is a rough indication only.")
    said.append("The lower limit is a natural boundary, so only the upper limit counts.")
    return said
