"""A gauge's owner, place and picture, and its uncertainty budget combined by the core."""

from __future__ import annotations

from decimal import Decimal

import pytest

from qcapp.gauges.budgets import Line, combined, rounded_up
from qcapp.gauges.keeping import budget_of, keep_gauge, keeping_of, set_budget
from qcapp.gauges.queries import gauge_by_number
from qcapp.gauges.services import record_calibration
from tests.evidence.files import picture
from tests.factories.gauges import GaugeFactory
from tests.unchanged import refused

# EA-4/02, example S10, a vernier caliper over 150 mm, in mm; from memory: resolution ±25 µm, mechanics ±50 µm,
# gauge blocks ±0.8 µm, temperature ±3.5 µm, all rectangular; standard uncertainty 33 µm.
CALIPER = (
    Line("resolution", Decimal("0.025"), "rectangular"),
    Line("mechanical", Decimal("0.050"), "rectangular"),
    Line("gauge blocks", Decimal("0.0008"), "rectangular"),
    Line("temperature", Decimal("0.0035"), "rectangular"),
)


@pytest.fixture
def gauge(cast):
    return GaugeFactory(number="CA-01")


def test_combines_a_caliper_as_published():
    found = combined(CALIPER)
    assert found.standard == pytest.approx(0.033, abs=0.001)
    assert found.shares[1] == pytest.approx(0.80, abs=0.01)


@pytest.mark.parametrize(
    ("line", "standard"),
    [
        (Line("certificate", Decimal("0.02"), "normal", Decimal(2)), 0.01),
        (Line("limits", Decimal(3), "rectangular"), 3 / 3**0.5),  # GUM 4.3.7
        (Line("limits", Decimal(6), "triangular"), 6 / 6**0.5),  # GUM 4.3.9
        (Line("swing", Decimal(2), "u_shaped"), 2 / 2**0.5),  # arcsine
    ],
)
def test_divides_by_what_belongs_to_the_distribution(line, standard):
    assert line.standard == pytest.approx(standard)


@pytest.mark.parametrize(("expanded", "kept"), [(0.06531, "0.066"), (0.06, "0.06"), (1.234, "1.3"), (0, "0")])
def test_rounds_up_to_two_digits(expanded, kept):
    assert rounded_up(expanded) == Decimal(kept)


def test_gives_its_uncertainty_to_a_calibration_that_states_none(cast, gauge, fixed_now):
    card = set_budget(by=cast.metrology, number="CA-01", lines=CALIPER, at=fixed_now)
    assert (card.expanded, card.lines[0].divisor) == (Decimal("0.065"), "√3")
    told = {"done_on": fixed_now.date(), "done_by": "Room 2", "outcome": "passed"}
    record_calibration(by=cast.metrology, number="CA-01", at=fixed_now, **told)
    assert gauge_by_number("CA-01", fixed_now).expanded_uncertainty == Decimal("0.065")
    record_calibration(
        by=cast.metrology, number="CA-01", at=fixed_now, expanded_uncertainty=Decimal("0.04"), **told
    )  # fmt: skip
    assert gauge_by_number("CA-01", fixed_now).expanded_uncertainty == Decimal("0.04")


def test_refuses_a_budget_that_says_nothing(cast, gauge, fixed_now):
    for lines, code in (
        ([], "budget_empty"),
        ([Line("", Decimal(1))], "text_missing"),
        ([Line("a", Decimal(1), "bell")], "budget_line"),
        ([Line("a", Decimal("NaN"))], "budget_line"),
        ([Line("a", Decimal(1), "normal", Decimal(0))], "factor_invalid"),
        ([Line("a", Decimal(-1), "rectangular")], "uncertainty_negative"),
    ):
        with refused(code, "gauges"):
            set_budget(by=cast.metrology, number="CA-01", lines=lines, at=fixed_now)
    with refused("not_permitted", "gauges"):
        set_budget(by=cast.inspector, number="CA-01", lines=CALIPER, at=fixed_now)


def test_keeps_owner_place_and_the_last_picture(cast, gauge, fixed_now, settings, tmp_path):
    settings.QCAPP_DATA_DIR = tmp_path
    told = {"by": cast.metrology, "number": "CA-01", "at": fixed_now}
    first = keep_gauge(**told, owner="tube shop", place="drawer 2", picture=picture(), picture_name="ca.jpg")
    keep_gauge(**told, owner="tube shop", place="drawer 3")
    found = keeping_of(gauge.pk)
    assert (found.place, found.picture_uuid) == ("drawer 3", first.picture_uuid)
    with refused("not_permitted", "gauges"):
        keep_gauge(**(told | {"by": cast.inspector}), owner="me", place="pocket")
    with refused("gauge_unknown", "gauges"):
        keep_gauge(**(told | {"number": "XX"}), owner="me", place="pocket")


def test_is_typed_on_the_gauges_page(cast, gauge, client_of):
    client = client_of(cast.metrology)
    rows = {"line_name": ["certificate", "resolution", ""], "line_value": ["0,02", "0.005", ""],
            "line_distribution": ["normal", "rectangular", "normal"], "line_divisor": ["2", "", ""],
            "line_sensitivity": ["", "", ""]}  # fmt: skip
    assert client.post("/gauges/CA-01/budget/", rows).status_code == 302
    assert client.post("/gauges/CA-01/keeping/", {"owner": "tube shop", "place": "drawer 2"}).status_code == 302
    page = client.get("/gauges/CA-01/").text
    for text in ("drawer 2", "√3", "with k = 2, rounded up"):
        assert text in page
    wrong = client.post("/gauges/CA-01/budget/", {"line_name": ["scale"], "line_value": ["a lot"]})
    assert wrong.status_code == 400
    assert 'value="scale"' in wrong.text  # what was typed stays
    assert "Component 1:" in wrong.text
    assert budget_of(gauge.pk).expanded == Decimal("0.021")
