"""What it costs: minutes at the rate of the day, material, sums checked by hand, mistakes taken back."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as some

from qcapp.improvement.queries.actions import action, costs_of_report
from qcapp.improvement.queries.seeing import Wanted, cost_of_actions, costs_by_cause
from qcapp.improvement.queries.settings import setting
from qcapp.improvement.services.costs import cents_of, record_cost, reverse_cost
from qcapp.nonconformance.models import Report

from ..factories.improvement import LATER, Led, set_up
from ..factories.inspections import Workshop
from ..factories.nonconformance import Case
from ..unchanged import refused

pytestmark = pytest.mark.django_db


def cost(case: Case, minutes: int = 90, material: str = "12.50", **changes: Any) -> int:
    told = {"by": case.cast.quality_manager, "about": case.number, "what": "Straightened", "at": LATER} | changes
    return record_cost(minutes=minutes, material=Decimal(material), **told)


@pytest.fixture
def case(workshop: Workshop) -> Case:
    return Case.out_of_band(workshop)


def entries(case: Case) -> Any:
    return costs_of_report(Report.objects.get(number=case.number).pk)


def test_adds_minutes_at_the_rate_and_material(case: Case) -> None:
    cost(case)
    (one,) = entries(case)
    assert (one.sum, one.currency, one.rate_per_hour) == (Decimal("102.50"), "EUR", Decimal(60))


def test_keeps_the_rate_of_its_day(case: Case) -> None:
    cost(case, 60, "0")
    set_up(case.cast, rate_per_hour=Decimal("75.50"))
    cost(case, 60, "0")
    assert [one.sum for one in entries(case)] == [Decimal(60), Decimal("75.5")]


@given(
    minutes=some.integers(0, 60_000),
    rate=some.decimals(0, 10_000, places=2, allow_nan=False),
    material=some.decimals(0, 1_000_000, places=2, allow_nan=False),
)
def test_rounds_once_at_the_end(minutes: int, rate: Decimal, material: Decimal) -> None:
    exact = rate * 100 * minutes / 60 + material * 100
    assert abs(cents_of(minutes, rate, material) - exact) <= Decimal("0.5")


def test_takes_a_wrong_entry_back_and_keeps_both(case: Case) -> None:
    key = cost(case)
    reverse_cost(by=case.cast.quality_manager, entry_id=key, reason="Typed twice", at=LATER)
    assert [one.cents for one in entries(case)] == [10250, -10250]
    with refused("cost_taken_back", "improvement"):
        reverse_cost(by=case.cast.quality_manager, entry_id=key, reason="Again", at=LATER)
    with refused("cost_unknown", "improvement"):
        reverse_cost(by=case.cast.quality_manager, entry_id=entries(case)[1].id, reason="The reversal", at=LATER)


@pytest.mark.parametrize(
    ("changes", "code"),
    [
        ({"minutes": 0, "material": "0"}, "cost_empty"),
        ({"minutes": -1}, "cost_out_of_range"),
        ({"minutes": 60_001}, "cost_out_of_range"),
        ({"material": "NaN"}, "cost_out_of_range"),
        ({"what": " "}, "text_missing"),
        ({"about": "NCR-1999-0001"}, "report_unknown"),
        ({"about": "CA-1999-0001"}, "action_unknown"),
    ],
)
def test_refuses_what_is_no_cost(case: Case, changes: dict[str, Any], code: str) -> None:
    assert case.cast.quality_manager
    with refused(code, "improvement"):
        cost(case, **changes)


def test_costs_nothing_before_a_rate_is_set(cast: Any) -> None:
    case = Case.out_of_band(Workshop.opened(cast))
    assert setting().rate_per_hour is None
    assert cast.quality_manager
    with refused("rate_not_set", "improvement"):
        cost(case)


def test_lets_only_those_of_the_table_record_and_set(case: Case) -> None:
    with refused("not_permitted", "improvement"):
        cost(case, by=case.cast.welder)
    with refused("not_permitted", "improvement"):
        from qcapp.improvement.services.settings import set_improvement

        set_improvement(
            by=case.cast.engineer, rate_per_hour=Decimal(1), currency="EUR", similar_count=3, similar_days=3,
            units_wanted=3, at=LATER,
        )  # fmt: skip


@pytest.mark.parametrize(
    ("changes", "code"),
    [
        ({"rate_per_hour": Decimal("-1")}, "rate_out_of_range"),
        ({"rate_per_hour": Decimal("NaN")}, "rate_out_of_range"),
        ({"currency": "eur"}, "currency_form"),
        ({"similar_count": 1}, "number_out_of_range"),
        ({"similar_days": 0}, "number_out_of_range"),
        ({"units_wanted": 1}, "number_out_of_range"),
    ],
)
def test_refuses_a_setting_out_of_range(workshop: Workshop, changes: dict[str, Any], code: str) -> None:
    with refused(code, "improvement"):
        set_up(workshop.cast, **changes)


def test_adds_up_by_cause(workshop: Workshop, case: Case) -> None:
    case.decide(cause="method")
    cost(case)
    cost(case, 30, "0")
    other = Case.out_of_band(workshop.another_unit("FR-200-0148"))
    cost(other, 0, "7.25")
    rows = {one.cause: (one.reports, one.minutes, one.material, one.cents) for one in costs_by_cause(Wanted())}
    assert rows == {
        "method": (1, 120, Decimal("12.50"), 13250),
        "not known yet": (1, 0, Decimal("7.25"), 725),
    }


def test_costs_an_action_as_well(thrice: Workshop) -> None:
    led = Led.opened(thrice)
    record_cost(
        by=led.cast.engineer, about=led.number.lower(), what="New bolt", minutes=15, material=Decimal(3), at=LATER
    )
    assert action(led.number).spent == Decimal(18)
    assert cost_of_actions() == 1800
