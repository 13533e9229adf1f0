"""Goods of the demonstration, invented: heats, lots of cut tubes, parts in frames, places, customers."""

from __future__ import annotations

import random
from datetime import datetime, timedelta
from typing import TYPE_CHECKING, Any

import uuid_utils.compat as uuids

from qcapp.certificates.queries import certificates_of
from qcapp.customers import services as customers
from qcapp.gauges.queries import all_gauges
from qcapp.goods import services as goods
from qcapp.goods.queries.lots import drawn_pieces
from qcapp.goods.services import lots
from qcapp.goods.services.verifying import ask_verification, issue_material
from qcapp.inspections.queries import adopted
from qcapp.inspections.services import record_operations
from qcapp.lib.pdf import html_to_pdf
from qcapp.lib.site_days import site_day
from qcapp.people.roles import Role
from qcapp.people.services import demonstration_proof
from qcapp.production.queries import find_units, unit_by_serial
from qcapp.production.queries.as_built import lots as all_lots
from qcapp.production.services.components import install_component
from qcapp.production.services.places import add_place, move_item
from qcapp.production.services.stations import set_station

if TYPE_CHECKING:
    from .cast import Cast
    from .player import UnitPlayer

MILL = "Fenwater Tube (invented)"
GOOD = {"C": "0,31", "Mn": "0.52", "P": "110 ppm", "S": "0.008", "Si": "0,25", "Cr": "0.95", "Mo": "0.20"}
MILD = {"C": "0.19", "Mn": "0.45", "P": "0.012", "S": "0.010"}
STRENGTH = {"yield_MPa": "628", "ultimate_MPa": "711", "elongation_2in_pct": "13", "hardness_RB": "94"}
MILD_STRENGTH = {"yield_MPa": "455", "ultimate_MPa": "521", "elongation_2in_pct": "14", "hardness_RB": "86"}
LOW_ALLOY = "4130"
WRONG = "Q7715"  # the heat whose second analysis said otherwise
PLACES = {
    "BENCH-1": "alignment bench", "CELL-1": "weld cell 1", "CELL-3": "assembly cell 3",
    "RACK-A": "finished frames, rack A", "RACK-B": "frames in build, rack B",
    "TUBES-1": "tube store 1", "YARD-2": "yard, row 2",
}  # fmt: skip
STATIONS = {"BENCH-1": (2, 5), "CELL-1": (3, 4), "CELL-3": (6, 7)}  # of the frames
BUYERS = {
    "C-101": "Hollow Lane Orchards (invented)", "C-102": "Sallow Ridge Fruit (invented)",
    "C-103": "Dealer Pennyfield Motors (invented)",
}  # fmt: skip
SHIPPED = range(128, 140)
SET = ("AX-200", "FK-30", "FT-14", "HT-6")
WITH_SET = {137: 90, 138: 91, 139: 92}  # frame: number of its components
FROM_WRONG = range(133, 139)


def make_goods(cast: Cast, at: datetime, now: datetime) -> None:
    """Places, heats with their certificates, and four lots of cut tubes, before the first frame is opened."""
    by = cast.with_role(Role.GOODS_IN)
    for code, name in PLACES.items():
        add_place(by=by, code=code, name=name, at=at)
    for code, stages in STATIONS.items():
        set_station(by=cast.with_role(Role.KEEPER), place_code=code, family_code="FR-200", stages=stages, at=at)
    _certify(by, "MC-88214", at, _tube("Q7714", "4130", GOOD, STRENGTH), _tube(WRONG, "4130", GOOD, STRENGTH))
    _certify(by, "MC-88240", at, _tube("M2208", "1020", MILD, MILD_STRENGTH))
    proof = demonstration_proof(by, at)
    for number in ("Q7714", WRONG, "M2208"):
        goods.decide_heat(proof=proof, heat_number=number, verdict="accepted", reason="", at=at)
    for number, metres in (("Q7714", "96"), (WRONG, "72,5"), ("M2208", "48")):
        line = {"description": f"drawn tube, heat {number}", "quantity": metres, "unit_of_measure": "m", "heat": number}
        goods.receive_delivery(by=by, supplier=MILL, note_number=f"LS-{number}", lines=[line], at=at)
    reason = "A bar of mild tube was found among low-alloy ones in the rack last year."
    ask_verification(by=cast.with_role(Role.WELDING_COORDINATOR), grade=LOW_ALLOY, reason=reason, at=at)
    for place, (heats, bad) in enumerate(((["Q7714", "M2208"], 0), ([WRONG, "M2208"], 0), (["Q7714"], 2))):
        _lot(cast, heats, bad, at + timedelta(days=1, hours=place), now)
    last = lots.open_lot(by=by, family_code="TK-200", quantity=60, heat_numbers=["Q7714"], at=at + timedelta(days=2))
    lots.sample_lot(by=by, lot_code=last.code, at=at + timedelta(days=2))


