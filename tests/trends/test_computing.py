"""Drift, splits, capability and words, against general-purpose libraries, formulas and numbers made by hand."""

from __future__ import annotations

import math
import random
import re
from decimal import Decimal

import numpy
import pytest
import statsmodels.api as sm
from scipy import stats
from statsmodels.stats.proportion import proportion_confint

from qcapp.core.metrology.bands import Band
from qcapp.core.statistics.charts import individuals
from qcapp.core.statistics.intervals import proportion_interval
from qcapp.trends.capability import GAMMA_METHOD, fitness
from qcapp.trends.characteristic import histogram_of
from qcapp.trends.drift import drift_of
from qcapp.trends.pairs import pairs_in
from qcapp.trends.pictures.frame import Frame, free_foot, side_labels, ticks
from qcapp.trends.splits import split_by
from qcapp.trends.words import number_word, spoken_signals

from .test_watch import series_of


def drifting(count: int = 60, slope: float = 0.05) -> list[float]:
    draw = random.Random(11)
    return [50 + slope * place + draw.gauss(0, 0.5) for place in range(count)]


def test_meets_the_limit_where_the_confidence_band_of_the_line_does() -> None:
    """statsmodels' band of the mean response at our soonest and latest place is the limit itself."""
    values = drifting()
    found = drift_of(values, 40.0, 60.0)
    assert found is not None
    assert found.ahead is not None
    assert found.ahead.latest is not None
    x = numpy.arange(len(values), dtype=float)
    model = sm.OLS(values, sm.add_constant(x)).fit()
    assert found.slope == pytest.approx(model.params[1])
    assert (found.lower, found.upper) == pytest.approx(tuple(model.conf_int()[1]))
    at = len(values) - 1 + numpy.array([found.ahead.soonest, found.ahead.units, found.ahead.latest])
    predicted = model.get_prediction(numpy.column_stack([numpy.ones(3), at]))
    band = predicted.conf_int()
    assert band[0][1] == pytest.approx(60.0)  # the upper edge is there soonest
    assert predicted.predicted_mean[1] == pytest.approx(60.0)
    assert band[2][0] == pytest.approx(60.0)  # the lower edge latest


def test_covers_the_true_number_of_units_as_often_as_it_says() -> None:
    """Of 300 simulated drifts 95 in a hundred intervals hold the truth; 266 is the binomial's 0.1 % point."""
    random_numbers = numpy.random.default_rng(5)
    truth = (60 - (50 + 0.08 * 79)) / 0.08
    held = 0
    for _ in range(300):
        values = 50 + 0.08 * numpy.arange(80) + random_numbers.normal(0, 1, 80)
        found = drift_of(values.tolist(), None, 60.0)
        assert found is not None
        assert found.ahead is not None
        latest = math.inf if found.ahead.latest is None else found.ahead.latest
        held += found.ahead.soonest <= truth <= latest
    assert stats.binom.ppf(0.001, 300, 0.95) <= held


def test_says_nothing_about_a_drift_that_chance_makes() -> None:
    draw = random.Random(4)
    found = drift_of([50 + draw.gauss(0, 1) for _ in range(40)], 40.0, 60.0)
    assert found is not None
    assert not found.sure
    assert found.ahead is None
    assert drift_of([50.0] * 40, 40.0, 60.0) is None
    assert drift_of([50.0, 51.0], 40.0, 60.0) is None


def test_splits_as_a_linear_model_does() -> None:
    values = drifting(24, 0.0)
    fixtures = ["TF-1", "TF-2", "TF-3"] * 8
    values = [value + (0.8 if fixture == "TF-2" else 0.0) for value, fixture in zip(values, fixtures, strict=True)]
    split = split_by(series_of(values, fixtures).readings, "fixture")
    assert split.table is not None
    dummies = numpy.array([[fixture == name for name in ("TF-2", "TF-3")] for fixture in fixtures], dtype=float)
    model = sm.OLS(values, sm.add_constant(dummies)).fit()
    assert split.table.f == pytest.approx(model.fvalue)
    assert split.table.p_value == pytest.approx(model.f_pvalue)
    assert split.explained == pytest.approx(model.rsquared_adj)  # epsilon squared is the adjusted R squared
    assert split.furthest is not None
    assert split.furthest.name == "TF-2"


def test_says_what_is_missing_in_a_split() -> None:
    readings = series_of([50.0, 51.0, 52.0], ["TF-1", "TF-1", ""]).readings
    split = split_by(readings, "fixture")
    assert (split.missing, split.table, split.refusal) == (1, None, "All of them: TF-1.")
    assert split_by(readings, "gauge").refusal == "No gauge was recorded with these readings."
    one_each = split_by(series_of([50.0, 51.0], ["TF-1", "TF-2"]).readings, "fixture")
    assert one_each.table is None
    assert "Each group holds one reading" in one_each.refusal


def test_fits_a_one_sided_band_with_a_natural_boundary_by_quantiles() -> None:
    """Values with the mean and variance of an exponential distribution, whose quantiles are known: -log(1 - p).

    Median log 2, 99.865 % point -log 0.00135, so with limit 10 the index is (10 - log 2)/(-log 0.00135 - log 2).
    """
    raw = stats.expon.ppf((numpy.arange(400) + 0.5) / 400)
    values = (raw - raw.mean()) / raw.std(ddof=1) + 1.0
    values = numpy.abs(values)
    values *= 1.0 / values.mean()
    band = Band(Decimal(0), Decimal(10), natural=frozenset({"lower"}))
    found = fitness(values.tolist(), band)
    assert found.method == GAMMA_METHOD
    index = found.indices[0].interval
    expected = (10 - math.log(2)) / (-math.log(0.00135) - math.log(2))
    assert index.estimate == pytest.approx(expected, rel=0.03)
    assert index.lower < index.estimate < index.upper
    assert found.expected_out_of_band == pytest.approx(math.exp(-10), rel=0.3)
    assert any("natural boundary" in warning for warning in found.warnings)


