"""Where reports are on the drawing of the released plan: at their checkpoint's balloon, or at their own mark."""

from __future__ import annotations

from decimal import Decimal
from importlib import import_module
from io import BytesIO
from pathlib import Path
from typing import Any
from uuid import uuid4

import pytest
from django.apps import apps
from PIL import Image

from qcapp.improvement.models import ReportPlace
from qcapp.improvement.queries import drawings as drawings_module
from qcapp.improvement.queries.drawings import drawn
from qcapp.improvement.queries.seeing import Wanted
from qcapp.inspections.services import open_unit
from qcapp.nonconformance.models import Report, ReportMark, ReportPicture
from qcapp.nonconformance.queries import report as report_view
from qcapp.nonconformance.services.by_hand import raise_by_hand
from qcapp.nonconformance.services.marking import mark_on_drawing
from qcapp.nonconformance.services.picturing import add_picture, mark_place
from qcapp.plans import services
from qcapp.plans.models import DrawingSheet
from qcapp.plans.queries import checkpoints_of, needs_engineer
from qcapp.plans.services import drawings

from ..cast import FIXED_NOW, Cast
from ..factories.improvement import LATER
from ..factories.plans import attribute, draft, plan_text

pytestmark = pytest.mark.django_db
SVG = b'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 420 297"><path d="M0 0h9"/></svg>'


@pytest.fixture
def sheet(cast: Cast, proof_of: Any, settings: Any, tmp_path: Path) -> Any:
    """A released plan with one sheet; its first checkpoint has a balloon in the middle, a quarter from the top."""
    settings.QCAPP_DATA_DIR = tmp_path
    card = draft(cast, FIXED_NOW, plan_text({}, attribute(102), attribute(103)))
    told = {"by": cast.quality_manager, "revision_uuid": card.uuid, "at": FIXED_NOW}
    (found,) = drawings.add_sheets(number="FR-1", document_revision="C", content=SVG, name="f.svg", **told).cards
    key = checkpoints_of(card.id)[0].key
    drawings.place_balloon(key=key, sheet_uuid=found.uuid, across=50_000, down=25_000, **told)
    services.send_for_review(by=cast.quality_manager, revision_uuid=card.uuid, at=FIXED_NOW)
    if needs_engineer(card.id):
        services.approve(proof=proof_of(cast.engineer), revision_uuid=card.uuid, at=FIXED_NOW)
    services.release(proof=proof_of(cast.second_quality_manager), revision_uuid=card.uuid, at=FIXED_NOW)
    open_unit(by=cast.inspector, family_code=card.family_code, serial=serial_of(card), at=FIXED_NOW)
    return found, card


def jpeg() -> bytes:
    written = BytesIO()
    Image.new("RGB", (64, 48), "grey").save(written, "JPEG")
    return written.getvalue()


def serial_of(card: Any) -> str:
    return f"{card.family_code}-0147"


def raised(cast: Cast, card: Any, checkpoint: str = "") -> str:
    told = {"title": "Not right", "description": "", "severity": "minor", "at": LATER}
    return raise_by_hand(by=cast.inspector, serial=serial_of(card), checkpoint_key=checkpoint, **told)


def test_marks_reports_at_their_balloon(cast: Cast, sheet: Any) -> None:
    found, card = sheet
    first, second = (one.key for one in checkpoints_of(card.id)[:2])
    numbers = [raised(cast, card, first), raised(cast, card, first)]
    raised(cast, card, second)
    raised(cast, card)
    seen = drawn(Wanted(family=card.family_code))
    ((drawing, (mark,)),) = seen.sheets
    assert (drawing.id, drawing.address) == (str(found.uuid), f"/evidence/{found.file_uuid}/")
    assert (mark.x, mark.y, mark.count, mark.exact) == (0.5, 0.25, 2, False)
    assert mark.address == f"/nonconformances/{numbers[-1]}/"
    assert seen.nowhere == 2


def test_shows_every_mark_whichever_way_it_was_made(cast: Cast, sheet: Any) -> None:
    found, card = sheet
    key = checkpoints_of(card.id)[0].key
    number = raised(cast, card, key)
    told = {"by": cast.inspector, "at": LATER}
    mark_on_drawing(serial=serial_of(card), checkpoint_key=key, sheet=found.uuid, mark=(100, 900), **told)
    mark_place(number=number, sheet=found.uuid, x=Decimal("0.4"), y=Decimal("0.5"), **told)
    photo = {"content": jpeg(), "name": "p.jpg", "sheet": str(found.uuid), "mark": (Decimal("0.7"), Decimal("0.2"))}
    add_picture(number=number, **told, **photo)
    ((_, marks),) = drawn(Wanted(family=card.family_code)).sheets
    assert sorted((mark.x, mark.y, mark.exact, mark.count) for mark in marks) == [
        (0.1, 0.9, True, 1), (0.4, 0.5, True, 1), (0.7, 0.2, True, 1),
    ]  # fmt: skip
    view = report_view(number)
    assert [(mark.x, mark.y) for mark in view.marks] == [
        (Decimal("0.1"), Decimal("0.9")), (Decimal("0.4"), Decimal("0.5")), (Decimal("0.7"), Decimal("0.2")),
    ]  # fmt: skip
    assert [picture.mark for picture in view.pictures] == [None]


