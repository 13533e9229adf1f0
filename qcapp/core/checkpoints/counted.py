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
from qcapp.core.metrology.thermal import COLDEST, REFERENCE, WARMEST, at_temperature

EXTRA_DECIMALS: Final = 2  # what is computed is rounded to the plan's decimals and two more, or as fine as it was read
MICRO: Final = Decimal("1e-6")
_CORRECTED = re.compile(r"corrected ([0-9]+(?:[.,][0-9]+)?)(?: to (-?[0-9]+(?:[.,][0-9]+)?))?")
_LEAST_EXPANSION: Final = Decimal("0.1")
_MOST_EXPANSION: Final = Decimal(200)


@dataclass(frozen=True)
class PartTemperature:
    """That the part's temperature is asked. `expansion` in µm per metre and kelvin, None: recorded only.

    `reference` is the temperature that the limits hold at, in °C (ISO 1: 20 °C unless the plan says another).
    """

    expansion: Decimal | None = None
    reference: Decimal = REFERENCE

    def __str__(self) -> str:
        """As the plan writes it: asked, corrected 11.5, corrected 11.5 to 23."""
        if self.expansion is None:
            return "asked"
        other = f" to {as_text(self.reference)}" if self.reference != REFERENCE else ""
        return f"corrected {as_text(self.expansion)}{other}"

    @property
    def text(self) -> str:
        """In words, for people."""
        if self.expansion is None:
            return "part temperature asked"
        return f"corrected to {as_text(self.reference)} °C with {as_text(self.expansion)} µm per metre and kelvin"


def read_part_temperature(data: Mapping[str, object], unit_of_measure: str) -> PartTemperature | None:
    """The field `temperature` of a specification; None when nothing is asked.

    Raises Invalid `temperature_not_understood`, `expansion_out_of_range`, `temperature_out_of_range`,
    `correction_needs_length`.
    """
    written = " ".join((fields.text(data, "temperature", longest=40) or "").split())
    if not written:
        return None
    if written == "asked":
        return PartTemperature()
    match = _CORRECTED.fullmatch(written)
    if match is None:
        message = (
            "Write asked, or corrected with the coefficient of expansion in µm per metre and kelvin: corrected 11.5 "
            "(steel). The limits hold at 20 °C; for another temperature: corrected 11.5 to 23."
        )
        raise Invalid("temperature_not_understood", message, field="temperature")
    found = PartTemperature(parse_value(match[1]), parse_value(match[2]) if match[2] else REFERENCE)
    _check(found, unit_of_measure)
    return found


def _check(asked: PartTemperature, unit_of_measure: str) -> None:
    if asked.expansion is None or not _LEAST_EXPANSION <= asked.expansion <= _MOST_EXPANSION:
        message = f"{asked.expansion} µm per metre and kelvin is not the expansion of a part; steel is 11.5."
        raise Invalid("expansion_out_of_range", message, field="temperature")
    check_temperature(asked.reference)
    try:
        convert(Decimal(1), unit_of_measure, "mm")
    except Invalid:
        message = "Only a length is corrected for the part's temperature; write asked to record the temperature alone."
        raise Invalid("correction_needs_length", message, field="temperature") from None


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


def counted_numbers(answer: Mapping[str, Any]) -> list[str]:
    """The numbers of a stored measured answer that met the band, as text: what charts and files go on with."""
    given = answer.get("counted") or answer.get("values") or [answer.get("value")]
    return [str(value) for value in given if value is not None]


def described(values: Sequence[Decimal], counts: Sequence[Decimal], unit: str, **told: Any) -> str:
    """`196.2152 mm at 20 °C (measured 196.24 at 31 °C)`, `mean 25.0133 mm (of 25.012, 25.014, 25.014)`.

    `told`: `mean`, `asked`, `temperature`.
    """
    temperature, asked = told.get("temperature"), told.get("asked")
    typed = ", ".join(map(as_text, values))
    warm = f" at {as_text(temperature)} °C" if temperature is not None else ""
    averaged = bool(told.get("mean")) and len(values) > 1
    corrected = bool(asked and asked.expansion is not None and warm) and (averaged or counts != values)
    if not averaged and not corrected:
        return f"{typed} {unit}".rstrip() + warm
    value = f"{', '.join(map(as_text, counts))} {unit}".rstrip()
    at = f" at {as_text(asked.reference)} °C" if asked and corrected else ""
    how = f"of {typed}" if averaged else f"measured {typed}"
    return f"{'mean ' if averaged else ''}{value}{at} ({how}{warm})"
