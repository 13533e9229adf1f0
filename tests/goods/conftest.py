"""A mill certificate with a heat in order, and a family whose lots are sampled."""

from __future__ import annotations

from typing import Any

import pytest

from qcapp.goods.services import decide_heat, enter_certificate
from qcapp.people.services import demonstration_proof
from qcapp.production.services import add_family
from tests.cast import FIXED_NOW, Cast
from tests.evidence.files import pdf
from tests.factories.inspections import release_plan

# A typical analysis of 4130 inside SAE J404; invented, with a comma and parts per million as mills write them.
CHEMISTRY = {
    "C": "0,31", "Mn": "0.52 %", "P": "110 ppm", "S": "0.008", "Si": "0,25", "Cr": "0.95", "Mo": "2000 ppm",
}  # fmt: skip
STRENGTH = {"yield_MPa": "610", "ultimate_MPa": "702", "elongation_2in_pct": "14,5", "hardness_RB": "94"}
PLAN = """\
stage_number,stage_name,hold_point,number,key,title,kind,nominal,limits,unit_of_measure,decimals,formula,form,criticality,gauge_kinds,frequency,second_inspection,joint
1,Cut tubes,no,101,length,Length of the tube,measured,412.0,±0.5,mm,1,,,major,,every,no,
1,Cut tubes,no,102,burr,Burr removed,attribute,,,,,,,minor,,every,no,
"""


def heat(**changes: Any) -> dict[str, Any]:
    given = {
        "number": "H4711", "grade": "4130", "condition": "DOM as drawn", "size": "38.1 × 2.11 mm",
        "thickness": "2,11", "composition": CHEMISTRY, "properties": STRENGTH,
    }  # fmt: skip
    return given | changes


def enter(cast: Cast, *heats: dict[str, Any], number: str = "MC-1001", **more: Any) -> Any:
    return enter_certificate(
        by=cast.goods_in, supplier="Millbrook Tube", number=number, paper=pdf(), paper_name="mc.pdf",
        heats=heats or [heat()], at=FIXED_NOW, **more,
    )  # fmt: skip


def decide(person: Any, verdict: str = "accepted", reason: str = "", number: str = "H4711") -> Any:
    return decide_heat(
        proof=demonstration_proof(person, FIXED_NOW), heat_number=number, verdict=verdict, reason=reason, at=FIXED_NOW
    )


@pytest.fixture
def data_folder(settings, tmp_path):
    settings.QCAPP_DATA_DIR = tmp_path
    return tmp_path


@pytest.fixture
def accepted(cast, data_folder):
    """Heat H4711, certified and accepted."""
    for name in ("goods_in", "quality_manager", "second_quality_manager", "inspector", "engineer"):
        getattr(cast, name)
    enter(cast)
    return decide(cast.goods_in)


@pytest.fixture
def kit(cast, accepted):
    """TK-200 cut-tube kit with a released plan."""
    add_family(
        by=cast.quality_manager, code="TK-200", name="cut-tube kit", serial_pattern="TK-200-{number:4}",
        certificate_prefix="TK", at=FIXED_NOW,
    )  # fmt: skip
    release_plan(cast, family_code="TK-200", letter="A", text=PLAN, at=FIXED_NOW)
    return "TK-200"
