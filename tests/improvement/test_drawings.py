"""Where reports are on the drawing of the released plan: at their checkpoint's balloon, or at their own mark."""

from __future__ import annotations

from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest

from qcapp.improvement.models import ReportPlace
from qcapp.improvement.queries.drawings import drawn
from qcapp.improvement.queries.seeing import Wanted
from qcapp.inspections.services import open_unit
from qcapp.nonconformance.models import Report, ReportPicture
from qcapp.nonconformance.services.by_hand import raise_by_hand
from qcapp.nonconformance.services.picturing import mark_place
from qcapp.plans import services
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


def test_prefers_the_mark_that_was_set_with_the_report(cast: Cast, sheet: Any) -> None:
    found, card = sheet
    number = raised(cast, card, checkpoints_of(card.id)[0].key)
    report = Report.objects.get(number=number)
    for x, on in (("0.1", str(found.uuid)), ("0.7", str(found.uuid)), ("0.3", "")):
        ReportPicture.objects.create(
            report=report, evidence=found.file_uuid, mark_x=x, mark_y="0.9", sheet=on, by=cast.inspector, at=LATER
        )
    ((_, (mark,)),) = drawn(Wanted(family=card.family_code)).sheets
    assert (mark.x, mark.y, mark.exact, mark.count) == (0.1, 0.9, True, 1)


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
