"""A gauge that does not read so far: not offered for limits that it does not reach, refused for a value beyond."""

from __future__ import annotations

from collections.abc import Callable
from datetime import timedelta
from decimal import Decimal

import pytest
from django.db import connection
from django.utils import timezone

from qcapp.gauges import services as gauges
from qcapp.gauges.models import Calibration, Gauge
from qcapp.inspections.queries.proof import unproven_in
from qcapp.lib.guards import lifted, on_tables
from qcapp.lib.site_days import site_day

from .conftest import Shop, Tablet
from .test_faults import at_work, until_sent

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]
Tablets = Callable[..., Tablet]


def make_height_gauge(shop: Shop, number: str, upper: str) -> None:
    """A height gauge in calibration beside HG-07 and HG-08 (0 to 600 mm)."""
    if Gauge.objects.filter(number=number).exists():
        return
    now, by = timezone.now(), shop.people["1010"]
    gauges.add_gauge(
        by=by, number=number, kind_key="height_gauge", description="height gauge", unit_of_measure="mm",
        range_lower=Decimal(0), range_upper=Decimal(upper), resolution=Decimal("0.01"), at=now,
    )  # fmt: skip
    gauges.record_calibration(
        by=by, number=number, done_on=now.date(), outcome="passed", done_by="Calibration room", certificate="C-1",
        expanded_uncertainty=Decimal("0.01"), at=now,
    )  # fmt: skip


def test_does_not_offer_a_gauge_that_does_not_reach_the_limits(tablet: Tablets, shop: Shop) -> None:
    make_height_gauge(shop, "HG-50", "50")
    one = tablet().at("width")  # 61.5 to 62.5 mm
    one.page.click("#gauge")
    offered = one.page.locator("dialog[open] .picks strong").all_inner_texts()
    numbers = {text.split()[0] for text in offered}
    assert {"HG-07", "HG-08"} <= numbers
    assert "HG-50" not in numbers


def test_refuses_a_value_beyond_the_gauge_in_hand_and_offers_the_next_that_reads_so_far(
    tablet: Tablets, shop: Shop
) -> None:
    make_height_gauge(shop, "HG-63", "63")
    one = at_work(tablet()).at("width")
    one.context.set_offline(True)
    one.page.click("#gauge")
    one.page.get_by_role("button", name="HG-63").click()
    one.type("63.2")
    one.page.press("input#value", "Enter")
    question = one.page.inner_text("dialog[open]")
    assert "HG-63 reads from 0 to 63: this value is no reading of it" in question
    assert "HG-63 height gauge" not in question
    one.page.get_by_role("button", name="HG-08").click()
    one.until("/Measure with HG-08/.test(document.querySelector('#typing-error').innerText)")
    assert one.page.input_value("input#value") == ""
    assert one.page.locator(".verdict").count() == 0
    one.enter("63.18")
    one.page.wait_for_selector(".verdict")
    one.context.set_offline(False)
    until_sent(one)
    (answer,) = shop.answers("width")
    assert (answer.raw, answer.gauge.number, "gauge_out_of_range" in answer.flags) == ("63.18", "HG-08", False)


def test_keeps_and_marks_a_value_where_no_gauge_reads_so_far(tablet: Tablets, shop: Shop) -> None:
    one = at_work(tablet()).at("bore")  # the only bore gauge reads 18 to 60 mm
    one.context.set_offline(True)
    for value in ("17.5", "17.5", "17.6", "17.6", "17.7", "17.7"):
        one.enter(value)
    one.page.wait_for_selector(".verdict")
    assert "lies outside the gauge's measuring range" in one.verdict()
    one.context.set_offline(False)
    until_sent(one)
    assert "gauge_out_of_range" in shop.answers("bore")[0].flags


def test_keeps_and_marks_a_reading_with_a_gauge_that_fell_due_while_the_tablet_was_away(
    tablet: Tablets, shop: Shop
) -> None:
    make_height_gauge(shop, "HG-77", "600")
    one = at_work(tablet()).at("width")
    one.context.set_offline(True)
    one.page.click("#gauge")
    one.page.get_by_role("button", name="HG-77").click()
    one.enter("62.10")
    assert "In band: 62.1" in one.verdict()  # the tablet cannot know it
    with lifted("a gauge falls due in a test", on_tables(connection)):
        yesterday = site_day(timezone.now()) - timedelta(days=1)
        rows = Calibration.objects.filter(gauge__number="HG-77")
        with connection.cursor() as cursor:
            told = [yesterday.isoformat(), rows.get().pk]
            cursor.execute(f"UPDATE {Calibration._meta.db_table} SET due_on = %s WHERE id = %s", told)
    one.context.set_offline(False)
    until_sent(one)
    (answer,) = shop.answers("width")
    assert (answer.raw, answer.outcome, answer.flags) == ("62.10", "in_band", ["gauge_overdue"])
    one.until("/calibration/.test(document.querySelector('.verdict').innerText)")
    (open_one,) = unproven_in(shop.view())
    assert (open_one.about, open_one.decided) == ("gauge_overdue", False)
