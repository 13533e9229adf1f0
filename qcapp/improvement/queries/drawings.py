"""Where reports are on a family's drawing: at the marks set with the report, else at its checkpoint's balloon."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

from django.urls import reverse

from qcapp.core.errors import NotFound
from qcapp.nonconformance.queries.details import marks_of_reports
from qcapp.plans.queries import checkpoints_of, released_card
from qcapp.plans.queries.marks import marks_of, sheets_of, sheets_of_family

from ..cards import Mark, Sheet
from .seeing import Wanted, places_of

PARTS = 100_000  # balloons lie in hundred-thousandths of a sheet's width and height
LONGEST = 5000
Place = tuple[str, float, float]  # sheet, across, down


@dataclass(frozen=True)
class Drawn:
    """The sheets with what is on them; `nowhere` reports have neither a mark nor a balloon.

    `left_out` says how many older reports are not drawn, where there are more than LONGEST.
    """

    sheets: list[tuple[Sheet, list[Mark]]]
    nowhere: int
    refusal: str = ""
    left_out: int = 0


def drawn(wanted: Wanted) -> Drawn:
    """The concentration on the drawing of a family. `refusal` says why there is none."""
    sheets, balloons = _drawing(wanted.family)
    if not sheets:
        said = f"The released plan of {wanted.family} has no drawing with balloons, so there is nothing to mark."
        return Drawn([], places_of(wanted).count(), said)
    own = _own_marks(wanted, sheets)
    found: dict[tuple[Place, bool], list[tuple[str, str]]] = defaultdict(list)
    told = list(_told(wanted))
    nowhere = 0
    for report, characteristic, joint, number, title in told:
        balloon = balloons.get(characteristic) or balloons.get(joint)
        places = own.get(report) or ([(balloon, False)] if balloon else [])
        nowhere += not places
        for place in places:
            found[place].append((number, title))
    left_out = places_of(wanted).count() - LONGEST if len(told) == LONGEST else 0
    return Drawn([(sheet, _marks(sheet, found)) for sheet in sheets], nowhere, left_out=left_out)


def _told(wanted: Wanted) -> Iterable[Any]:
    """The reports, the oldest of the latest LONGEST first."""
    columns = ("report_id", "characteristic_id", "joint", "report__number", "report__checkpoint__title")
    return reversed(places_of(wanted).order_by("-report_id").values_list(*columns)[:LONGEST])


def _own_marks(wanted: Wanted, sheets: list[Sheet]) -> dict[int, list[tuple[Place, bool]]]:
    """By report the places that were marked with it, and whether on this very sheet.

    A mark on an earlier revision of a sheet is carried over to the one that took its place.
    """
    now = _carried_over(wanted.family, sheets)
    found: dict[int, list[tuple[Place, bool]]] = defaultdict(list)
    for mark in marks_of_reports(places_of(wanted).values("report_id")):
        if sheet := now.get(str(mark.sheet)):
            found[mark.report_id].append(((sheet, mark.x, mark.y), sheet == str(mark.sheet)))
    return found


def _carried_over(family_code: str, sheets: list[Sheet]) -> dict[str, str]:
    """For every sheet the family's drawing had, the one of these that shows the same now."""
    shown = {sheet.id for sheet in sheets}
    every = sheets_of_family(family_code)
    by_place = {(one.number, one.sheet): str(one.uuid) for one in every if str(one.uuid) in shown}
    found = {str(one.uuid): by_place.get((one.number, one.sheet), "") for one in every}
    return found | {name: name for name in shown}


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
