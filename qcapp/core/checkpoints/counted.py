"""What a measured checkpoint makes of its readings before they meet the band: brought to a temperature, averaged.

Without either the readings themselves count, one by one. The readings and the temperature stay on record as they were
typed; what they came to is written beside them.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction
from typing import Any, Final

from qcapp.core.checkpoints import fields
from qcapp.core.errors import Invalid
from qcapp.core.metrology.quantities import as_text, convert, parse_value
from qcapp.core.metrology.thermal import (
    COLDEST,
    REFERENCE,
    WARMEST,
    at_temperature,
    expansion_variance,
    root_up,
)

EXTRA_DECIMALS: Final = 2  # what is computed is rounded to the plan's decimals and two more, or as fine as it was read
MICRO: Final = Decimal("1e-6")
_NUMBER = r"([0-9]+(?:[.,][0-9]+)?)"
_PLUS_MINUS = r" ?(?:±|\+/-|\+-) ?"
_CORRECTED = re.compile(
    rf"corrected {_NUMBER}(?:{_PLUS_MINUS}{_NUMBER})?(?: to (-?[0-9]+(?:[.,][0-9]+)?))?"
    rf"(?:,? thermometer{_PLUS_MINUS}{_NUMBER})?"
)
_LEAST_EXPANSION: Final = Decimal("0.1")
_MOST_EXPANSION: Final = Decimal(200)
_WORST_THERMOMETER: Final = Decimal(20)
UNCERTAIN_DECIMALS: Final = 3  # of an uncertainty, beyond the plan's decimals


@dataclass(frozen=True)
class PartTemperature:
    """That the part's temperature is asked. `expansion` in µm per metre and kelvin, None: recorded only.

    `reference` is the temperature that the limits hold at, in °C (ISO 1: 20 °C unless the plan says another).
    `expansion_limit` (µm per metre and kelvin) and `thermometer` (K) are how far the coefficient and the temperature
    may be off; None where the plan does not say, and then nothing is added for it.
    """

    expansion: Decimal | None = None
    reference: Decimal = REFERENCE
    expansion_limit: Decimal | None = None
    thermometer: Decimal | None = None

    def __str__(self) -> str:
        """As the plan writes it: asked, corrected 11.5, corrected 11.5 ±1 to 23 thermometer ±0.5."""
        if self.expansion is None:
            return "asked"
        other = f" to {as_text(self.reference)}" if self.reference != REFERENCE else ""
        width = "" if self.expansion_limit is None else f" ±{as_text(self.expansion_limit)}"
        thermometer = "" if self.thermometer is None else f" thermometer ±{as_text(self.thermometer)}"
        return f"corrected {as_text(self.expansion)}{width}{other}{thermometer}"

    @property
    def text(self) -> str:
        """In words, for people."""
        if self.expansion is None:
            return "part temperature asked"
        width = "" if self.expansion_limit is None else f" ± {as_text(self.expansion_limit)}"
        thermometer = "" if self.thermometer is None else f", thermometer ± {as_text(self.thermometer)} °C"
        coefficient = f"{as_text(self.expansion)}{width} µm per metre and kelvin"
        return f"corrected to {as_text(self.reference)} °C with {coefficient}{thermometer}"

    @property
    def says_how_well(self) -> bool:
        """Whether the plan says how well coefficient or temperature are known."""
        return self.expansion_limit is not None or self.thermometer is not None

    def variance(self, length: Decimal, temperature: Decimal) -> Fraction:
        """u² that bringing the length to the reference adds, in its unit squared; zero where nothing is said."""
        if self.expansion is None:
            return Fraction(0)
        return expansion_variance(
            length,
            temperature - self.reference,
            self.expansion * MICRO,
            alpha_limit=(self.expansion_limit or Decimal(0)) * MICRO,
            temperature_limit=self.thermometer or Decimal(0),
        )


def read_part_temperature(data: Mapping[str, object], unit_of_measure: str) -> PartTemperature | None:
    """The field `temperature` of a specification; None when nothing is asked.

    Raises Invalid `temperature_not_understood`, `expansion_out_of_range`, `temperature_out_of_range`,
    `correction_needs_length`.
    """
    written = " ".join((fields.text(data, "temperature", longest=60) or "").split())
    if not written:
        return None
    if written == "asked":
        return PartTemperature()
    match = _CORRECTED.fullmatch(written)
    if match is None:
        message = (
            "Write asked, or corrected with the coefficient of expansion in µm per metre and kelvin: corrected 11.5 "
            "(steel). The limits hold at 20 °C; for another temperature: corrected 11.5 to 23. How well both are "
            "known: corrected 11.5 ±1 thermometer ±0.5."
        )
        raise Invalid("temperature_not_understood", message, field="temperature")
    expansion, width, reference, thermometer = (parse_value(one) if one else None for one in match.groups())
    found = PartTemperature(expansion, REFERENCE if reference is None else reference, width, thermometer)
    _check(found, unit_of_measure)
    return found


def _check(asked: PartTemperature, unit_of_measure: str) -> None:
    if asked.expansion is None or not _LEAST_EXPANSION <= asked.expansion <= _MOST_EXPANSION:
        message = f"{asked.expansion} µm per metre and kelvin is not the expansion of a part; steel is 11.5."
        raise Invalid("expansion_out_of_range", message, field="temperature")
    _check_widths(asked, asked.expansion)
    check_temperature(asked.reference)
    try:
        convert(Decimal(1), unit_of_measure, "mm")
    except Invalid:
        message = "Only a length is corrected for the part's temperature; write asked to record the temperature alone."
        raise Invalid("correction_needs_length", message, field="temperature") from None


def _check_widths(asked: PartTemperature, expansion: Decimal) -> None:
    if asked.expansion_limit is not None and asked.expansion_limit >= expansion:
        message = (
            f"A coefficient of {expansion} that may be off by {asked.expansion_limit} says nothing; write ±1 or so."
        )
        raise Invalid("expansion_out_of_range", message, field="temperature")
    if asked.thermometer is not None and asked.thermometer > _WORST_THERMOMETER:
        message = f"A thermometer that may be off by {asked.thermometer} °C is none; write what its certificate says."
        raise Invalid("temperature_out_of_range", message, field="temperature")


def check_temperature(temperature: Decimal) -> None:
    """Raises Invalid `temperature_out_of_range` where one coefficient no longer holds."""
    if not COLDEST <= temperature <= WARMEST:
        message = (
            f"{as_text(temperature)} °C is outside {COLDEST} to {WARMEST} °C; let the part come nearer to room "
            "temperature and measure again."
        )
        raise Invalid("temperature_out_of_range", message, field="temperature")


def read_temperature(value: object) -> Decimal:
    """A part's temperature as it was typed. Raises Invalid `temperature_out_of_range` and those of `parse_value`."""
    temperature = fields.one_number(value, "temperature", unit_of_measure="°C", max_digits=5)
    check_temperature(temperature)
    return temperature


