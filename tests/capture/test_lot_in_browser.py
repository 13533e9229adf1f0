"""A lot's sample as a grid: down a column without network, counted against the numbers that refuse the lot."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest
from django.utils import timezone

from qcapp.goods.queries.lots import sample_of
from qcapp.goods.services.lots import open_lot, sample_lot
from qcapp.inspections.models import Result
from qcapp.production.models import Heat

from .conftest import Shop, Tablet
from .test_floor_look import boxes, found, resize
from .test_more_looks import assert_keys_in_sight

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

IN_SIGHT = """(selector) => {
    const node = document.querySelector(selector);
    const box = node.getBoundingClientRect();
    return node.contains(document.elementFromPoint(box.x + box.width / 2, box.y + box.height / 2));
}"""


@pytest.fixture(scope="module")
def axe() -> Any:
    from axe_playwright_python.sync_playwright import Axe

    return Axe()


def test_goes_down_a_column_and_counts_what_refuses_the_lot(
    tablet: Callable[..., Tablet], shop: Shop, axe: Any
) -> None:
    by, at = shop.people["1008"], timezone.now()
    Heat.objects.create(
        number="H1", lookup="H1", supplier="Fenwater (invented)", grade="4130", state="accepted", entered_by=by,
        entered_at=at,
    )  # fmt: skip
    lot = open_lot(by=by, family_code="BN-1", quantity=60, heat_numbers=["H1"], at=at)
    sample_lot(by=by, lot_code=lot.code, at=at)
    drawn = sample_of(lot.id)
    assert drawn is not None
    counted = set(drawn.plans["major"]["pieces"])
    first, second = drawn.pieces[:2]
    one = tablet(path=f"/floor/lots/{lot.code}/")
    one.until("navigator.serviceWorker.controller !== null")
    one.page.wait_for_selector(".lot-grid table")
    one.context.set_offline(True)
    one.enter("62.10")
    one.until(f"document.querySelector('[data-cell=\"{first} width\"]').className.includes('in')")
    one.enter("63.00")
    one.until(f"document.querySelector('[data-cell=\"{second} width\"]').className.includes('out')")
    assert f"Piece {second}, 101: Out of band" in one.page.inner_text("#said")
    number = int(second in counted)
    said = f"{number} of {len(counted)} {'does' if number == 1 else 'do'} not conform"
    assert said in one.page.inner_text('[data-class="major"]')
    one.until_on_tablet(2)
    assert "Sent 0" in one.foot()  # what waits here is not sent, and what is computed nobody entered
    assert "Correct this entry" in one.page.inner_text("#said")
    one.page.reload()  # the page opens from the tablet, with what was entered
    one.page.wait_for_selector(".lot-grid table")
    assert "63.00" in one.page.inner_text(f'[data-cell="{second} width"]')
    assert found(axe, one) == []
    resize(one, "phone")
    one.page.click(f'[data-cell="{drawn.pieces[2]} width"]')
    assert_keys_in_sight(one)
    assert one.page.evaluate(IN_SIGHT, f'[data-cell="{drawn.pieces[2]} width"]')
    one.page.click(f'[data-cell="{drawn.pieces[2]} leak"]')  # by verdict, with instruction and caution above
    (verdict,), (foot,) = boxes(one, ".answer.in"), boxes(one, "#foot")
    assert verdict["y"] + verdict["h"] <= foot["y"]
    one.context.set_offline(False)
    one.until_sent()
    assert "Sent 2" in one.foot()
    rows = {row.item.unit.number: row for row in Result.objects.filter(item__piece__lot=lot.id, purpose="reading")}
    assert {place: row.outcome for place, row in rows.items()} == {first: "in_band", second: "out_of_band"}
    one.page.click(f'[data-cell="{second} width"]')
    one.page.click("text=Bench of piece")
    one.page.wait_for_selector("#question")
    assert "Axle plates, distance" in one.page.inner_text("#question")
