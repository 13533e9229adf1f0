"""Where reports are on a family's drawing: the mark that was set with the report, else its checkpoint's balloon."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass
from typing import Any

from django.urls import reverse

from qcapp.core.errors import NotFound
from qcapp.plans.queries import checkpoints_of, released_card
from qcapp.plans.queries.marks import marks_of, sheets_of

from ..cards import Mark, Sheet
from .seeing import Wanted, places_of

PARTS = 100_000  # balloons lie in hundred-thousandths of a sheet's width and height
LONGEST = 5000
Place = tuple[str, float, float]  # sheet, across, down


@dataclass(frozen=True)
class Drawn:
    """The sheets with what is on them; `nowhere` reports have neither a mark nor a balloon."""

    sheets: list[tuple[Sheet, list[Mark]]]
    nowhere: int
    refusal: str = ""


def drawn(wanted: Wanted) -> Drawn:
    """The concentration on the drawing of a family. `refusal` says why there is none."""
    sheets, balloons = _drawing(wanted.family)
    if not sheets:
        said = f"The released plan of {wanted.family} has no drawing with balloons, so there is nothing to mark."
        return Drawn([], places_of(wanted).count(), said)
    own = _own_marks(wanted, {sheet.id for sheet in sheets})
    found: dict[tuple[Place, bool], list[tuple[str, str]]] = defaultdict(list)
    nowhere = 0
    for report, characteristic, joint, number, title in _told(wanted):
        place = own.get(report) or balloons.get(characteristic) or balloons.get(joint)
        if place is None:
            nowhere += 1
        else:
            found[place, report in own].append((number, title))
    return Drawn([(sheet, _marks(sheet, found)) for sheet in sheets], nowhere)


def _told(wanted: Wanted) -> Iterable[Any]:
    columns = ("report_id", "characteristic_id", "joint", "report__number", "report__checkpoint__title")
    return places_of(wanted).order_by("report_id").values_list(*columns)[:LONGEST]


def _own_marks(wanted: Wanted, sheets: Collection[str]) -> dict[int, Place]:
    """By report, the mark that was set on one of these sheets with it: the last one, else the first photo's."""
    found: dict[int, Place] = {}
    photos = ("report_id", "report__pictures__sheet", "report__pictures__mark_x", "report__pictures__mark_y")
    rows = places_of(wanted).filter(report__pictures__sheet__in=sheets, report__pictures__mark_x__isnull=False)
    for report, sheet, x, y in rows.order_by("report__pictures__id").values_list(*photos):
        found.setdefault(report, (sheet, float(x), float(y)))
    marks = ("report_id", "report__marks__sheet", "report__marks__x", "report__marks__y")
    rows = places_of(wanted).filter(report__marks__sheet__in=sheets)
    for report, sheet, x, y in rows.order_by("report__marks__id").values_list(*marks):
        found[report] = (str(sheet), float(x), float(y))
    return found


def _marks(sheet: Sheet, found: Mapping[tuple[Place, bool], list[tuple[str, str]]]) -> list[Mark]:
    return [_one(place, exact, reports) for (place, exact), reports in found.items() if place[0] == sheet.id]


def _one(place: Place, exact: bool, reports: list[tuple[str, str]]) -> Mark:
    numbers = ", ".join(number for number, _ in reports[:8]) + (" …" if len(reports) > 8 else "")
    words = f"{reports[0][1] or 'No checkpoint'}: {numbers}"
    return Mark(place[1], place[2], len(reports), words, f"/nonconformances/{reports[-1][0]}/", exact)


def _drawing(family_code: str) -> tuple[list[Sheet], dict[int | str, Place]]:
    """The sheets of the released plan, and where its characteristics and joints have their balloons."""
    try:
        revision = released_card(family_code)
    except NotFound:
        return [], {}
    sheets = [
        Sheet(str(one.uuid), one.name, one.width, one.height, reverse("evidence:file", kwargs={"uuid": one.file_uuid}))
        for one in sheets_of(revision.id)
    ]
    return sheets, _balloons(revision.id) if sheets else {}


def _balloons(revision_id: int) -> dict[int | str, Place]:
    """The place of each characteristic, and of each joint that of its first balloon."""
    by_key = marks_of(revision_id).balloons
    found: dict[int | str, Place] = {}
    for card in checkpoints_of(revision_id):
        if balloon := by_key.get(card.key):
            place = (str(balloon.sheet.uuid), balloon.across / PARTS, balloon.down / PARTS)
            found[card.characteristic_id] = place
            if card.joint:
                found.setdefault(card.joint, place)
    return found
