"""Mean, standard deviation and autocorrelation against the NIST StRD univariate sets (certified values)."""

from __future__ import annotations

import math
from decimal import Decimal
from fractions import Fraction
from typing import Any

import numpy
import pytest
from hypothesis import given
from hypothesis import strategies as st

from qcapp.core.errors import Invalid, Refused
from qcapp.core.statistics import moments as m
from tests.core.statistics.vectors import expected_in, load

SETS = ("lew", "lottery", "michelso", "numacc1", "numacc2", "numacc3", "pidigits")
TWELVE_DIGITS = 1e-12


def data_of(name: str) -> tuple[list[Any], dict[str, dict[str, Any]]]:
    found = load(f"statistics_nist_strd_univariate_{name}")
    if "data_digits" in found:
        values: list[Any] = [int(digit) for digit in found["data_digits"]]
    elif "data_rule" in found:
        rule = found["data_rule"]
        values = [rule["first"], *rule["then_repeat_500_times"] * 500]
    else:
        values = found["data"]
    assert len(values) == found["n"]
    return values, expected_in(found["expected"])


@pytest.mark.parametrize("name", SETS)
@pytest.mark.parametrize("kind", ["list", "decimals", "array"])
def test_keeps_fourteen_digits_of_the_certified_values(name: str, kind: str) -> None:
    """Also numacc3, where a float of 1000000.1 is already off in the eleventh digit: it counts as the
    decimal it was typed as."""
    values, certified = data_of(name)
    if kind == "decimals":
        values = [Decimal(str(value)) for value in values]
    readings = numpy.array(values, dtype=float) if kind == "array" else values
    found = m.moments(readings)
    assert found.mean == pytest.approx(certified["mean"]["value"], rel=1e-14)
    assert found.standard_deviation == pytest.approx(certified["sd_n_minus_1"]["value"], rel=2e-14)
    assert m.lag1_autocorrelation(readings) == pytest.approx(certified["lag1_autocorrelation"]["value"], rel=1e-13)
    assert m.mean(readings) == found.mean
    assert m.standard_deviation(readings) == found.standard_deviation


@pytest.mark.parametrize("offset", [0.0, 1e3, 1e6])
def test_keeps_its_digits_in_large_sets_too(offset: float) -> None:
    """Beyond EXACT_UP_TO readings, whole numbers of 1/1024 are exact floats, so the answer is known
    exactly."""
    pattern = numpy.tile([1.0, 2.0, 4.0], 10_000) / 1024.0 + offset
    found = m.moments(pattern)
    n = pattern.size
    assert found.mean == pytest.approx(offset + 7 / 3 / 1024, rel=1e-15)
    assert found.standard_deviation == pytest.approx(math.sqrt(14 / 9 * n / (n - 1)) / 1024, rel=TWELVE_DIGITS)
    assert m.mean(pattern) == pytest.approx(found.mean, rel=1e-15)
    exact = [Fraction(x) for x in (1, 2, 4)]
    apart = [x - sum(exact) / 3 for x in exact]
    products = [float(apart[i] * apart[(i + 1) % 3]) for i in range(3)]
    wanted = (sum(products) * 10_000 - products[2]) / (float(sum(a * a for a in apart)) * 10_000)
    assert m.lag1_autocorrelation(pattern) == pytest.approx(wanted, rel=1e-9)


@given(
    st.lists(st.decimals("-1e6", "1e6", places=4), min_size=2, max_size=40),
    st.decimals("-1e9", "1e9", places=3),
)
def test_does_not_change_the_spread_by_moving_all_readings(values: list[Decimal], by: Decimal) -> None:
    moved = [value + by for value in values]
    assert m.standard_deviation(moved) == m.standard_deviation(values)


@given(st.lists(st.decimals("-1e6", "1e6", places=4), min_size=2, max_size=40))
def test_agrees_with_exact_fractions(values: list[Decimal]) -> None:
    exact = [Fraction(value) for value in values]
    middle = sum(exact) / len(exact)
    variance = sum((x - middle) ** 2 for x in exact) / (len(exact) - 1)
    found = m.moments(values)
    assert found.mean == float(middle)
    assert found.standard_deviation == pytest.approx(math.sqrt(variance), rel=1e-15)


def test_survives_numbers_whose_squares_leave_the_range_of_floats() -> None:
    assert m.moments([1e200, 3e200]).standard_deviation == pytest.approx(math.sqrt(2) * 1e200)
    assert m.moments([1e-200, 3e-200]).standard_deviation == pytest.approx(math.sqrt(2) * 1e-200)
    assert m.moments([5, 5, 5]).standard_deviation == 0.0


@pytest.mark.parametrize("few", [[], [1.0]])
def test_refuses_too_few_readings(few: list[float]) -> None:
    with pytest.raises(Refused) as refusal:
        m.moments(few)
    assert refusal.value.code == "too_few_readings"
    with pytest.raises(Refused):
        m.lag1_autocorrelation([1.0, 2.0])


@pytest.mark.parametrize("bad", [float("nan"), float("inf"), None, "12.5", Decimal("NaN"), 10**400])
def test_refuses_what_is_not_a_number_and_names_its_place(bad: Any) -> None:
    readings = [1.0, 2.0, bad, 4.0]
    with pytest.raises(Invalid, match="Reading 3") as refusal:
        m.moments(readings)
    assert refusal.value.code == "reading_not_a_number"
    assert len(readings) == 4


def test_refuses_rows_of_readings_and_spread_without_any() -> None:
    with pytest.raises(Invalid, match="Reading 1"):
        m.moments(numpy.array(["1.0", "2.0"]))
    with pytest.raises(Invalid) as refusal:
        m.moments(numpy.ones((3, 3)))
    assert refusal.value.code == "readings_not_a_row"
    for same in ([2.0, 2.0, 2.0], numpy.full(30_000, 2.0)):
        with pytest.raises(Refused, match="resolution"):
            m.lag1_autocorrelation(same)
