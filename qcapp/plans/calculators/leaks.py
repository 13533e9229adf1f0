"""Leak rate of a tank from two readings, in the units that gauges and stopwatches show."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal

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


@dataclass(frozen=True)
class LeakTest:
    """What was read and typed: pressures in `pressure_unit`, temperatures in °C, times in `time_unit`.

    `gauge` says that the gauge shows the pressure above air; `barometer_end` None that the air pressure stayed.
    """

    start_pressure: Decimal
    start_temperature: Decimal
    end_pressure: Decimal
    end_temperature: Decimal
    pressure_unit: str
    gauge: bool
    barometer: Decimal | None
    barometer_end: Decimal | None
    litres: Decimal
    duration: Decimal
    time_unit: str
    resolution: Decimal | None
    settling: Decimal | None

    @property
    def start(self) -> Reading:
        return self._reading(self.start_pressure, self.start_temperature)

    @property
    def end(self) -> Reading:
        return self._reading(self.end_pressure, self.end_temperature)

    def _reading(self, pressure: Decimal, temperature: Decimal) -> Reading:
        return Reading(convert(pressure, self.pressure_unit, "Pa"), temperature, "gauge" if self.gauge else "absolute")

    def pascal(self, pressure: Decimal | None) -> Decimal | None:
        """A pressure that may not have been given, in Pa."""
        return None if pressure is None else convert(pressure, self.pressure_unit, "Pa")

    def shown(self, pressure: Decimal) -> Decimal:
        """A pressure in Pa in the unit that was typed."""
        return convert(pressure, "Pa", self.pressure_unit)

    def seconds(self, time: Decimal | None) -> Decimal:
        """A time in seconds, zero where none was given."""
        return convert(time or Decimal(0), self.time_unit, "s")


def leak(test: LeakTest) -> Leak:
    """The leak rate that the test shows. Raises Invalid as `leak_rate` does."""
    barometer = test.pascal(test.barometer)
    found = leak_rate(
        test.start,
        test.end,
        volume=convert(test.litres, "l", "m³"),
        duration=test.seconds(test.duration),
        barometer=barometer,
        barometer_end=test.pascal(test.barometer_end),
        resolution=test.pascal(test.resolution),
        settling_time=test.seconds(test.settling),
    )
    return Leak(
        found=found,
        rates=tuple(
            (name, significant(convert_rate(found.rate, "Pa*m3/s", unit))) for unit, name in RATE_UNITS.items()
        ),
        drop=test.shown(found.pressure_loss + found.temperature_effect),
        temperature_effect=test.shown(found.temperature_effect),
        pressure_loss=test.shown(found.pressure_loss),
        per_kelvin=test.shown(pressure_per_kelvin(test.start, barometer=barometer)),
        pressure_unit=test.pressure_unit,
        smallest="" if found.smallest is None else significant(found.smallest),
    )
