"""How much of the spread that a chart shows is made by the gauges and the people who read them, by their studies."""

from __future__ import annotations

import statistics
from collections.abc import Iterable
from dataclasses import dataclass
from typing import TYPE_CHECKING

from .readings import Series

if TYPE_CHECKING:
    from qcapp.core.statistics.gauge_study import GaugeStudy
    from qcapp.gauges.studying import StudyCard

# A band is compared with six standard deviations of gauge and people, as in the study itself.
SIGMAS = 6


@dataclass(frozen=True)
class GaugeShare:
    """What the latest study of one gauge says about the values shown.

    `of_study` is the share of the study's own spread. `of_values` and `of_band` compare its standard deviation with
    the values shown and with the limits of the plan, all in percent; None where they cannot be compared.
    """

    gauge: str
    study_id: int
    title: str
    of_study: float
    categories: int
    of_values: float | None
    of_band: float | None

    @property
    def sentence(self) -> str:
        """The study in words a shop uses."""
        said = f"{self.of_study:.0f} % of the spread in the study was gauge and people; it can tell {self.categories} "
        said += "group of parts apart" if self.categories == 1 else "groups of parts apart"
        if self.of_values is None:
            return f"{said}."
        if self.of_values >= 100:
            return f"{said}. The values shown spread no more than gauge and people alone do."
        return f"{said}. Of the spread of the values shown it is {self.of_values:.0f} %."


def shares_of(series: Series, studies: Iterable[StudyCard]) -> tuple[GaugeShare, ...]:
    """The studies that came to a result in the series' unit of measure, in their order."""
    comparable = [one for one in studies if one.unit_of_measure == series.unit_of_measure]
    return tuple(_share(series, one, one.by_anova) for one in comparable if one.by_anova)


def _share(series: Series, card: StudyCard, found: GaugeStudy) -> GaugeShare:
    spread = statistics.stdev(series.values) if len(series.values) > 1 else 0.0
    width = _width(series)
    return GaugeShare(
        card.gauge_number, card.id, card.title, found.percent_study, found.distinct_categories,
        100 * found.gauge / spread if spread else None, 100 * SIGMAS * found.gauge / width if width else None,
    )  # fmt: skip


def _width(series: Series) -> float:
    """Between the two limits of the plan; 0 where a part cannot miss both of them."""
    band = series.band
    if band is None or band.lower is None or band.upper is None or band.natural:
        return 0.0
    return float(band.upper - band.lower)