def test_takes_the_gamma_tail_from_its_moments() -> None:
    """scipy's own gamma with shape mean²/variance and scale variance/mean gives the same index and share."""
    values = stats.gamma.rvs(3.0, scale=0.02, size=150, random_state=2).tolist()
    mean, variance = numpy.mean(values), numpy.var(values, ddof=1)
    fitted = stats.gamma(mean**2 / variance, scale=variance / mean)
    found = fitness(values, Band(Decimal(0), Decimal("0.3"), natural=frozenset({"lower"})))
    index = (0.3 - fitted.median()) / (fitted.ppf(0.99865) - fitted.median())
    assert found.indices[0].interval.estimate == pytest.approx(index)
    assert found.expected_out_of_band == pytest.approx(fitted.sf(0.3))


@pytest.mark.parametrize(
    ("values", "sentence"),
    [
        ([], "There are 0 readings; fewer than 20"),
        ([50.0], "There is one reading; fewer than 20"),
        ([50.0] * 30, "equal"),
    ],
)
def test_refuses_capability_with_a_sentence(values: list[float], sentence: str) -> None:
    found = fitness(values, Band(Decimal(40), Decimal(60)))
    assert sentence in found.refusal
    assert found.indices == ()


def test_refuses_capability_without_limits() -> None:
    assert "gives no limits" in fitness([50.0 + place for place in range(30)], None).refusal


def test_speaks_of_a_run_from_its_first_point() -> None:
    values = [50.0, 50.4, 49.6, 50.3, 49.8] * 4 + [50.5, 50.6, 50.4, 50.7, 50.5, 50.6, 50.4, 50.5, 50.6, 50.5]
    chart = individuals(values, center=50.0, sigma=0.5)
    names = [f"FR-200-{place:04}" for place in range(1, len(values) + 1)]
    said = [one for one in spoken_signals(chart, names, "frames") if one.rule == "eight_on_one_side"]
    assert [one.sentence for one in said] == ["Ten frames in a row above the centre since FR-200-0021."]
    assert said[0].running


def test_speaks_of_an_episode_that_ended() -> None:
    values = [49.9, 50.1] * 10 + [50.2] * 8 + [49.9, 50.1, 49.8]
    chart = individuals(values, center=50.0, sigma=0.5)
    names = [str(place) for place in range(1, len(values) + 1)]
    said = [one.sentence for one in spoken_signals(chart, names, "frames") if one.rule == "eight_on_one_side"]
    assert said == ["Nine frames in a row above the centre from 20 to 28."]


def test_writes_small_numbers_as_words() -> None:
    assert [number_word(number) for number in (0, 1, 8, 20, 21)] == ["no", "one", "eight", "twenty", "21"]


def test_bins_a_histogram_between_the_steps_of_the_gauge() -> None:
    values = [50.0, 50.001, 50.001, 50.002, 50.004]
    histogram = histogram_of(series_of(values))
    assert histogram is not None
    assert sum(histogram.counts) == 5
    for edge in histogram.edges:
        assert (edge * 10_000) % 1 == pytest.approx(0.5, abs=1e-6)  # the texts have four decimals
    assert histogram_of(series_of([50.0, 50.0])) is None


@pytest.mark.parametrize(("low", "high"), [(61.83, 62.17), (0.0, 0.0007), (-3.0, 1200.0), (0.0, 1.0), (99.0, 99.0)])
def test_finds_round_ticks_inside_the_ends(low: float, high: float) -> None:
    found, decimals = ticks(low, high)
    assert all(low - 1e-9 <= tick <= high + 1e-9 for tick in found)
    assert len(found) <= 11
    assert all(round(tick, decimals) == pytest.approx(tick) for tick in found)


def test_pairs_by_the_plan_and_by_name() -> None:
    keys = {"angle_before": "", "angle": "", "width_tacked": "", "width": "width_tacked", "lone": "", "after": "gone"}
    assert pairs_in(keys) == [("width_tacked", "width"), ("angle_before", "angle")]


def test_gives_the_wilson_interval_of_a_stage() -> None:
    found = proportion_interval(14, 15)
    assert (found.lower, found.upper) == pytest.approx(proportion_confint(14, 15, method="wilson"))


def test_keeps_the_names_of_lines_that_lie_together_apart_by_more_than_their_letters() -> None:
    """Upright on a tablet the letters are 15 high (static/css/trends.css); names that touch are read as one."""
    frame = Frame(1120, 360)
    drawn = side_labels(frame, [(100.0, "upper limit", "limit"), (101.0, "control limit", "control"), (354.0, "x", "")])
    first, second, last = (float(y) for y in re.findall(r' y="([\d.]+)"', drawn))
    assert second - first >= 18
    assert last <= frame.height


@pytest.mark.parametrize("line", [300.0, 314.0, 318.0, 324.0])
def test_writes_words_at_the_foot_of_a_chart_where_no_line_goes_through_them(line: float) -> None:
    frame = Frame(1120, 360)
    lowest = free_foot(frame, [])
    assert lowest == frame.inner_bottom - 6
    at = free_foot(frame, [line, 200.0])
    assert not at - 15 < line < at + 5
    assert at > 200 + 15
