"""What the pages show as plain values: for REST, and the table of a characteristic as CSV."""

from __future__ import annotations

import csv
import io
from typing import Any

from qcapp.core.statistics.intervals import Interval
from qcapp.lib.tables import harmless

from .believing import Doubt
from .capability import TARGET, Fitness
from .characteristic import Characteristic, SplitSaid
from .control import Chart
from .drift import Drift
from .gauging import GaugeShare
from .pairs import Distortion
from .queries.believing import BelievabilityPage
from .queries.distorting import DistortionPage
from .queries.watching import Watch
from .queries.yielding import YieldPage
from .readings import RULE, LeftOut, Reading, Series
from .watch import Watched
from .words import Spoken
from .yielding import RULE as YIELD_RULE
from .yielding import FamilyWeek, StageYield


def characteristic_json(found: Characteristic, *, people: bool) -> dict[str, Any]:
    """The page of a characteristic. `people` adds who welded and who inspected."""
    series = found.series
    return {
        **series_json(series),
        "rule": RULE,
        "summary": found.summary,
        "left_out": list(series.left_out),
        "excluded": [left_out_json(one) for one in series.excluded],
        "values": [reading_json(reading, people=people) for reading in series.readings],
        "events": [{"before": event.place, "kind": event.kind, "words": event.words} for event in series.events],
        "chart": chart_json(found.chart),
        "splits": [split_json(said) for said in found.splits],
        "capability": None if found.fitness is None else fitness_json(found.fitness),
        "gauge_studies": [gauge_share_json(one) for one in found.gauge_shares],
        "drift": {"sentence": found.drift_sentence, **drift_json(found.drift)} if found.drift else None,
        "histogram": None
        if found.histogram is None
        else {"edges": list(found.histogram.edges), "counts": list(found.histogram.counts)},
    }


def gauge_share_json(one: GaugeShare) -> dict[str, Any]:
    """The latest study of one gauge beside the values shown; shares of standard deviations in percent."""
    return {
        "gauge": one.gauge,
        "title": one.title,
        "percent_of_study": one.of_study,
        "distinct_categories": one.categories,
        "percent_of_values": one.of_values,
        "percent_of_band": one.of_band,
        "sentence": one.sentence,
    }


def series_json(series: Series) -> dict[str, Any]:
    """What is charted; limits as text, because they are exact."""
    band = series.band
    return {
        "family": series.family_code,
        "key": series.key,
        "number": series.number,
        "title": series.title,
        "kind": series.kind,
        "unit_of_measure": series.unit_of_measure,
        "limits": series.limits_text,
        "lower": None if band is None or band.lower is None else format(band.lower, "f"),
        "upper": None if band is None or band.upper is None else format(band.upper, "f"),
        "natural_boundaries": [] if band is None else sorted(band.natural),
    }


def reading_json(reading: Reading, *, people: bool) -> dict[str, Any]:
    """One value; `text` is exact, `value` the float that is plotted."""
    plain = {
        "serial": reading.serial,
        "text": reading.text,
        "value": reading.value,
        "outcome": reading.outcome,
        "recorded_at": reading.recorded_at.isoformat(),
        "revision": reading.revision,
        "gauge": reading.gauge,
        "fixture": reading.fixture,
        "shift": reading.shift,
        "marks": list(reading.marks),
    }
    return plain | ({"welder": reading.welder, "inspector": reading.inspector} if people else {})


def chart_json(chart: Chart) -> dict[str, Any]:
    """A control chart: points with the lines at each of them; `refusal` where there is none."""
    spread = chart.computed.spread if chart.computed else None
    return {
        "name": chart.name,
        "refusal": chart.refusal,
        "base": chart.base,
        "limits_from": chart.base_sentence if chart.computed else "",
        "points": [{"name": s.name, "value": s.value, "units": len(s.readings)} for s in chart.samples],
        "center": chart.line("center"),
        "lower": chart.line("lower"),
        "upper": chart.line("upper"),
        "sigma": chart.computed.process_sigma if chart.computed else None,
        "signals": [spoken_json(signal) for signal in chart.signals],
        "spread": None
        if spread is None
        else {
            "name": chart.spread_name,
            "points": spread.points.tolist(),
            "center": spread.at(spread.center).tolist(),
            "lower": spread.at(spread.lower).tolist(),
            "upper": spread.at(spread.upper).tolist(),
            "beyond": list(spread.beyond_limits()),
        },
        "notes": list(chart.notes),
    }


