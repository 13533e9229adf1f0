"""What deserves a look, worst first: one family's characteristics over its last units, each in one sentence.

Limits are held from the first part of the window, so that a drift cannot widen them. The rules run over the units in
order, and again over the units of each weld fixture alone: a shift on one of two fixtures hides among the others. The
spread of a fixture's own chart is that of all fixtures together, taken from neighbours on the same fixture.

Two rules only, a point outside the control limits and eight in a row on one side: with all four of a single chart, a
family of 160 characteristics would call for no reason too often (one in 92 points instead of one in 153). The page of a
characteristic applies all four.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy

from qcapp.core.statistics.charts import individuals
from qcapp.core.statistics.control_chart import FEWEST_POINTS, ControlChart
from qcapp.core.statistics.factors import d2

from .capability import TARGET, Fitness, fitness
from .characteristic import MEASURING, working
from .control import Chart, Held, Sample, control_chart, is_coarse, natural_floor
from .drift import Drift, drift_of
from .readings import Reading, Series, step_of
from .words import Spoken, spoken_signals

WINDOW = 100  # units
BASE_SHARE = 0.4  # of the window: where held limits come from
FEWEST_BASE = 10  # readings of one fixture that its own limits may come from
RULES = ("beyond_limits", "eight_on_one_side")
FAILED = frozenset({"out_of_band", "does_not_conform"})
RECENT = 10  # points; a signal that ended longer ago is history
SIGNAL, NOT_CAPABLE, DRIFT, ACKNOWLEDGED, QUIET, TOO_LITTLE = range(6)  # ranks, the gravest first


@dataclass(frozen=True)
class FixtureSignals:
    """What one fixture's own chart shows lately."""

    fixture: str
    signals: tuple[Spoken, ...]
    points: int


@dataclass(frozen=True)
class Watched:
    """One characteristic on the watch page. `rank` is 0 for the gravest; `severity` orders within a rank."""

    series: Series
    chart: Chart
    recent: tuple[Spoken, ...]
    by_fixture: tuple[FixtureSignals, ...]
    fitness: Fitness | None
    drift: Drift | None
    rank: int
    severity: float
    sentence: str
    looked_into: tuple[str, ...] = ()  # who acknowledged its signals, and why

    @property
    def said(self) -> str:
        """The sentence without the title in front, for a place where the title stands above."""
        words = self.sentence.removeprefix(f"{self.series.title}: ")
        return words[0].upper() + words[1:]

    @property
    def why(self) -> str:
        """The rank in a word."""
        return ("signal", "not capable", "drift", "acknowledged", "quiet", "too little")[self.rank]


def watched(series: Series, *, base: int | None = None, frozen: Held | None = None) -> Watched:
    """One characteristic judged for the watch page.

    Frozen limits count where there are some; else `base` readings hold them, a share of the window by default.
    """
    if not series.readings:
        empty = control_chart(series)
        return Watched(series, empty, (), (), None, None, TOO_LITTLE, 0.0, _about(series, "no result in this window."))
    held = base or _base(len(series.readings))
    first = None if frozen or series.kind not in MEASURING else held
    chart = control_chart(series, base=first, held=frozen)
    recent = _recent(chart.signals, len(chart.samples))
    fixtures = _by_fixture(series, held) if series.kind in MEASURING else ()
    fit = fitness(series.values, series.band) if series.kind in MEASURING else None
    drift = drift_of(series.values, *working(series)) if series.kind in MEASURING else None
    rank, severity = _rank(series, chart, recent, fixtures, fit, drift)
    sentence = _sentence(series, chart, recent, fixtures, fit, drift, rank)
    return Watched(series, chart, recent, fixtures, fit, drift, rank, severity, sentence)


def rank_of(entry: Watched) -> tuple[int, float]:
    """Rank and severity of an entry as its signals stand, after some of them were taken out for example."""
    return _rank(entry.series, entry.chart, entry.recent, entry.by_fixture, entry.fitness, entry.drift)


def sentence_of(entry: Watched, rank: int) -> str:
    """The entry's sentence in this rank."""
    return _sentence(entry.series, entry.chart, entry.recent, entry.by_fixture, entry.fitness, entry.drift, rank)


def worst_first(found: Sequence[Watched]) -> list[Watched]:
    """By rank, then by severity, then by number."""
    return sorted(found, key=lambda one: (one.rank, -one.severity, one.series.number))


def _base(count: int) -> int:
    return max(FEWEST_POINTS, 20, round(count * BASE_SHARE))


def _recent(signals: Sequence[Spoken], points: int) -> tuple[Spoken, ...]:
    return tuple(signal for signal in signals if signal.last >= points - RECENT and signal.rule in RULES)


def _by_fixture(series: Series, held: int) -> tuple[FixtureSignals, ...]:
    """The recent signals of each fixture that has enough readings in the base; none for a single fixture."""
    names = sorted({reading.fixture for reading in series.readings} - {""})
    if len(names) < 2:
        return ()
    sigma = _spread_on_one_fixture(series.readings[:held], names)
    if not sigma or is_coarse(sigma, step_of(series)):
        return ()
    found = (_fixture(series, name, held, sigma) for name in names)
    return tuple(one for one in found if one is not None)


def _spread_on_one_fixture(base: Sequence[Reading], names: Sequence[str]) -> float:
    """Average moving range between neighbours on the same fixture, over d2."""
    ranges: list[float] = []
    for name in names:
        values = [reading.value for reading in base if reading.fixture == name]
        ranges += [abs(b - a) for a, b in pairwise(values)]
    return sum(ranges) / len(ranges) / d2(2) if ranges else 0.0


