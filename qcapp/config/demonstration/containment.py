"""What the demonstration shows beside single units: one report over several, suspects on hold, a permit, a photo.

All invented. It is played after the units, on those that are still in build.
"""

from __future__ import annotations

import io
from datetime import datetime, timedelta
from decimal import Decimal
from typing import TYPE_CHECKING

from PIL import Image, ImageDraw

from qcapp.core.errors import NotFound
from qcapp.nonconformance.queries import open_reports, report_row
from qcapp.nonconformance.services import by_hand, deciding, permits, picturing, suspecting
from qcapp.people.roles import Role
from qcapp.people.services import demonstration_proof
from qcapp.production.queries import unit_by_serial

if TYPE_CHECKING:
    from .cast import Cast

GROUP = ("FR-200-0141", "FR-200-0142")
SUSPECT_OF, SUSPECT = "FR-200-0145", "FR-200-0148"
DENTED = "FR-200-0149"
LOT = "TK-200-L0004"


def play_containment(cast: Cast, now: datetime) -> None:
    """Nothing is played where its units are missing: a small demonstration has few."""
    try:
        for serial in (*GROUP, SUSPECT_OF, SUSPECT, DENTED):
            unit_by_serial(serial)
    except NotFound:
        return
    _permit(cast, now - timedelta(days=3))
    _group(cast, now - timedelta(hours=5))
    _hold_suspect(cast, now - timedelta(hours=4))
    _dent(cast, now - timedelta(hours=2))
    _lot(cast, now - timedelta(hours=1))


def _permit(cast: Cast, at: datetime) -> None:
    """Given before coating: thicker paint where it does no harm, on few units and for few weeks."""
    number = permits.propose_permit(
        by=cast.with_role(Role.ENGINEER), family_code="FR-200", checkpoint_key="coating_tubes", upper=Decimal(130),
        statement="Coating up to 130 µm on the tubes while the new gun is set up; bearing seats stay masked.",
        quantity=5, ends_on=(at + timedelta(days=30)).date(), at=at,
    )  # fmt: skip
    for role in (Role.ENGINEER, Role.QUALITY_MANAGER):
        proof = demonstration_proof(cast.with_role(role), at)
        permits.sign_permit(proof=proof, number=number, role=role, at=at)


def _group(cast: Cast, at: datetime) -> None:
    """One bad gauge, one report."""
    number = by_hand.raise_grouped(
        by=cast.with_role(Role.METROLOGY), serials=GROUP, severity="major", source="gauge HG-07, dropped",
        title="Height gauge HG-07 reads 0.06 mm high: what it measured is in doubt",
        description="Found at the daily check against the gauge block. The units it measured this week are listed.",
        at=at,
    )  # fmt: skip
    by = cast.with_role(Role.QUALITY_MANAGER)
    note = "Both frames tagged; the gauge is in the locked drawer of the gauge room."
    deciding.contain(by=by, number=number, note=note, at=at + timedelta(minutes=20))


def _hold_suspect(cast: Cast, at: datetime) -> None:
    """The next frame waits until the fixture is shown to be good."""
    by = cast.with_role(Role.INSPECTOR)
    for card in open_reports(unit_by_serial(SUSPECT_OF).item_id)[:1]:
        reason = "Next frame in the line; its head angle is not measured yet."
        suspecting.hold_suspects(by=by, number=card.number, serials=[SUSPECT], reason=reason, at=at)


def _dent(cast: Cast, at: datetime) -> None:
    """Seen by eye, with a photo and a mark."""
    by = cast.with_role(Role.ASSEMBLER)
    number = by_hand.raise_by_hand(
        by=by, serial=DENTED, title="Dent in the down tube, about 3 mm deep", severity="minor", cause="person",
        description="Left side, above the bracket; the frame slipped on the stand.", at=at,
    )  # fmt: skip
    mark = (Decimal("0.56"), Decimal("0.48"))
    told = {"content": _picture(), "name": "down-tube.jpg", "caption": "Down tube, left side", "mark": mark}
    picturing.add_picture(by=by, number=number, at=at + timedelta(minutes=2), **told)  # type: ignore[arg-type]
    for sheet in picturing.drawing_of(report_row(number))[:1]:
        where, later = (Decimal("0.31"), Decimal("0.53")), at + timedelta(minutes=3)
        picturing.mark_place(by=by, number=number, sheet=sheet.uuid, x=where[0], y=where[1], at=later)


def _lot(cast: Cast, at: datetime) -> None:
    """Some pieces of a lot: part is reworked here, part goes back; the split waits for its signature."""
    try:
        number = by_hand.raise_on_lot(
            by=cast.with_role(Role.GOODS_IN), lot_code=LOT, quantity=12, title="Burr inside, up to 0.4 mm",
            description="Found when the kit was counted out; the saw blade was changed at noon.", severity="minor",
            cause="machine", at=at,
        )  # fmt: skip
    except NotFound:  # a small demonstration has no lots
        return
    by = cast.with_role(Role.QUALITY_MANAGER)
    deciding.contain(by=by, number=number, note="The twelve are in the red box.", at=at + timedelta(minutes=10))
    deciding.propose_disposition(
        by=by, number=number, instruction="Deburr nine; three are thinned too far and go back.", cause="machine",
        parts={"rework": 9, "return_to_supplier": 3}, at=at + timedelta(minutes=20),
    )  # fmt: skip


def _picture() -> bytes:
    """A drawn stand-in for a photo: a tube with a dent."""
    image = Image.new("RGB", (960, 720), "#B9B4AA")
    draw = ImageDraw.Draw(image)
    draw.line([(40, 560), (920, 180)], fill="#4E5A61", width=150)
    draw.line([(40, 520), (920, 140)], fill="#79868D", width=30)
    draw.ellipse([(480, 310), (600, 390)], fill="#333C42")
    draw.text((30, 680), "demonstration, not valid", fill="#8A2A1B", font_size=28)
    into = io.BytesIO()
    image.save(into, "JPEG", quality=85)
    return into.getvalue()
