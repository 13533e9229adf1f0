"""Leak rate of a tank from a pressure decay, compensated for temperature by the gas law.

Q = V·(p1 - p2·T1/T2)/Δt on absolute pressures (40 CFR 1065.644 states the same in moles: n = V/R·(p2/T2 -
p1/T1)/Δt). Pressures in Pa, temperatures in °C, volume in m³, times in s, rates in Pa·m³/s at the temperature
of the first reading. A compressed gas stores energy: proof tests use liquid; air tests use low pressure
behind a guard, nobody in line; local codes, the site's rules and qualified persons decide.
"""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal
from typing import Final, Literal

from qcapp.core.errors import Invalid
from qcapp.core.metrology.inputs import Number, exact, not_negative, positive
from qcapp.core.metrology.quantities import convert

GAS_CONSTANT: Final = Decimal("8.314462618")
"""J/(mol·K), CODATA 2018."""

ZERO_CELSIUS: Final = Decimal("273.15")

_COLDEST: Final = Decimal(-60)
_WARMEST: Final = Decimal(150)

_UNITS: Final = {
    "Pa*m3/s": "Pa*m3/s",
    "Pa*l/s": "Pa*l/s",
    "mbar*l/s": "mbar*l/s",
    "Torr*l/s": "torr*l/s",
    "cm3/s": "atm*cm3/s",
    "cm3/min": "atm*cm3/min",
    "sccm": "atm*cm3/min",
}
"""Spellings of leak rates; a volume flow is of gas at the reference state 0 °C and 101 325 Pa.

No factors here.
"""


@dataclass(frozen=True, slots=True)
class Reading:
    """Pressure in Pa and gas temperature in °C at one moment.

    `kind` says what the gauge shows; left out, it is gauge pressure when a barometer is given and absolute
    otherwise.
    """

    pressure: Number
    temperature: Number
    kind: Literal["absolute", "gauge"] | None = None


@dataclass(frozen=True, slots=True)
class LeakRate:
    """`rate` is positive for a loss; `pressure_loss` is the drop without `temperature_effect`.

    `smallest` is the least rate this test could show and `resolvable` whether `rate` reaches it; both None
    when no resolution was given.
    """

    rate: Decimal
    moles_per_second: Decimal
    pressure_loss: Decimal
    temperature_effect: Decimal
    smallest: Decimal | None
    resolvable: bool | None


def leak_rate(
    start: Reading | tuple[Number, Number],
    end: Reading | tuple[Number, Number],
    *,
    volume: Number,
    duration: Number,
    barometer: Number | None = None,
    barometer_end: Number | None = None,
    resolution: Number | None = None,
    temperature_resolution: Number = 0,
    settling_time: Number = 0,
) -> LeakRate:
    """Leak rate between two readings (`Reading`, or pressure and temperature).

    `barometer_end` is the air pressure at the end when it has changed; a gauge follows it. Raises `Invalid`:
    `barometer_missing`, `pressure_not_absolute`, `temperature_out_of_range`, `settling_too_long`,
    `number_not_positive`.
    """
    p1, t1 = _state(start, barometer)
    p2, t2 = _state(end, barometer_end if barometer_end is not None else barometer)
    space, time = positive(volume, "volume"), positive(duration, "duration")
    loss = p1 - p2 * t1 / t2
    rate = space * loss / time
    smallest = None
    if resolution is not None:
        smallest = _smallest(p1 / t1, space, time, resolution, temperature_resolution, settling_time)
    resolvable = None if smallest is None else abs(rate) >= smallest
    return LeakRate(rate, rate / (GAS_CONSTANT * t1), loss, p1 - p2 - loss, smallest, resolvable)


def smallest_rate(
    start: Reading | tuple[Number, Number],
    *,
    volume: Number,
    duration: Number,
    resolution: Number,
    barometer: Number | None = None,
    temperature_resolution: Number = 0,
    settling_time: Number = 0,
) -> Decimal:
    """The least rate a test of `duration` can show: one step of the gauge and one of the thermometer.

    The first `settling_time` of the duration shows nothing, because the gas is still cooling and the walls
    still give. Raises `Invalid` as `leak_rate`.
    """
    pressure, kelvin = _state(start, barometer)
    space, time = positive(volume, "volume"), positive(duration, "duration")
    return _smallest(pressure / kelvin, space, time, resolution, temperature_resolution, settling_time)


