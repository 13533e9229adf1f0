"""Gauge study: how much of the spread of readings is the gauge and the people, and how much the parts.

Crossed study: every appraiser reads every part the same number of times. Two methods: analysis of variance,
which sees appraisers and parts working together, and average and range, for work by hand. Standard
deviations throughout. Source of both: Measurement Systems Analysis reference manual, 4th edition 2010 (from
memory); the factors of the range method are computed (1/d2 and 1/d2*), not taken from its rounded table.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Hashable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Literal, NamedTuple, SupportsFloat

from qcapp.core.errors import Invalid, Refused
from qcapp.core.statistics.anova import TwoWay, two_way
from qcapp.core.statistics.distributions import f_above
from qcapp.core.statistics.factors import d2, d2_star
from qcapp.core.statistics.readings import Limits, as_floats

POOL_ABOVE = 0.25  # an interaction with a larger p-value is counted as repeatability
CATEGORY_FACTOR = 1.41  # the manual's rounded square root of two
FEW_PARTS = 10


class Reading(NamedTuple):
    """One reading of one part by one appraiser; a plain tuple in this order does as well."""

    part: Hashable
    appraiser: Hashable
    value: SupportsFloat


@dataclass(frozen=True)
class TableRow:
    """A line of the analysis of variance; `f` and `p_value` are None where nothing is compared."""

    source: str
    ss: float
    dof: int
    ms: float
    f: float | None = None
    p_value: float | None = None


@dataclass(frozen=True)
class Share:
    """One source of spread: its standard deviation, its percentage of the total spread and of the band's
    width (6 standard deviations over upper - lower; None without two limits)."""

    sigma: float
    percent_study: float
    percent_band: float | None


@dataclass(frozen=True)
class GaugeStudy:
    """What the study found. `percent_study` and `percent_band` are those of gauge and people together.

    `repeatability`, `reproducibility`, `interaction` and `part` are standard deviations; `interaction` is
    None in the range method and 0 where it was counted as repeatability. `table` is empty in the range
    method. `distinct_categories` is how many groups of parts the gauge can tell apart.
    """

    table: tuple[TableRow, ...]
    repeatability: float
    reproducibility: float
    interaction: float | None
    part: float
    percent_study: float
    percent_band: float | None
    distinct_categories: int
    gauge: float
    total: float
    categories_exact: float
    shares: dict[str, Share]
    method: str
    warnings: tuple[str, ...]


@dataclass(frozen=True)
class _Layout:
    """readings[part][appraiser] in the order of first mention."""

    cells: list[list[list[SupportsFloat]]]
    parts: int
    appraisers: int
    trials: int


def from_trial_rows(rows: Mapping[Hashable, Sequence[Sequence[SupportsFloat]]]) -> list[Reading]:
    """Readings from a report sheet: for each appraiser one row per trial with the parts across, numbered
    from 1."""
    return [
        Reading(part, appraiser, value)
        for appraiser, trials in rows.items()
        for trial in trials
        for part, value in enumerate(trial, start=1)
    ]


def study(
    readings: Iterable[Reading | tuple[Hashable, Hashable, SupportsFloat]],
    *,
    method: Literal["anova", "average_range"] = "anova",
    band: Limits | None = None,
) -> GaugeStudy:
    """The gauge study of (part, appraiser, value) readings.

    Raises Refused `unbalanced_study` (details list what is missing or too much), `study_too_small` under
    two parts, appraisers and trials, `no_gauge_spread` when repeats and appraisers never differ; Invalid
    `unknown_method`.
    """
    given = [Reading(*reading) for reading in readings]
    if given:
        as_floats([reading.value for reading in given])  # refuses what is not a number
    layout = _balanced(given)
    if method == "anova":
        table, sigmas = _by_anova(layout)
    elif method == "average_range":
        table, sigmas = (), _by_ranges(layout)
    else:
        raise Invalid("unknown_method", f"There is no method “{method}”; choose anova or average_range.")
    return _conclude(table, sigmas, method, band, _warnings(layout, band))


@dataclass(frozen=True)
class _Sigmas:
    repeatability: float
    reproducibility: float
    interaction: float | None
    part: float


def _balanced(readings: list[Reading]) -> _Layout:
    parts = list(dict.fromkeys(reading.part for reading in readings))
    appraisers = list(dict.fromkeys(reading.appraiser for reading in readings))
    cells: dict[tuple[Hashable, Hashable], list[SupportsFloat]] = {}
    for reading in readings:
        cells.setdefault((reading.part, reading.appraiser), []).append(reading.value)
    sizes = {(p, a): len(cells.get((p, a), ())) for p in parts for a in appraisers}
    trials = Counter(sizes.values()).most_common(1)[0][0] if sizes else 0
    _refuse_unbalanced(sizes, trials)
    if min(len(parts), len(appraisers), trials) < 2:
        raise Refused(
            "study_too_small",
            f"A study takes at least two parts, two appraisers and two trials; here are {len(parts)}, "
            f"{len(appraisers)} and {trials}.",
        )
    table = [[cells[p, a] for a in appraisers] for p in parts]
    return _Layout(table, len(parts), len(appraisers), trials)


def _refuse_unbalanced(sizes: dict[tuple[Hashable, Hashable], int], trials: int) -> None:
    odd = [(part, appraiser, have) for (part, appraiser), have in sizes.items() if have != trials]
    if not odd:
        return
    first = "; ".join(f"part {part} by {appraiser}: {have} of {trials}" for part, appraiser, have in odd[:5])
    more = f" and {len(odd) - 5} more" if len(odd) > 5 else ""
    raise Refused(
        "unbalanced_study",
        f"Every appraiser must read every part {trials} times. Not so: {first}{more}. Complete the readings.",
        missing=[{"part": part, "appraiser": who, "have": have, "need": trials} for part, who, have in odd],
    )


def _by_anova(layout: _Layout) -> tuple[tuple[TableRow, ...], _Sigmas]:
    found = two_way(layout.cells)
    ms_interaction = found.ss_interaction / found.dof_interaction
    ms_repeats = found.ss_repeats / found.dof_repeats
    f = ms_interaction / ms_repeats if ms_repeats > 0 else math.inf
    p_value = f_above(f, found.dof_interaction, found.dof_repeats) if ms_interaction > 0 else 1.0
    pooled = p_value > POOL_ABOVE
    ss_error = found.ss_repeats + (found.ss_interaction if pooled else 0.0)
    dof_error = found.dof_repeats + (found.dof_interaction if pooled else 0)
    ms_error = ss_error / dof_error
    against = (ms_error, dof_error) if pooled else (ms_interaction, found.dof_interaction)
    table = (
        _compared("part", found.ss_a, found.dof_a, against),
        _compared("appraiser", found.ss_b, found.dof_b, against),
        TableRow("appraiser and part", found.ss_interaction, found.dof_interaction, ms_interaction, f, p_value),
        TableRow("repeats", found.ss_repeats, found.dof_repeats, ms_repeats),
        TableRow("total", found.ss_total, _total_dof(found), found.ss_total / _total_dof(found)),
    )
    interaction = 0.0 if pooled else _root((ms_interaction - ms_error) / layout.trials)
    return table, _Sigmas(
        math.sqrt(ms_error),
        _root((table[1].ms - against[0]) / (layout.parts * layout.trials)),
        interaction,
        _root((table[0].ms - against[0]) / (layout.appraisers * layout.trials)),
    )


def _compared(source: str, ss: float, dof: int, against: tuple[float, int]) -> TableRow:
    ms, (ms_error, dof_error) = ss / dof, against
    f = ms / ms_error if ms_error > 0 else math.inf
    return TableRow(source, ss, dof, ms, f, f_above(f, dof, dof_error))


def _total_dof(found: TwoWay) -> int:
    return found.dof_a + found.dof_b + found.dof_interaction + found.dof_repeats


def _root(square: float) -> float:
    """A variance estimated below zero counts as none."""
    return math.sqrt(max(0.0, square))


def _by_ranges(layout: _Layout) -> _Sigmas:
    cells = [[[float(value) for value in cell] for cell in row] for row in layout.cells]
    flat = [cell for row in cells for cell in row]
    average_range = math.fsum(max(cell) - min(cell) for cell in flat) / len(flat)
    per_appraiser = layout.parts * layout.trials
    appraiser_means = [
        math.fsum(value for row in cells for value in row[a]) / per_appraiser for a in range(layout.appraisers)
    ]
    part_means = [
        math.fsum(value for cell in row for value in cell) / (layout.appraisers * layout.trials) for row in cells
    ]
    repeatability = average_range / d2(layout.trials)
    between = (max(appraiser_means) - min(appraiser_means)) / d2_star(layout.appraisers, 1)
    return _Sigmas(
        repeatability,
        _root(between**2 - repeatability**2 / per_appraiser),
        None,
        (max(part_means) - min(part_means)) / d2_star(layout.parts, 1),
    )


def _conclude(
    table: tuple[TableRow, ...], sigmas: _Sigmas, method: str, band: Limits | None, warnings: tuple[str, ...]
) -> GaugeStudy:
    shares = _shares(sigmas, _width(band))
    gauge = shares["gauge"]
    categories = CATEGORY_FACTOR * sigmas.part / gauge.sigma
    return GaugeStudy(
        table=table,
        repeatability=sigmas.repeatability,
        reproducibility=sigmas.reproducibility,
        interaction=sigmas.interaction,
        part=sigmas.part,
        percent_study=gauge.percent_study,
        percent_band=gauge.percent_band,
        distinct_categories=max(1, int(categories)),
        gauge=gauge.sigma,
        total=shares["total"].sigma,
        categories_exact=categories,
        shares=shares,
        method=method,
        warnings=warnings,
    )


def _shares(sigmas: _Sigmas, width: float | None) -> dict[str, Share]:
    people = math.hypot(sigmas.reproducibility, sigmas.interaction or 0.0)
    gauge = math.hypot(sigmas.repeatability, people)
    if gauge <= 0:
        raise Refused(
            "no_gauge_spread",
            "Repeats and appraisers never differ; read the gauge with one more digit, then study it.",
        )
    total = math.hypot(gauge, sigmas.part)
    named = {
        "repeatability": sigmas.repeatability,
        "reproducibility": sigmas.reproducibility,
        "interaction": sigmas.interaction,
        "gauge": gauge,
        "part": sigmas.part,
        "total": total,
    }
    return {
        name: Share(sigma, 100.0 * sigma / total, None if width is None else 600.0 * sigma / width)
        for name, sigma in named.items()
        if sigma is not None
    }


def _width(band: Limits | None) -> float | None:
    if band is None or band.lower is None or band.upper is None or band.upper == band.lower:
        return None
    return float(band.upper - band.lower)


def _warnings(layout: _Layout, band: Limits | None) -> tuple[str, ...]:
    found = []
    if layout.parts < FEW_PARTS:
        found.append(f"{layout.parts} parts seldom span the process; take {FEW_PARTS} or more.")
    if band is not None and _width(band) is None:
        found.append("The band is open on one side, so the spread cannot be compared with its width.")
    return tuple(found)