def _fixture(series: Series, name: str, held: int, sigma: float) -> FixtureSignals | None:
    base = [reading.value for reading in series.readings[:held] if reading.fixture == name]
    own = [reading for reading in series.readings if reading.fixture == name]
    if len(base) < FEWEST_BASE:
        return None
    chart = fixture_chart([reading.value for reading in own], len(base), sigma)
    spoken = spoken_signals(chart, [reading.serial for reading in own], series.noun)
    return FixtureSignals(name, _recent(spoken, len(own)), len(own))


def chart_on(one: Watched, fixture: str) -> tuple[Series, Chart]:
    """The readings of one fixture with the chart that its signals come from; all readings and theirs without a name."""
    series = one.series
    if not fixture:
        return series, one.chart
    held = _base(len(series.readings))
    base = series.readings[:held]
    sigma = _spread_on_one_fixture(base, sorted({reading.fixture for reading in series.readings} - {""}))
    own = tuple(reading for reading in series.readings if reading.fixture == fixture)
    first = sum(reading.fixture == fixture for reading in base)
    computed = fixture_chart([reading.value for reading in own], first, sigma)
    floor = natural_floor(series)
    if floor is not None:
        computed = replace(computed, lower=numpy.maximum(computed.lower, floor))
    samples = tuple(Sample(reading.serial, (reading,), reading.value) for reading in own)
    spoken = spoken_signals(computed, [reading.serial for reading in own], series.noun)
    name = f"Individuals on fixture {fixture}"
    return replace(series, readings=own, events=()), Chart(name, samples, computed, spoken, first)


def fixture_chart(values: Sequence[float], base: int, sigma: float) -> ControlChart:
    """Individuals of one fixture: centre from its own first `base` values, spread as given."""
    return individuals(values, center=sum(values[:base]) / base, sigma=sigma, rules=RULES)


# ------------------------------------------------------------------------------------------------------ in words


def _rank(
    series: Series,
    chart: Chart,
    recent: Sequence[Spoken],
    fixtures: Sequence[FixtureSignals],
    fit: Fitness | None,
    drift: Drift | None,
) -> tuple[int, float]:
    signalled = [one for one in fixtures if one.signals]
    if recent or signalled:
        return 0, _weight(chart, [*recent, *(s for one in signalled for s in one.signals)])
    if fit is not None and fit.surely_below and fit.deciding is not None:
        return 1, TARGET - fit.deciding.estimate
    if drift is not None and drift.sure and drift.ahead is not None:
        return 2, 1.0 / (1.0 + drift.ahead.units)
    if len(series.readings) < FEWEST_POINTS:
        return TOO_LITTLE, 0.0
    return QUIET, 0.0


def _weight(chart: Chart, signals: Sequence[Spoken]) -> float:
    """Longer runs and signals that are still on weigh more."""
    return max((s.last - s.first + 1) + (20 if s.running else 0) for s in signals)


def _sentence(
    series: Series,
    chart: Chart,
    recent: Sequence[Spoken],
    fixtures: Sequence[FixtureSignals],
    fit: Fitness | None,
    drift: Drift | None,
    rank: int,
) -> str:
    if rank == 0:
        return f"{_signal_sentence(series, recent, fixtures)}{_failed(series)}"
    if rank == 1 and fit is not None and fit.deciding is not None:
        index = fit.deciding
        span = f"{index.lower:.2f} to {index.upper:.2f}"
        return _about(series, f"capability {index.estimate:.2f}, surely below {TARGET} ({span}).")
    if rank == 2 and drift is not None and drift.ahead is not None:
        units = max(1, round(drift.ahead.units))
        if drift.slope > 0:
            words = f"rising towards the {drift.ahead.side} limit, there in about {units} {series.noun}."
        else:
            words = f"falling towards the {drift.ahead.side} limit, there in about {units} {series.noun}."
        return _about(series, words)
    if series.kind in {"attribute", "count"} or not chart.refusal:
        return _about(series, _quiet(series))
    return _about(series, _lower(chart.refusal))


def _about(series: Series, words: str) -> str:
    return f"{series.title}: {words}"


def _failed(series: Series) -> str:
    """A second sentence where some did not pass."""
    failed = sum(r.outcome in FAILED for r in series.readings)
    return f" {failed} of {len(series.readings)} did not pass." if failed else ""


def _quiet(series: Series) -> str:
    """How the last units did, for a characteristic without anything to report."""
    count = len(series.readings)
    failed = sum(r.outcome in FAILED for r in series.readings)
    if failed:
        return f"{failed} of {count} did not pass."
    if series.kind == "attribute":
        return f"all {count} conform." if count > 1 else "the only one conforms."
    if series.kind == "count":
        found = round(sum(series.values)) or "none"
        if series.counted:
            return f"{found} {series.counted} counted on {count} {series.noun}."
        return f"{found} found on {count} {series.noun}."
    return "quiet."


def _signal_sentence(series: Series, recent: Sequence[Spoken], fixtures: Sequence[FixtureSignals]) -> str:
    signalled = [one for one in fixtures if one.signals]
    if len(signalled) == 1 and len(fixtures) > 1:
        strongest = _strongest(signalled[0].signals)
        return _about(series, f"{_lower(strongest.sentence)[:-1]}, fixture {signalled[0].fixture} only.")
    if recent:
        return _about(series, _lower(_strongest(recent).sentence))
    strongest = _strongest([signal for one in signalled for signal in one.signals])
    names = " and ".join(one.fixture for one in signalled)
    many = "s" if len(signalled) > 1 else ""
    return _about(series, f"{_lower(strongest.sentence)[:-1]}, on fixture{many} {names}.")


def _strongest(signals: Sequence[Spoken]) -> Spoken:
    return max(signals, key=lambda one: (one.running, one.last - one.first, one.last))


def _lower(sentence: str) -> str:
    return sentence[0].lower() + sentence[1:]