def _smallest(
    per_kelvin: Decimal,
    volume: Decimal,
    duration: Decimal,
    resolution: Number,
    temperature_resolution: Number,
    settling_time: Number,
) -> Decimal:
    settling = not_negative(settling_time, "settling time")
    if settling >= duration:
        raise Invalid(
            "settling_too_long",
            f"The pressure settles for {settling} s and the test lasts {duration} s; test for longer.",
        )
    step = positive(resolution, "resolution of the pressure gauge")
    step += per_kelvin * not_negative(temperature_resolution, "resolution of the thermometer")
    return volume * step / (duration - settling)


def pressure_per_kelvin(reading: Reading | tuple[Number, Number], *, barometer: Number | None = None) -> Decimal:
    """Change of pressure per kelvin in a closed volume, Pa/K: about 414 at 20 kPa gauge and 20 °C.

    Raises `Invalid` as `leak_rate`.
    """
    pressure, kelvin = _state(reading, barometer)
    return pressure / kelvin


def amount_of_gas(
    reading: Reading | tuple[Number, Number], volume: Number, *, barometer: Number | None = None
) -> Decimal:
    """Moles in a volume by the gas law n = p·V/(R·T), p absolute. Raises `Invalid` as `leak_rate`."""
    pressure, kelvin = _state(reading, barometer)
    return pressure * positive(volume, "volume") / (GAS_CONSTANT * kelvin)


def remaining_pressure(start: Number, *, leaked_volume: Number, volume: Number) -> Decimal:
    """Gauge pressure left when the leak follows the gauge pressure: start·exp(-leaked_volume / volume).

    `leaked_volume` is what would have leaked at constant starting pressure, in the unit of `volume` (the form
    in which California Air Resources Board TP-201.3 states its least final pressure). Raises `Invalid`:
    `number_not_positive`, `number_negative`.
    """
    share = not_negative(leaked_volume, "leaked volume") / positive(volume, "volume")
    return positive(start, "starting pressure") * (-share).exp()


def convert_rate(value: Number, from_unit: str, to_unit: str) -> Decimal:
    """A leak rate in another unit: Pa*m3/s, Pa*l/s, mbar*l/s, Torr*l/s, cm3/s, cm3/min or sccm.

    The volume flows mean gas at 0 °C and 101 325 Pa, at which pressure times flow is the rate. Raises
    `Invalid` (`leak_unit_unknown`).
    """
    for unit in (from_unit, to_unit):
        if unit not in _UNITS:
            raise Invalid(
                "leak_unit_unknown", f"'{unit}' is no leak rate known here; it is one of {', '.join(_UNITS)}."
            )
    return convert(exact(value, "leak rate"), _UNITS[from_unit], _UNITS[to_unit])


def _state(reading: Reading | tuple[Number, Number], barometer: Number | None) -> tuple[Decimal, Decimal]:
    """Absolute pressure in Pa and temperature in K."""
    if not isinstance(reading, Reading):
        reading = Reading(*reading)
    celsius = exact(reading.temperature, "gas temperature")
    if not _COLDEST <= celsius <= _WARMEST:
        raise Invalid(
            "temperature_out_of_range",
            f"A gas temperature of {celsius} °C is outside {_COLDEST} to {_WARMEST} °C; type it in °C.",
        )
    pressure = exact(reading.pressure, "pressure")
    if reading.kind == "gauge" or (reading.kind is None and barometer is not None):
        if barometer is None:
            raise Invalid("barometer_missing", "A gauge pressure needs the air pressure; read the barometer, in Pa.")
        pressure += positive(barometer, "air pressure")
    if pressure <= 0:
        raise Invalid(
            "pressure_not_absolute",
            "An absolute pressure is above zero; if the gauge shows pressure above air, give the barometer.",
        )
    return pressure, celsius + ZERO_CELSIUS
