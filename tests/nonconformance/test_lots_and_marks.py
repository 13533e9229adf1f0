"""A report on a lot from its page, and the mark that says where on the drawing something is."""

from __future__ import annotations

from collections.abc import Callable
from decimal import Decimal
from typing import Any
from uuid import uuid4

import pytest
from django.test import Client

from qcapp.affected.suspects import population
from qcapp.evidence.models import EvidenceFile
from qcapp.nonconformance.services import by_hand, picturing
from qcapp.nonconformance.services.picturing import mark_place
from qcapp.people.models import Signature
from qcapp.people.tablet_guard import COOKIE
from qcapp.plans.models import DrawingSheet, PlanRevision
from qcapp.plans.queries.marks import sheet_card
from qcapp.production.models import Consumption, Heat, Lot
from qcapp.production.queries import open_holds

from ..cast import FIXED_NOW, Cast
from ..factories.inspections import Workshop
from ..factories.nonconformance import LATER, Case
from ..factories.production import ItemFactory
from ..factories.tablets import enrolled
from ..unchanged import refused

pytestmark = pytest.mark.django_db
ROOMS = ("nonconformance", "inspections", "production", "people")
Browser = Callable[[Any], Client]
FOUND = {"title": "2 mm short", "severity": "major"}


@pytest.fixture
def lot(workshop: Workshop) -> Lot:
    """Forty tubes of heat H4711, three of them in FR-200-0147."""
    by = workshop.cast.goods_in
    row = Lot.objects.create(
        item=ItemFactory(kind="lot"), code="TK-200-L0007", lookup="TK200L7", number=7, quantity=40, state="accepted",
        opened_by=by, opened_at=FIXED_NOW,
    )  # fmt: skip
    heat = Heat.objects.create(
        number="H4711", lookup="H4711", supplier="Millbrook Tube", grade="4130", state="accepted", entered_by=by,
        entered_at=FIXED_NOW,
    )  # fmt: skip
    Consumption.objects.create(item=row.item, heat=heat, by=by, at=FIXED_NOW)
    Consumption.objects.create(item_id=workshop.item_id, lot=row, quantity=3, by=by, at=FIXED_NOW)
    return row


def test_raises_one_on_a_shared_tablet_and_stays_on_pages_that_it_may_open(lot: Lot, cast: Cast) -> None:
    _, token = enrolled(cast.keeper, FIXED_NOW)
    client = Client()
    client.force_login(cast.goods_in)
    client.cookies[COOKIE] = token
    page = client.get("/nonconformances/raise-on-lot/?lot=TK-200-L0007").text
    assert "Back to the floor" in page
    assert 'action="/units/"' not in page  # no search, no menu of the office
    sent = FOUND | {"lot_code": "TK-200-L0007", "quantity": "12", "cause": "material"}
    answer = client.post("/nonconformances/raise-on-lot/?lot=TK-200-L0007", sent, follow=True)
    assert answer.status_code == 200
    assert "is open and the lot is on hold" in answer.text
    assert len(open_holds(lot.item_id)) == 1
    for address in ("/goods/", "/goods/lots/TK-200-L0007/"):
        assert client.get(address).status_code == 200, address
    assert client.get("/nonconformances/").status_code == 403


def test_raises_a_report_on_a_lot_from_its_page(lot: Lot, cast: Cast, client_of: Browser) -> None:
    client = client_of(cast.goods_in)
    assert 'value="TK-200-L0007"' in client.get("/nonconformances/raise-on-lot/?lot=TK-200-L0007").text
    sent = FOUND | {"lot_code": "tk-200-l0007", "quantity": "12", "cause": "material"}
    answer = client.post("/nonconformances/raise-on-lot/", sent)
    case = Case(None, answer["Location"].split("/")[-2])  # type: ignore[arg-type]
    page = client.get(answer["Location"]).text
    assert "TK-200-L0007, 12 pieces" in page
    assert [hold.source for hold in open_holds(lot.item_id)] == [case.number]


