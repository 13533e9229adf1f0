"""Lots that were sent out before units could be: their rows come over by item, and go back while no unit was sent."""

from __future__ import annotations

from typing import Any

import pytest
from django.core.management import call_command
from django.db import connection, transaction

from qcapp.goods.models import OutsideProcess
from qcapp.goods.services.outside import send_out
from qcapp.lib import guards
from qcapp.production.queries import family_by_code
from qcapp.production.services.lots import create_lot, enter_heat, set_heat_state
from qcapp.production.states import HeatState
from tests.cast import FIXED_NOW, Cast
from tests.factories.production import FamilyFactory, ItemFactory, UnitFactory


def rows(column: str) -> list[tuple[Any, ...]]:
    with connection.cursor() as cursor:
        cursor.execute(f"SELECT {column}, kind, supplier FROM goods_outsideprocess ORDER BY id")
        return [tuple(row) for row in cursor.fetchall()]


@pytest.mark.django_db(transaction=True)
def test_takes_the_lots_that_were_sent_out_over_and_back(cast: Cast) -> None:
    family = FamilyFactory(code="TK-200").code
    heat = enter_heat(by=cast.goods_in, number="H1", supplier="S", grade="4130", at=FIXED_NOW)
    set_heat_state(heat_id=heat.id, state=HeatState.ACCEPTED)
    make = {"by": cast.goods_in, "family": family_by_code(family), "quantity": 9, "at": FIXED_NOW}
    with transaction.atomic():
        first, second = (create_lot(heat_numbers=["H1"], **make) for _ in range(2))
    told = {"by": cast.goods_in, "kind": "coating", "supplier": "Tarn", "high_strength": False, "at": FIXED_NOW}
    for lot in (second, first):
        send_out(code=lot.code, **told)
    try:
        call_command("migrate", "goods", "0004", verbosity=0)
        assert rows("lot_id") == [(second.id, "coating", "Tarn"), (first.id, "coating", "Tarn")]
    finally:
        call_command("migrate", "goods", verbosity=0)
    assert rows("item_id") == [(second.item_id, "coating", "Tarn"), (first.item_id, "coating", "Tarn")]
    assert guards.missing(connection, guards.guards_of()) == {}
    unit = UnitFactory(item=ItemFactory(family=FamilyFactory(code="FK-30")), number=31)
    send_out(code=unit.serial, **told)
    before = rows("item_id")
    with pytest.raises(RuntimeError, match="Units were sent out"):
        call_command("migrate", "goods", "0004", verbosity=0)
    assert rows("item_id") == before
    assert OutsideProcess.objects.count() == 3
