"""The test uncertainty ratio."""

from __future__ import annotations

from decimal import Decimal

import pytest

from qcapp.core.errors import Invalid
from qcapp.core.metrology.bands import Band
from qcapp.core.metrology.ratio import uncertainty_ratio

D = Decimal


@pytest.mark.parametrize(
    ("band", "uncertainty", "ratio"),
    [
        # ANSI/NCSL Z540.3 (from memory): a tolerance of ±0.4 against U = 0.1 is 4 : 1
        (Band(D("9.6"), D("10.4")), "0.1", "4"),
        (Band(D("30"), D("30.021")), "0.0065", "1.615384615384615384615384615"),
        # one limit: from the natural boundary or the nominal to it (common practice, no source)
        (Band(D("0"), D("0.30"), natural=frozenset({"lower"})), "0.03", "10"),
        (Band(None, D("10.5"), nominal=D("10")), "0.1", "5"),
        (Band(D("2.0"), None, nominal=D("2.5")), "0.05", "10"),
        (Band(D("0"), None, natural=frozenset({"lower"})), "0.05", None),
        (Band(None, D("0.5")), "0.05", None),
        (Band(None, D("0.5"), nominal=D("0.5")), "0.05", None),
    ],
)
def test_holds_the_room_between_the_limits_against_the_uncertainty(band, uncertainty, ratio):
    assert uncertainty_ratio(band, D(uncertainty)) == (None if ratio is None else D(ratio))


@pytest.mark.parametrize("uncertainty", ["0", "-0.1", "NaN"])
def test_refuses_an_uncertainty_that_is_none(uncertainty):
    with pytest.raises(Invalid) as caught:
        uncertainty_ratio(Band(D(0), D(1)), D(uncertainty))
    assert caught.value.code == "uncertainty_not_positive"