@pytest.mark.parametrize(
    ("changes", "code"),
    [
        ({"lot_code": "TK-200-L0099"}, "lot_unknown"),
        ({"quantity": 41}, "more_than_the_lot"),
        ({"quantity": 0}, "part_not_positive"),
        ({"severity": "grave"}, "severity_unknown"),
    ],
)
def test_refuses_a_report_on_what_the_lot_has_not(lot: Lot, cast: Cast, changes: dict[str, Any], code: str) -> None:
    told = FOUND | {"lot_code": lot.code, "description": ""} | changes
    with refused(code, *ROOMS):
        by_hand.raise_on_lot(by=cast.goods_in, at=LATER, **told)


def test_names_the_split_wherever_it_is_signed(lot: Lot, workshop: Workshop, client_of: Browser) -> None:
    cast = workshop.cast
    told = FOUND | {"by": cast.goods_in, "lot_code": lot.code, "description": "", "quantity": 12}
    case = Case(workshop, by_hand.raise_on_lot(at=FIXED_NOW, **told)).contain()
    case.propose("", parts={"rework": 9, "return_to_supplier": 3}, reinspect=[])
    page = client_of(cast.quality_manager).get(f"/nonconformances/{case.number}/").text
    assert "Proposed: rework of 9, return to supplier of 3" in page
    assert "I agree to rework of 9, return to supplier of 3" in page
    case.sign()
    signed = Signature.objects.order_by("-id")[0].meaning
    assert signed.startswith(f"I agree to rework of 9, return to supplier of 3 for {case.number}")


def test_lists_a_lot_in_the_queue_by_its_family(lot: Lot, cast: Cast, client_of: Browser) -> None:
    by_hand.raise_on_lot(by=cast.goods_in, lot_code=lot.code, description="", at=LATER, **FOUND)
    page = client_of(cast.inspector).get("/nonconformances/").text
    assert "lot of FR-200" in page
    assert "/units//" not in page


def test_says_on_the_page_why_it_refuses(lot: Lot, cast: Cast, client_of: Browser) -> None:
    sent = FOUND | {"lot_code": lot.code, "quantity": "41", "cause": "unknown"}
    answer = client_of(cast.goods_in).post("/nonconformances/raise-on-lot/", sent)
    assert (answer.status_code, "has 40 pieces" in answer.text) == (400, True)


def test_suspects_every_unit_with_the_lot_or_its_heat(lot: Lot, workshop: Workshop) -> None:
    by = workshop.cast.goods_in
    other, free = (workshop.another_unit(serial) for serial in ("FR-200-0148", "FR-200-0149"))
    heat = Heat.objects.get()
    Consumption.objects.create(item_id=other.item_id, heat=heat, by=by, at=FIXED_NOW)
    number = by_hand.raise_on_lot(by=by, lot_code=lot.code, description="", at=LATER, **FOUND)
    found = population(number, viewer=workshop.cast.quality_manager, at=LATER)
    shared = {one.unit.serial: one.sources for one in found.suspects}
    assert shared == {workshop.serial: ("lot", "heat"), other.serial: ("heat",)}
    assert free.serial not in shared


# ------------------------------------------------------------------------------------------------------ marks


@pytest.fixture
def sheet(case: Case, monkeypatch: pytest.MonkeyPatch) -> DrawingSheet:
    """The plan's drawing, 400 wide and 300 high; tests/improvement/test_drawings.py has one in a released plan."""
    file = EvidenceFile.objects.create(
        digest="0" * 64,
        path="x",
        media_type="image/svg+xml",
        size=1,
        name="f.svg",
        kept_by=case.cast.engineer,
        kept_at=FIXED_NOW,
    )
    revision = PlanRevision.objects.get()
    row = DrawingSheet.objects.create(
        number="FR-1", document_revision="C", sheet=1, title="Frame", file=file, width=400, height=300,
        family=revision.family, added_by=case.cast.engineer, added_at=FIXED_NOW,
    )  # fmt: skip
    monkeypatch.setattr(picturing, "sheets_of", lambda revision_id: [sheet_card(row)])
    return row