def spoken_json(signal: Spoken) -> dict[str, Any]:
    """One episode: places count from 0."""
    return {
        "rule": signal.rule,
        "sentence": signal.sentence,
        "first": signal.first,
        "last": signal.last,
        "points": list(signal.points),
        "running": signal.running,
    }


def split_json(said: SplitSaid) -> dict[str, Any]:
    """A split with its analysis of variance."""
    split, table = said.split, said.split.table
    return {
        "by": split.factor,
        "sentence": said.sentence,
        "missing": split.missing,
        "levels": [
            {
                "name": level.name,
                "count": len(level.values),
                "mean": level.mean,
                "mean_from": level.interval.lower if level.interval else None,
                "mean_to": level.interval.upper if level.interval else None,
            }
            for level in split.levels
        ],
        "explained": split.explained,
        "variance_table": None
        if table is None
        else {
            "between": {"sum_of_squares": table.ss_between, "dof": table.dof_between},
            "within": {"sum_of_squares": table.ss_within, "dof": table.dof_within},
            "f": table.f,
            "p_value": table.p_value,
        },
    }


def fitness_json(fit: Fitness) -> dict[str, Any]:
    """Capability; `refusal` where there is none."""
    return {
        "method": fit.method,
        "target": TARGET,
        "n": fit.n,
        "indices": [
            {"name": i.name, "value": i.interval.estimate, "from": i.interval.lower, "to": i.interval.upper}
            for i in fit.indices
        ],
        "expected_out_of_band": fit.expected_out_of_band,
        "warnings": list(fit.warnings),
        "refusal": fit.refusal,
    }


def drift_json(drift: Drift) -> dict[str, Any]:
    """A line through the values; `ahead` where it heads for a limit."""
    ahead = drift.ahead
    return {
        "slope": drift.slope,
        "slope_from": drift.lower,
        "slope_to": drift.upper,
        "p_value": drift.p_value,
        "ahead": None
        if ahead is None
        else {"side": ahead.side, "units": ahead.units, "soonest": ahead.soonest, "latest": ahead.latest},
    }


def watch_json(watch: Watch) -> dict[str, Any]:
    """The watch page, worst first."""
    return {
        "family": watch.family.code,
        "units": watch.units,
        "refusal": watch.refusal,
        "counts": watch.counts,
        "characteristics": [watched_json(entry) for entry in watch.entries],
    }


def watched_json(entry: Watched) -> dict[str, Any]:
    """One characteristic of the watch page."""
    return {
        "key": entry.series.key,
        "number": entry.series.number,
        "title": entry.series.title,
        "why": entry.why,
        "sentence": entry.sentence,
        "values": len(entry.series.readings),
        "looked_into": list(entry.looked_into),
        "signals": [spoken_json(signal) for signal in entry.recent],
        "fixtures": [
            {"fixture": one.fixture, "signals": [spoken_json(signal) for signal in one.signals]}
            for one in entry.by_fixture
        ],
    }


COLUMNS = (
    "serial", "value", "unit_of_measure", "outcome", "lower", "upper", "plan_revision", "recorded_at", "gauge",
    "fixture", "shift", "marks",
)  # fmt: skip
PEOPLE = ("welder", "inspector")


def as_csv(found: Characteristic, *, people: bool) -> str:
    """The values of the window with the limits of their time, one unit a line."""
    target = io.StringIO(newline="")
    writer = csv.writer(target)
    writer.writerow([*COLUMNS, *(PEOPLE if people else ())])
    for reading in found.series.readings:
        band = reading.band
        lower, upper = ("" if end is None else format(end, "f") for end in (_end(band, "lower"), _end(band, "upper")))
        row = [
            reading.serial, reading.text, found.series.unit_of_measure, reading.outcome.replace("_", " "), lower, upper,
            reading.revision, reading.recorded_at.isoformat(), reading.gauge, reading.fixture, reading.shift,
            "; ".join(reading.marks),
        ]  # fmt: skip
        writer.writerow([harmless(cell) for cell in [*row, *([reading.welder, reading.inspector] if people else [])]])
    return target.getvalue()