def test_keeps_showing_the_marks_that_were_pictures(cast: Cast, sheet: Any) -> None:
    found, card = sheet
    report = Report.objects.get(number=raised(cast, card, checkpoints_of(card.id)[0].key))
    told = {"report": report, "mark_y": "0.9", "by": cast.inspector, "at": LATER}
    of_bench, photo = found.file_uuid, uuid4()
    for x, evidence, on in (("0.1", of_bench, found.uuid), ("0.7", photo, found.uuid), ("0.3", photo, "")):
        ReportPicture.objects.create(evidence=evidence, mark_x=x, sheet=str(on), caption=f"at {x}", **told)
    ReportPicture.objects.create(evidence=photo, mark_x="0.5", sheet="no uuid", **told)
    migration = import_module("qcapp.nonconformance.migrations.0004_one_place_of_marks")
    for _ in range(2):  # a second run adds nothing
        migration.copy(apps, None)
    ((_, marks),) = drawn(Wanted(family=card.family_code)).sheets
    assert sorted((mark.x, mark.y) for mark in marks) == [(0.1, 0.9), (0.7, 0.9)]
    view = report_view(report.number)
    assert [mark.caption for mark in view.marks] == ["at 0.1", "at 0.7"]
    assert [picture.evidence for picture in view.pictures] == [photo, photo, photo]  # the sheet itself is no photo
    assert [picture.mark for picture in view.pictures] == [None, ("30.0", "90.0"), None]


def test_carries_a_mark_over_to_the_sheet_that_took_its_place(cast: Cast, sheet: Any) -> None:
    found, card = sheet
    number = raised(cast, card, checkpoints_of(card.id)[0].key)
    now = DrawingSheet.objects.get(uuid=found.uuid)
    known = {"family": now.family, "number": now.number, "file": now.file, "width": 420, "height": 297}
    added = {"title": "", "document_revision": "B", "added_by": cast.engineer, "added_at": FIXED_NOW}
    before = DrawingSheet.objects.create(sheet=now.sheet, **known, **added)
    other = DrawingSheet.objects.create(sheet=now.sheet + 1, **known, **added)
    told = {"report": Report.objects.get(number=number), "y": "0.5", "by": cast.inspector, "at": LATER}
    ReportMark.objects.create(sheet=before.uuid, x="0.2", **told)
    ((_, (mark,)),) = drawn(Wanted(family=card.family_code)).sheets
    assert (mark.x, mark.y, mark.exact) == (0.2, 0.5, False)
    ReportMark.objects.create(sheet=other.uuid, x="0.9", **told)  # of a sheet that the plan has no more
    ((_, (mark,)),) = drawn(Wanted(family=card.family_code)).sheets
    assert (mark.x, mark.y) == (0.5, 0.25)


def test_draws_the_latest_reports_and_counts_the_others(
    cast: Cast, sheet: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    _, card = sheet
    numbers = [raised(cast, card, checkpoints_of(card.id)[0].key) for _ in range(3)]
    monkeypatch.setattr(drawings_module, "LONGEST", 2)
    seen = drawn(Wanted(family=card.family_code))
    ((_, (mark,)),) = seen.sheets
    assert (mark.count, seen.left_out, mark.address) == (2, 1, f"/nonconformances/{numbers[-1]}/")


def test_narrows_by_time(cast: Cast, sheet: Any) -> None:
    _, card = sheet
    raised(cast, card, checkpoints_of(card.id)[0].key)
    assert ReportPlace.objects.count() == 1
    ((_, marks),) = drawn(Wanted(family=card.family_code, until=FIXED_NOW.date().replace(day=1))).sheets
    assert marks == []


def test_draws_where_the_report_was_marked(cast: Cast, sheet: Any) -> None:
    found, card = sheet
    number = raised(cast, card, checkpoints_of(card.id)[0].key)
    for x in ("0.2", "0.75"):
        mark_place(by=cast.inspector, number=number, sheet=found.uuid, x=Decimal(x), y=Decimal("0.6"), at=LATER)
    ((_, (mark,)),) = drawn(Wanted(family=card.family_code)).sheets
    assert (mark.x, mark.y, mark.count, mark.exact) == (0.75, 0.6, 1, True)
