"""Leak rate of a tank from two readings, in the units that gauges and stopwatches show."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal
from typing import Literal

from qcapp.core.metrology.leak import LeakRate, Reading, convert_rate, leak_rate, pressure_per_kelvin
from qcapp.core.metrology.quantities import as_text, convert

PRESSURE_UNITS = ("kPa", "mbar", "bar", "Pa", "psi")
TIME_UNITS = ("min", "s", "h")
RATE_UNITS = {
    "Pa*m3/s": "Pa·m³/s",
    "mbar*l/s": "mbar·l/s",
    "cm3/min": "cm³/min (gas at 0 °C, 101.325 kPa)",
}
SOURCE = "Gas law on absolute pressures: Q = V·(p1 − p2·T1/T2)/Δt; 40 CFR 1065.644 states the same in moles"
CAUTION = (
    "Compressed gas stores energy. Proof tests use liquid; air tests use low pressure behind a guard, with nobody in "
    "line. Local codes, the site's rules and qualified persons decide. Hot work on a tank that held fuel needs its "
    "own clearance."
)


def significant(value: Decimal, digits: int = 3) -> str:
    """The number to so many significant digits, in plain digits."""
    return as_text(Decimal(f"{value:.{digits - 1}e}"))


@dataclass(frozen=True)
class Leak:
    """The rate in several units, and what of the drop was the gas cooling; pressures in `pressure_unit`."""

    found: LeakRate
    rates: tuple[tuple[str, str], ...]
    drop: Decimal
    temperature_effect: Decimal
    pressure_loss: Decimal
    per_kelvin: Decimal
    pressure_unit: str
    smallest: str

    @property
    def headline(self) -> str:
        return f"{significant(self.found.rate)} Pa·m³/s"

    @property
    def sentence(self) -> str:
        """What the rate says, in words."""
        if self.found.resolvable is False:
            return (
                f"The test cannot show this: the least rate it can show is {self.smallest} Pa·m³/s. Test for longer, "
                "or with a gauge of finer resolution."
            )
        if self.found.rate < 0:
            return "The gas in the tank became more, not less: check temperatures and barometer before judging."
        if self.found.resolvable is None:
            return "Without the gauge's resolution nothing is said about whether the test could show this rate."
        return f"The test can show rates from {self.smallest} Pa·m³/s on, so this one is seen."

    @property
    def copy_text(self) -> str:
        return f"Leak rate {self.headline} ({SOURCE})"

    @property
    def pressures(self) -> tuple[tuple[str, str], ...]:
        """The drop and its two parts."""
        parts = (
            ("drop of absolute pressure", self.drop),
            ("of it from the temperature", self.temperature_effect),
            ("of it lost from the tank", self.pressure_loss),
        )
        return tuple((name, f"{significant(value, 4)} {self.pressure_unit}") for name, value in parts)


def leak(
    *,
    start_pressure: Decimal,
    start_temperature: Decimal,
    end_pressure: Decimal,
    end_temperature: Decimal,
    pressure_unit: str,
    gauge: bool,
    barometer: Decimal | None,
    barometer_end: Decimal | None,
    litres: Decimal,
    duration: Decimal,
    time_unit: str,
    resolution: Decimal | None,
    settling: Decimal | None,
) -> Leak:
    """The leak rate; pressures in `pressure_unit`, temperatures in °C, times in `time_unit`.

    Raises Invalid as `leak_rate` does.
    """

    def pascal(pressure: Decimal | None) -> Decimal | None:
        return None if pressure is None else convert(pressure, pressure_unit, "Pa")

    def shown(pressure: Decimal) -> Decimal:
        return convert(pressure, "Pa", pressure_unit)

    kind: Literal["gauge", "absolute"] = "gauge" if gauge else "absolute"
    start = Reading(convert(start_pressure, pressure_unit, "Pa"), start_temperature, kind)
    end = Reading(convert(end_pressure, pressure_unit, "Pa"), end_temperature, kind)
    found = leak_rate(
        start,
        end,
        volume=convert(litres, "l", "m³"),
        duration=convert(duration, time_unit, "s"),
        barometer=pascal(barometer),
        barometer_end=pascal(barometer_end),
        resolution=pascal(resolution),
        settling_time=convert(settling or Decimal(0), time_unit, "s"),
    )
    return Leak(
        found=found,
        rates=tuple(
            (name, significant(convert_rate(found.rate, "Pa*m3/s", unit))) for unit, name in RATE_UNITS.items()
        ),
        drop=shown(found.pressure_loss + found.temperature_effect),
        temperature_effect=shown(found.temperature_effect),
        pressure_loss=shown(found.pressure_loss),
        per_kelvin=shown(pressure_per_kelvin(start, barometer=pascal(barometer))),
        pressure_unit=pressure_unit,
        smallest="" if found.smallest is None else significant(found.smallest),
    )
