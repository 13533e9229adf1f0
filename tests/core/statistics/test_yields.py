"""Yields. Common practice, no source; checked by hand."""

from __future__ import annotations

import math
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from qcapp.core.errors import Invalid
from qcapp.core.statistics.yields import (
    defects_per_million,
    defects_per_unit,
    first_pass_yield,
    rolled_throughput_yield,
    yield_from_defects_per_unit,
)


def test_computes_by_hand_examples() -> None:
    assert first_pass_yield(38, 40) == 0.95
    assert first_pass_yield(0, 40) == 0.0
    assert rolled_throughput_yield([0.95, 0.9, 0.8]) == pytest.approx(0.684)
    assert defects_per_unit(12, 40) == 0.3
    assert defects_per_million(12, 40, 160) == pytest.approx(1875.0)
    assert yield_from_defects_per_unit(0.3) == pytest.approx(math.exp(-0.3))


@given(st.lists(st.floats(0, 1), min_size=1, max_size=12))
def test_never_rolls_above_the_worst_stage(yields: list[float]) -> None:
    assert 0.0 <= rolled_throughput_yield(yields) <= min(yields)


@given(st.integers(1, 10_000), st.integers(1, 500))
def test_approaches_the_poisson_yield_for_rare_imperfections(units: int, opportunities: int) -> None:
    rate = defects_per_million(1, units, opportunities) / 1e6
    by_stage = (1 - rate) ** opportunities if rate < 1 else 0.0
    assert by_stage <= yield_from_defects_per_unit(1 / units) + 1e-9


REFUSALS: list[Any] = [
    (lambda: first_pass_yield(41, 40), "count_not_possible"),
    (lambda: first_pass_yield(-1, 40), "count_not_possible"),
    (lambda: first_pass_yield(0, 0), "count_not_possible"),
    (lambda: rolled_throughput_yield([0.9, 1.1]), "fraction_out_of_range"),
    (lambda: rolled_throughput_yield([]), "no_stages"),
    (lambda: defects_per_unit(-1, 4), "count_not_possible"),
    (lambda: defects_per_unit(1, 0), "count_not_possible"),
    (lambda: defects_per_million(1, 4, 0), "count_not_possible"),
    (lambda: defects_per_million(9, 4, 2), "count_not_possible"),
    (lambda: yield_from_defects_per_unit(-0.1), "count_not_possible"),
]


@pytest.mark.parametrize(("call", "code"), REFUSALS)
def test_refuses_counts_that_are_not_possible(call: Any, code: str) -> None:
    with pytest.raises(Invalid) as refusal:
        call()
    assert refusal.value.code == code
