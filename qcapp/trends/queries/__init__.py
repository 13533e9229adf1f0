"""Readers of trends. They look across the rooms below and never write; what they give is computed at reading.

The watch page's entries are kept in the process until a newer result on their units arrives.
"""

from __future__ import annotations

from dataclasses import replace

from qcapp.gauges.studying import studies_for, studies_found

from ..characteristic import MEASURING, Characteristic, Wanted, characteristic_of
from ..control import chart_key
from ..gauging import shares_of
from .believing import believability_page
from .distorting import distortion_page
from .readings import LONGEST, SHORTEST, USUAL, series_and_decisions, series_of, subject_of
from .reporting import month_report
from .watching import newest_of, signals_of, watch_of
from .yielding import USUAL_WEEKS, yield_page

__all__ = [
    "LONGEST",
    "SHORTEST",
    "USUAL",
    "USUAL_WEEKS",
    "believability_page",
    "distortion_page",
    "month_report",
    "newest_of",
    "page_of",
    "series_of",
    "signals_of",
    "subject_of",
    "watch_of",
    "yield_page",
]


def page_of(family_code: str, key: str, wanted: Wanted, *, people: bool) -> Characteristic:
    """Everything about one characteristic. `people` adds the splits by welder and inspector.

    Raises NotFound `family_unknown`, `characteristic_unknown`, Invalid `not_charted` and as `control_chart`.
    """
    series, decided = series_and_decisions(family_code, key, last=wanted.last, sampled=wanted.sampled)
    held = decided.held(series, chart_key(series, limits=wanted.limits, group=wanted.group, size=wanted.size))
    found = characteristic_of(series, wanted, people=people, held=held)
    found = replace(found, studies=tuple(studies_for(f"{family_code.upper()} {series.number}")))
    gauges = {reading.gauge for reading in series.readings if reading.gauge}
    if series.kind not in MEASURING or not gauges:
        return found
    return replace(found, gauge_shares=shares_of(series, studies_found(gauges)))
