"""Leak rate in the units that gauges show."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

import pytest

from qcapp.core.errors import Invalid
from qcapp.plans.calculators.leaks import Leak, LeakTest, leak, significant


def of(**changed: Any) -> Leak:
    values: dict[str, Any] = {
        "start_pressure": Decimal("20.00"),
        "start_temperature": Decimal("20"),
        "end_pressure": Decimal("19.55"),
        "end_temperature": Decimal("20"),
        "pressure_unit": "kPa",
        "gauge": True,
        "barometer": Decimal("101.325"),
        "barometer_end": None,
        "litres": Decimal(14),
        "duration": Decimal(10),
        "time_unit": "min",
        "resolution": Decimal("0.01"),
        "settling": Decimal(2),
    }
    return leak(LeakTest(**(values | changed)))


def test_gives_volume_times_drop_over_time() -> None:
    """14 l, 450 Pa, 600 s: 0.014 × 450 / 600 = 0.0105 Pa·m³/s = 0.105 mbar·l/s, worked by hand (V·dp/dt)."""
    answer = of()
    assert answer.headline == "0.0105 Pa·m³/s"
    assert dict(answer.rates)["mbar·l/s"] == "0.105"
    assert answer.copy_text.startswith("Leak rate 0.0105 Pa·m³/s")


def test_agrees_with_a_handbook_example() -> None:
    """A bicycle tube loses 100 kPa from 4 l in 30 days: 1.5e-4 Pa·m³/s (a vacuum technology handbook, 7.1.2)."""
    answer = of(
        start_pressure=Decimal(400), end_pressure=Decimal(300), gauge=False, barometer=None, litres=Decimal(4),
        duration=Decimal(720), time_unit="h", resolution=None, settling=None,
    )  # fmt: skip
    assert float(answer.found.rate) == pytest.approx(1.5e-4, abs=5.1e-6)
    assert "Without the gauge's resolution" in answer.sentence


def test_takes_the_cooling_of_the_gas_out() -> None:
    """At 20 kPa gauge one kelvin is about 414 Pa: (101 325 + 20 000) / 293.15 (gas law)."""
    answer = of(end_temperature=Decimal("19"), end_pressure=Decimal("20.00") - Decimal("0.41386"))
    assert f"{answer.per_kelvin:.3f}" == "0.414"
    assert abs(answer.pressure_loss) < Decimal("0.0001")
    assert dict(answer.pressures)["of it from the temperature"].startswith("0.413")


def test_is_the_same_in_every_unit() -> None:
    in_mbar = of(
        start_pressure=Decimal(200), end_pressure=Decimal("195.5"), barometer=Decimal("1013.25"), pressure_unit="mbar",
        duration=Decimal(600), settling=Decimal(120), time_unit="s", resolution=Decimal("0.1"),
    )  # fmt: skip
    assert in_mbar.found == of().found
    assert in_mbar.smallest == of().smallest


def test_says_what_the_test_cannot_show() -> None:
    answer = of(end_pressure=Decimal("19.995"))
    assert answer.found.resolvable is False
    assert "least rate it can show is 0.000292 Pa·m³/s" in answer.sentence


def test_says_that_gas_cannot_become_more() -> None:
    assert "became more" in of(end_pressure=Decimal("20.4")).sentence


@pytest.mark.parametrize(
    ("changed", "code"),
    [
        ({"barometer": None}, "barometer_missing"),
        ({"duration": Decimal(0)}, "number_not_positive"),
        ({"settling": Decimal(10)}, "settling_too_long"),
        ({"end_temperature": Decimal(400)}, "temperature_out_of_range"),
    ],
)
def test_refuses_what_cannot_be_a_test(changed: dict[str, Any], code: str) -> None:
    with pytest.raises(Invalid) as caught:
        of(**changed)
    assert caught.value.code == code


def test_writes_plain_digits() -> None:
    texts = [significant(Decimal(text)) for text in ("0.0000012345", "1234567", "-0.5", "0")]
    assert texts == ["0.00000123", "1230000", "-0.500", "0"]