def _end(band: Any, side: str) -> Any:
    return getattr(band, side, None)


def distortion_json(page: DistortionPage, *, people: bool) -> dict[str, Any]:
    """The distortion page. `people` adds who welded."""
    return {
        "family": page.family.code,
        "units": page.units,
        "refusal": page.refusal,
        "pairs": [_pair_json(one, people=people) for one in page.pairs],
    }


def _pair_json(one: Distortion, *, people: bool) -> dict[str, Any]:
    return {
        "before": one.before.key,
        "after": one.after.key,
        "title": one.after.title,
        "unit_of_measure": one.after.unit_of_measure,
        "sentence": one.sentence,
        "shift": interval_json(one.shift),
        "standard_deviation": interval_json(one.spread),
        "p_value": one.p_value,
        "values": [reading_json(reading, people=people) for reading in one.differences.readings],
        "splits": [split_json(SplitSaid(split, said)) for split, said in one.splits],
    }


def yield_json(page: YieldPage) -> dict[str, Any]:
    """The yield page; shares from 0 to 1."""
    found = page.found
    return {
        "family": page.family.code,
        "weeks": page.weeks,
        "refusal": page.refusal,
        "rule": YIELD_RULE,
        "rolled_throughput": interval_json(found.rolled) if found else None,
        "defects_per_unit": found.per_unit if found else None,
        "defects_per_million_opportunities": found.per_million if found else None,
        "defects_per_unit_interval": interval_json(found.per_unit_interval) if found else None,
        "defects_per_million_interval": interval_json(found.per_million_interval) if found else None,
        "by_week": [_week_json(one) for one in found.by_week] if found else [],
        "stages": [_stage_json(stage) for stage in found.stages] if found else [],
    }


def _stage_json(stage: StageYield) -> dict[str, Any]:
    return {
        "number": stage.number,
        "name": stage.name,
        "units": stage.units,
        "right_first_time": stage.right,
        "first_pass_yield": interval_json(stage.share),
        "defects": stage.defects,
        "defects_per_unit": interval_json(stage.per_unit),
        "defects_per_million_opportunities": stage.per_million,
        "defects_per_million_interval": interval_json(stage.per_million_interval),
        "weeks": [
            {
                "week": one.name,
                "units": one.units,
                "right_first_time": one.right,
                "first_pass_yield": interval_json(one.share),
            }
            for one in stage.weeks
        ],
    }


def _week_json(one: FamilyWeek) -> dict[str, Any]:
    return {
        "week": one.name,
        "units": one.units,
        "defects": one.defects,
        "rolled_throughput": interval_json(one.rolled),
        "defects_per_unit": interval_json(one.per_unit),
        "defects_per_million_opportunities": interval_json(one.per_million),
    }


def believability_json(page: BelievabilityPage) -> dict[str, Any]:
    """The page that asks whether the recording is believable."""
    found = page.found
    return {
        "family": page.family.code,
        "units": page.units,
        "refusal": page.refusal,
        "tests": found.tests if found else 0,
        "answers": found.answers if found else 0,
        "hints": [_doubt_json(one) for one in found.doubts] if found else [],
    }


def _doubt_json(one: Doubt) -> dict[str, Any]:
    return {
        "key": one.key,
        "serial": one.serial,
        "gauge": one.gauge,
        "kind": one.hint.kind,
        "sentence": f"{one.name}. {one.hint.words}",
        "innocent": one.innocent,
        "test": one.hint.test,
        "statistic": one.hint.statistic,
        "p_value": one.hint.p_value,
        "adjusted": one.adjusted,
    }


def left_out_json(one: LeftOut) -> dict[str, Any]:
    """A value that a person left out of charts."""
    return {
        "serial": one.reading.serial,
        "text": one.reading.text,
        "reason": one.reason,
        "by": one.by_name,
        "at": one.at.isoformat(),
    }


def interval_json(interval: Interval | None) -> dict[str, float] | None:
    """An estimate between two limits."""
    return None if interval is None else {"value": interval.estimate, "from": interval.lower, "to": interval.upper}