def _tube(number: str, grade: str, chemistry: dict[str, str], strength: dict[str, str]) -> dict[str, Any]:
    return {
        "number": number, "grade": grade, "condition": "DOM as drawn", "size": "38.1 × 2.11 mm", "thickness": "2,11",
        "composition": chemistry, "properties": strength,
    }  # fmt: skip


def _certify(by: Any, number: str, at: datetime, *heats: dict[str, Any]) -> None:
    rows = "".join(f"<p>Heat {heat['number']}, {heat['grade']}: {heat['composition']}</p>" for heat in heats)
    html = f"<h1>Inspection certificate {number}</h1><p>{MILL}. Demonstration, not valid.</p>{rows}"
    paper = html_to_pdf(html, identifier=number, created=at, title=number)
    goods.enter_certificate(
        by=by, supplier=MILL, number=number, paper=paper, paper_name=f"{number}.pdf", heats=heats, at=at
    )


def _lot(cast: Cast, heats: list[str], bad: int, at: datetime, now: datetime) -> None:
    """A lot of a hundred, sampled and judged; with `bad` pieces it is refused and sorted."""
    by = cast.with_role(Role.GOODS_IN)
    lot = lots.open_lot(by=by, family_code="TK-200", quantity=100, heat_numbers=heats, at=at)
    for number in heats:
        if number != "M2208":
            goods.verify_grade(by=by, heat_number=number, method="alloy analyser", grade_found=LOW_ALLOY, at=at)
        goods.record_cut(
            by=by, heat_number=number, stock=f"tubes for {lot.code}", pieces=100 // len(heats), pieces_marked=True,
            remnant=f"R-{number}", remnant_marked=True, lot_code=lot.code, at=at,
        )  # fmt: skip
    sampled = lots.sample_lot(by=by, lot_code=lot.code, at=at)
    wrong = set(sampled.plans["major"]["pieces"][:bad])
    _measure(cast, lot.id, wrong, at, now)
    lots.judge_lot(by=by, lot_code=lot.code, at=at + timedelta(hours=1))
    if bad:
        proof = demonstration_proof(by, at + timedelta(hours=3))
        remark = "Every length with the long caliper; the stop of the saw had moved."
        lots.sort_lot(proof=proof, lot_code=lot.code, removed=7, remark=remark, at=at + timedelta(hours=3))


def _measure(cast: Cast, lot_id: int, wrong: set[int], at: datetime, now: datetime) -> None:
    """The drawn pieces, answered by an inspector."""
    inspector, dice = cast.with_role(Role.INSPECTOR), random.Random(lot_id)  # noqa: S311 - readings, no secret
    gauge = next(one.number for one in all_gauges(now) if one.kind_key == "long_caliper" and one.usable)
    operations = []
    for piece in drawn_pieces(lot_id):
        revision = str(adopted(piece.unit.item_id).revision.uuid)
        length = "613.1" if piece.number in wrong else f"{612 + dice.gauss(0, 0.1):.1f}"
        given = {"length": {"value": length}, "heat_mark": {"conforms": True}, "burr": {"conforms": True}}
        operations += [
            {
                "id": str(uuids.uuid7()), "v": 1, "kind": "result", "serial": piece.unit.serial, "revision": revision,
                "checkpoint": key, "round": 1, "inspection": 1, "purpose": "reading", "answer": answer, "raw": "",
                "gauge": gauge if key == "length" else None, "recorded_at": at.isoformat(),
                "recorded_by": inspector.badge, "base": None, "reason": "",
            }
            for key, answer in given.items()
        ]  # fmt: skip
    said = record_operations(sent_by=inspector, device="tablet-goods", sent_at=at, operations=operations, at=at)
    if any(one.outcome != "applied" for one in said):
        raise RuntimeError(f"A piece of lot {lot_id} was not recorded: {said[0].message}")