def test_takes_a_click_on_the_drawing(case: Case, sheet: DrawingSheet, client_of: Browser) -> None:
    client = client_of(case.cast.inspector)
    page = client.get(f"/nonconformances/{case.number}/mark/").text
    assert 'width="720" height="540"' in page
    answer = client.post(
        f"/nonconformances/{case.number}/mark/", {"sheet": str(sheet.uuid), "at.x": "360", "at.y": "135"}
    )
    assert answer.status_code == 302
    mark = case.view.mark
    assert mark is not None
    assert (mark.sheet, mark.x, mark.y) == (sheet.uuid, Decimal("0.5"), Decimal("0.25"))


def test_takes_two_numbers_from_the_keyboard(case: Case, sheet: DrawingSheet, client_of: Browser) -> None:
    client = client_of(case.cast.inspector)
    address = f"/nonconformances/{case.number}/mark/"
    answer = client.post(address, {"sheet": str(sheet.uuid), "across": "12,5", "down": ""})
    assert (answer.status_code, "say how far it is" in answer.text) == (400, True)
    client.post(address, {"sheet": str(sheet.uuid), "across": "12,5", "down": "80"})
    assert case.view.mark.x == Decimal("0.125")  # type: ignore[union-attr]
    assert "Marked on the drawing" in client.get(f"/nonconformances/{case.number}/").text


def test_lets_a_later_mark_take_the_place_of_the_first(case: Case, sheet: DrawingSheet) -> None:
    told = {"by": case.cast.inspector, "number": case.number, "sheet": sheet.uuid, "y": Decimal("0.5"), "at": LATER}
    for x in ("0.1", "0.9"):
        mark_place(x=Decimal(x), **told)  # type: ignore[arg-type]
    assert case.view.mark.x == Decimal("0.9")  # type: ignore[union-attr]
    assert [move.name for move in case.view.moves] == ["place_marked", "place_marked"]


def test_keeps_the_first_mark_beside_a_further_one(case: Case, sheet: DrawingSheet, client_of: Browser) -> None:
    client, address = client_of(case.cast.inspector), f"/nonconformances/{case.number}/mark/"
    for across, further in (("10", ""), ("60", "on"), ("30", "")):
        client.post(address, {"sheet": str(sheet.uuid), "across": across, "down": "50", "further": further})
    assert [str(mark.x) for mark in case.view.marks] == ["0.6", "0.3"]
    page = client.get(f"/nonconformances/{case.number}/").text
    assert "Marked on the drawing at 2 places" in page
    assert 'cx="240.0" cy="150.0"' in page


@pytest.mark.parametrize(("x", "code"), [("1.01", "mark_outside"), ("-0.1", "mark_outside"), ("0.5", "sheet_unknown")])
def test_refuses_a_mark_beside_the_drawing(case: Case, sheet: DrawingSheet, x: str, code: str) -> None:
    on = uuid4() if code == "sheet_unknown" else sheet.uuid
    told = {"by": case.cast.inspector, "number": case.number, "y": Decimal(0), "at": LATER}
    with refused(code, *ROOMS):
        mark_place(sheet=on, x=Decimal(x), **told)  # type: ignore[arg-type]


def test_marks_nothing_on_a_report_that_has_ended(case: Case, sheet: DrawingSheet) -> None:
    case.contain().correct_the_entry().withdraw()
    told = {"by": case.cast.inspector, "number": case.number, "x": Decimal(0), "y": Decimal(0), "at": LATER}
    with refused("report_ended", *ROOMS):
        mark_place(sheet=sheet.uuid, **told)  # type: ignore[arg-type]


def test_says_that_there_is_no_drawing(case: Case, client_of: Browser) -> None:
    page = client_of(case.cast.inspector).get(f"/nonconformances/{case.number}/mark/").text
    assert "no drawing with balloons" in page
