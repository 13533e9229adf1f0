"""The passes that the benchmark compares with do the same work as the product."""

from __future__ import annotations

import numpy
import pytest

from qcapp.core.statistics.bare_passes import capability_passes, individuals_passes
from qcapp.core.statistics.capability import capability
from qcapp.core.statistics.charts import individuals
from tests.core.statistics.vectors import limits

READINGS = numpy.random.default_rng(31).normal(25.4, 0.05, 30_000)


def test_computes_the_same_capability() -> None:
    mean, overall, within, outside = capability_passes(READINGS)
    found = capability(READINGS, limits("25.2", "25.6"))
    assert (found.mean, found.sigma_overall) == (pytest.approx(mean), pytest.approx(overall))
    assert found.sigma_within == pytest.approx(within)
    assert any(f"outside the control limits: {outside}" in warning for warning in found.warnings)


def test_draws_the_same_chart() -> None:
    mean, sigma, above, wide = individuals_passes(READINGS)
    chart = individuals(READINGS)
    assert chart.center == pytest.approx(mean)
    assert chart.sigma == pytest.approx(sigma)
    assert sum(chart.points[at] > mean for at in chart.beyond_limits()) == above
    assert chart.spread is not None
    assert len(chart.spread.beyond_limits()) == wide
