"""Which of the gauges at hand fits a checkpoint best, and by how much. Plain values in and out."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from decimal import ROUND_HALF_EVEN, Decimal
from typing import Final

from qcapp.core.checkpoints.counted import UNCERTAIN_DECIMALS, PartTemperature, together
from qcapp.core.errors import Invalid
from qcapp.core.metrology.bands import Band
from qcapp.core.metrology.quantities import convert
from qcapp.core.metrology.ratio import ASKED, uncertainty_ratio
from qcapp.core.metrology.thermal import root_up
from qcapp.gauges.queries import GaugeCard

from .cards import CheckpointCard

AWAY: Final = Decimal(10)
"""How far from its reference temperature a part is taken to be beforehand, K (common practice, no source)."""


@dataclass(frozen=True)
class Fit:
    """The best usable gauge of the kinds asked for, and a better one of another kind where that is too coarse."""

    gauge: GaugeCard
    ratio: Decimal
    better: GaugeCard | None = None
    better_ratio: Decimal | None = None
    asked: Decimal = ASKED
    added: Decimal | None = None  # expanded uncertainty that the part's temperature adds, where the plan states it

    @property
    def enough(self) -> bool:
        return self.ratio >= self.asked

    @property
    def away(self) -> Decimal:
        """How far from its reference temperature a part was taken to be, K."""
        return AWAY

    @property
    def text(self) -> str:
        """As it is read: "4.3 : 1"."""
        return as_ratio(self.ratio, self.asked)


def as_ratio(ratio: Decimal, asked: Decimal = ASKED) -> str:
    """Two digits are all that an uncertainty is known to: "1.6 : 1", "40 : 1". Never rounded up to what is asked."""
    step = Decimal(1) if ratio >= 10 else Decimal("0.1")
    shown = ratio.quantize(step, ROUND_HALF_EVEN)
    if ratio < asked <= shown:
        shown -= step
    return f"{shown} : 1"


def fits(cards: Iterable[CheckpointCard], gauges: Sequence[GaugeCard], asked: Decimal = ASKED) -> dict[str, Fit]:
    """The fit of every measured checkpoint, by key; those that nothing can be said about are left out.

    `asked` is the ratio below which a better gauge is looked for.
    """
    usable = [gauge for gauge in gauges if gauge.usable and gauge.expanded_uncertainty]
    by_kind: dict[str, list[GaugeCard]] = {}
    for gauge in usable:
        by_kind.setdefault(gauge.kind_key, []).append(gauge)
    found = {}
    for card in cards:
        fit = _fit(card, by_kind, usable, asked)
        if fit:
            found[card.key] = fit
    return found


def _fit(
    card: CheckpointCard, by_kind: Mapping[str, list[GaugeCard]], usable: Sequence[GaugeCard], asked: Decimal
) -> Fit | None:
    band = getattr(card.spec, "band", None)
    if card.kind != "measured" or not isinstance(band, Band):
        return None
    own = _best(card, band, [gauge for kind in card.gauge_kinds for gauge in by_kind.get(kind, [])])
    if own is None:
        return None
    added = _from_temperature(card, band)
    other = None if own[1] >= asked else _best(card, band, [gauge for gauge in usable if _can_be_read(gauge)])
    if other and other[1] >= asked:
        return Fit(*own, *other, asked=asked, added=added)
    return Fit(*own, asked=asked, added=added)


def _best(card: CheckpointCard, band: Band, gauges: Iterable[GaugeCard]) -> tuple[GaugeCard, Decimal] | None:
    rated = [(gauge, ratio) for gauge in gauges if (ratio := _ratio(card, band, gauge)) is not None]
    return max(rated, key=lambda pair: pair[1], default=None)


def _ratio(card: CheckpointCard, band: Band, gauge: GaugeCard) -> Decimal | None:
    """The ratio with this gauge; None when it measures something else or not so far."""
    uncertainty = _in_unit(gauge.expanded_uncertainty, gauge.unit_of_measure, card.unit_of_measure)
    if not uncertainty or not _reaches(card, band, gauge):
        return None
    whole = together(uncertainty, _from_temperature(card, band), card.spec.decimals)
    return uncertainty_ratio(band, whole or uncertainty)


def _from_temperature(card: CheckpointCard, band: Band) -> Decimal | None:
    """What bringing the longest length in the band to the reference adds, for a part that is `AWAY` from it."""
    asked: PartTemperature | None = card.spec.temperature
    longest = max(abs(one) for one in (band.lower, band.upper, band.nominal) if one is not None)
    if asked is None or not asked.says_how_well:
        return None
    return root_up(4 * asked.variance(longest, asked.reference + AWAY), card.spec.decimals + UNCERTAIN_DECIMALS)


def _reaches(card: CheckpointCard, band: Band, gauge: GaugeCard) -> bool:
    lower = _in_unit(gauge.range_lower, gauge.unit_of_measure, card.unit_of_measure)
    upper = _in_unit(gauge.range_upper, gauge.unit_of_measure, card.unit_of_measure)
    low = band.lower is None or lower is None or "lower" in band.natural or band.lower >= lower
    return low and (band.upper is None or upper is None or band.upper <= upper)


def _can_be_read(gauge: GaugeCard) -> bool:
    """Not so a surface plate or a template: they give no number, whatever their uncertainty."""
    return None not in (gauge.range_lower, gauge.range_upper, gauge.resolution)


def _in_unit(value: Decimal | None, from_unit: str, to_unit: str) -> Decimal | None:
    if value is None or from_unit == to_unit:
        return value
    try:
        return convert(value, from_unit, to_unit)
    except Invalid:
        return None


def resolution_in(gauge: GaugeCard, unit_of_measure: str) -> Decimal | None:
    """The gauge's step in a unit of measure; None when it is not known."""
    return _in_unit(gauge.resolution, gauge.unit_of_measure, unit_of_measure)
