"""Who is affected by a supplier: by the lots that its deliveries became, and by those that it plated."""

from __future__ import annotations

from typing import Any

import pytest

from qcapp.affected.answering import answer
from qcapp.affected.asking import Term
from qcapp.core.errors import NotFound
from qcapp.goods.services import receive_delivery
from qcapp.goods.services.outside import receive_back, send_out
from qcapp.production.models import Lot
from qcapp.production.queries.as_built import lot_by_code
from qcapp.production.services.components import install_component, use_material
from tests.cast import FIXED_NOW, Cast
from tests.evidence.files import pdf
from tests.factories.production import FamilyFactory, ItemFactory, UnitFactory
from tests.goods.conftest import accepted, data_folder  # noqa: F401 - fixtures
from tests.goods.test_planned_lots import shells  # noqa: F401 - a fixture

pytestmark = pytest.mark.django_db
FRAME, CARRIER, OTHER = "FR-200-0147", "AX-200-0012", "FR-200-0148"


def delivered(cast: Cast, supplier: str) -> str:
    """A lot of shells without any heat, from this supplier, as if its sample had been accepted."""
    line = {"description": "shell", "quantity": "20", "unit_of_measure": "pcs", "family": "MG-5"}
    card = receive_delivery(by=cast.goods_in, supplier=supplier, note_number="LS-1", lines=[line], at=FIXED_NOW)
    code = card.lines[0].lot_code
    Lot.objects.filter(code=code).update(state="accepted")
    return code


def serials(supplier: str) -> list[str]:
    return [row.serial for row in answer(Term("supplier", supplier)).rows]


@pytest.fixture
def frames(cast: Cast, shells: Any) -> None:  # noqa: F811 - the fixture above
    """A shell of Presswork Lane is in a carrier that is in a frame; another frame has one of Tinsmith Row."""
    family = FamilyFactory(code="FR-200", name="trike frame")
    for number in (147, 148):
        UnitFactory(item=ItemFactory(family=family), number=number)
    UnitFactory(item=ItemFactory(family=FamilyFactory(code="AX-200", name="axle carrier")), number=12)
    told = {"by": cast.assembler, "quantity": 1, "at": FIXED_NOW}
    use_material(serial=CARRIER, lot_code=delivered(cast, "Presswork Lane"), **told)
    use_material(serial=OTHER, lot_code=delivered(cast, "Tinsmith Row"), **told)


def test_names_the_units_with_a_lot_that_it_delivered_and_no_others(cast: Cast, frames: None) -> None:
    assert serials("presswork lane") == [CARRIER]
    assert serials("Tinsmith Row") == [OTHER]
    from qcapp.production.models import Unit

    Unit.objects.filter(serial=CARRIER).update(state="released")
    install_component(by=cast.assembler, serial=FRAME, component_serial=CARRIER, link="welded_in", at=FIXED_NOW)
    assert serials("Presswork Lane") == [CARRIER, FRAME]


def test_names_the_units_with_a_lot_that_it_plated(cast: Cast, frames: None) -> None:
    told: dict[str, Any] = {"by": cast.goods_in, "code": "MG-5-L0002", "at": FIXED_NOW}
    send_out(kind="plating", supplier="Tarn Plating", high_strength=False, **told)
    line = {"description": "plated shells", "quantity": "20", "unit_of_measure": "pcs"}
    back = receive_delivery(by=cast.goods_in, supplier="Tarn Plating", note_number="9", lines=[line], at=FIXED_NOW)
    receive_back(delivery_number=back.number, paper=pdf(), paper_name="p.pdf", **told)
    assert lot_by_code("MG-5-L0002").usable
    assert serials("Tarn Plating") == serials("Tinsmith Row") == [OTHER]


def test_names_nobody_for_a_supplier_of_what_is_in_no_unit_and_refuses_an_unknown_one(cast: Cast, frames: None) -> None:
    delivered(cast, "Bench Supplies")
    assert serials("Bench Supplies") == []
    with pytest.raises(NotFound):
        serials("Bench Supply")