def counted(
    values: Sequence[Decimal], decimals: int, *, mean: bool, asked: PartTemperature | None, temperature: Decimal | None
) -> tuple[Decimal, ...]:
    """The values that meet the band: each reading at the reference temperature, or the mean of all of them."""
    warm = asked is not None and asked.expansion is not None and temperature not in (None, asked.reference)
    if not warm and not mean:
        return tuple(values)
    found = [_corrected(value, asked, temperature) for value in values] if warm else list(map(Fraction, values))
    if mean:
        found = [sum(found, Fraction(0)) / len(found)]
    places = max(decimals + EXTRA_DECIMALS, *(-int(value.as_tuple().exponent) for value in values))
    return tuple(_rounded(one, places, decimals) for one in found)


def _corrected(value: Decimal, asked: PartTemperature | None, temperature: Decimal | None) -> Fraction:
    if asked is None or asked.expansion is None or temperature is None:
        return Fraction(value)
    return at_temperature(value, temperature, asked.reference, asked.expansion * MICRO)


def _rounded(value: Fraction, places: int, decimals: int) -> Decimal:
    """Half to even, as `round_value`; without zeros beyond the plan's decimals, which nobody read."""
    whole = round(value * 10**places)
    while places > decimals and whole % 10 == 0:
        whole, places = whole // 10, places - 1
    return Decimal(whole).scaleb(-places)


def temperature_uncertainty(
    counts: Sequence[Decimal], decimals: int, asked: PartTemperature | None, temperature: Decimal | None
) -> Decimal | None:
    """Expanded uncertainty (k = 2) that the correction adds to the longest of the values; None where none is stated."""
    if asked is None or temperature is None or asked.expansion is None or not asked.says_how_well:
        return None
    longest = max(abs(value) for value in counts)
    return root_up(4 * asked.variance(longest, temperature), decimals + UNCERTAIN_DECIMALS)


def together(gauge: Decimal | None, added: Decimal | None, decimals: int) -> Decimal | None:
    """Expanded uncertainty of the value: the gauge's and what the temperature adds, as the root of their squares.

    Both have k = 2 and nothing to do with each other (JCGM 100:2008 5.1.2, 6.2.1). None while the gauge's is unknown: a
    part of a budget is no budget. A faulty one is left to `judge`.
    """
    if gauge is None or not added or not gauge.is_finite() or gauge < 0:
        return gauge
    places = max(decimals + UNCERTAIN_DECIMALS, -int(gauge.as_tuple().exponent))
    return root_up(Fraction(gauge) ** 2 + Fraction(added) ** 2, places)


def counted_numbers(answer: Mapping[str, Any]) -> list[str]:
    """The numbers of a stored measured answer that met the band, as text: what charts and files go on with."""
    given = answer.get("counted") or answer.get("values") or [answer.get("value")]
    return [str(value) for value in given if value is not None]


def described(values: Sequence[Decimal], counts: Sequence[Decimal], unit: str, **told: Any) -> str:
    """`196.2152 mm at 20 °C (measured 196.24 at 31 °C)`, `mean 25.0133 mm (of 25.012, 25.014, 25.014)`.

    `told`: `mean`, `asked`, `temperature`, `added`: what the temperature adds to the uncertainty.
    """
    temperature, asked = told.get("temperature"), told.get("asked")
    typed = ", ".join(map(as_text, values))
    warm = f" at {as_text(temperature)} °C" if temperature is not None else ""
    added = f"temperature uncertainty ± {as_text(told['added'])} {unit}".rstrip() if told.get("added") else ""
    averaged = bool(told.get("mean")) and len(values) > 1
    corrected = bool(asked and asked.expansion is not None and warm) and (averaged or counts != values)
    if not averaged and not corrected:
        return f"{typed} {unit}".rstrip() + warm + (f" ({added})" if added else "")
    value = f"{', '.join(map(as_text, counts))} {unit}".rstrip()
    at = f" at {as_text(asked.reference)} °C" if asked and corrected else ""
    how = f"of {typed}" if averaged else f"measured {typed}"
    told_all = "; ".join(filter(None, (how + warm, added)))
    return f"{'mean ' if averaged else ''}{value}{at} ({told_all})"