# -------------------------------------------------------------------------------------------- while a frame is built


def use_tubes(player: UnitPlayer) -> None:
    """The lot that a frame is made of, recorded when it is opened."""
    story = player.story
    if story.family != "FR-200" or not all_lots(1):  # a frame played by itself, without its goods
        return
    code = "TK-200-L0002" if story.number in FROM_WRONG else "TK-200-L0001" if story.number < 140 else "TK-200-L0003"
    issue_material(
        by=player.inspector, serial=story.serial, lot_code=code, quantity=4, use="main tubes", at=player.shift.at
    )


def fit_components(player: UnitPlayer, link: str) -> None:
    """Axle carrier, fork and tanks of a frame that has a set of its own: trial-fitted first, delivered with it then."""
    has_set = player.story.family == "FR-200" and all_lots(1)
    number = WITH_SET.get(player.story.number) if has_set else None
    for family in SET if number else ():
        install_component(
            by=player.cast.with_role(Role.ASSEMBLER), serial=player.story.serial,
            component_serial=f"{family}-{number:04}", link=link, place_code="CELL-3", at=player.shift.after(3),
        )  # fmt: skip


# -------------------------------------------------------------------------------------------------- afterwards


def send_out(cast: Cast, now: datetime) -> None:
    """Customers with their orders, dispatched frames, two service events, and the heat found wrong."""
    service, dispatcher = cast.with_role(Role.CUSTOMER_SERVICE), cast.with_role(Role.DISPATCH)
    begin = now - timedelta(days=20)
    for number, name in BUYERS.items():
        customers.add_customer(by=service, number=number, name=name, contact="by telephone", at=begin)
    for place, frame in enumerate(SHIPPED):
        _ship(dispatcher, f"FR-200-{frame:04}", list(BUYERS)[place % len(BUYERS)], begin + timedelta(days=place))
    _order_frames(service, begin, now)
    for frame in (141, 142, 143):
        move_item(by=dispatcher, code=f"FR-200-{frame:04}", place_code="RACK-B", at=now - timedelta(days=2))
    for serial, kind, text in (
        ("FR-200-0131", "complaint", "Pulls to the left under load; owner asks whether the axle was straight."),
        ("FR-200-0129", "repair", "Left footrest bracket bent in a gateway, straightened by the dealer."),
    ):
        day = (now - timedelta(days=2)).date()
        customers.record_event(by=service, serial=serial, kind=kind, happened_on=day, text=text, at=now)
    _find_wrong_heat(cast, now - timedelta(days=1))


def _order_frames(by: Any, begin: datetime, now: datetime) -> None:
    """Orders of frames that are still being built, each due some days from now; one was due yesterday."""
    numbers = sorted({unit.order_number for unit in find_units("FR-200-014") if unit.order_number})
    for place, number in enumerate(numbers):
        buyer, due = list(BUYERS)[place % len(BUYERS)], site_day(now + timedelta(days=3 * place - 1))
        customers.add_order(by=by, number=number, customer_number=buyer, due_on=due, at=begin)


def _ship(by: Any, serial: str, customer: str, at: datetime) -> None:
    unit = unit_by_serial(serial)
    current = [card for card in certificates_of(unit.item_id) if card.standing == "current"]
    if not current:
        return
    customers.add_order(by=by, number=unit.order_number, customer_number=customer, at=at)
    move_item(by=by, code=serial, place_code="YARD-2", at=at)
    customers.dispatch(
        proof=demonstration_proof(by, at), serial=serial, order_number=unit.order_number,
        certificate_number=current[0].number, issue=current[0].issue, at=at,
    )  # fmt: skip


def _find_wrong_heat(cast: Cast, at: datetime) -> None:
    """A second analysis of a remnant: too little chromium. The heat is held; what was made of it is found by it."""
    by = cast.with_role(Role.GOODS_IN)
    _certify(by, "LAB-3021", at, _tube(WRONG, "4130", GOOD | {"Cr": "0,62"}, STRENGTH))
    reason = "Second analysis of remnant R-Q7715: Cr 0.62 %, below 0.80 %. Frames made of it to be found."
    goods.decide_heat(
        proof=demonstration_proof(by, at), heat_number=WRONG, verdict="held", reason=reason, at=at, supplier=MILL
    )
